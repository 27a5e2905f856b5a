"""Agreement of two testers or operators: published data, unequal cuts, notes, refusals, symmetries."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.stored import stored_table
from scipy import stats

from sharpstats.errors import FitError
from sharpstats.tester.agreement import Agreement, agree, agree_pairs
from sharpstats.tester.pair import Pair, Side, error_ratio
from sharpstats.units import NEWTONS_PER_GF, Quantity


def study(seed: int = 1, *, edges: int = 10, cuts: tuple[int, int] = (3, 4), names: tuple[str, ...] = ("ann", "bo"),
          shift: float = 6.0, sd: float = 8.0, slope: float = 1.0) -> pd.DataFrame:  # fmt: skip
    """Operators on the same edges; the first reads `shift` higher, and steeper by `slope`."""
    rng = np.random.default_rng(seed)
    rows = []
    for edge, true in enumerate(rng.uniform(90, 240, edges)):
        for place, name in enumerate(names):
            level = shift + slope * true if place == 0 else true
            rows += [(f"e{edge}", name, level + rng.normal(0, sd)) for _ in range(cuts[min(place, 1)])]
    return pd.DataFrame(rows, columns=["edge", "operator", "reading"])


def only(found: Agreement) -> Pair:
    (pair,) = found.pairs
    return pair


class TestPeakFlow:
    """Bland & Altman 1986: printed numbers (from memory), in l/min; they round z to 2."""

    def test_first_readings(self) -> None:
        table = stored_table("agreement/peak_flow_two_meters")
        pair = only(agree_pairs(table["meter_1_first"], table["meter_2_first"]))
        assert pair.difference == pytest.approx(-2.1, abs=0.05)
        assert pair.limits.sd == pytest.approx(38.8, abs=0.05)
        assert pair.difference - 2 * pair.limits.sd == pytest.approx(-79.7, abs=0.1)
        assert pair.difference + 2 * pair.limits.sd == pytest.approx(75.5, abs=0.1)
        assert (pair.low, pair.high) == (pytest.approx(-22.0, abs=0.1), pytest.approx(17.8, abs=0.1))
        assert pair.limits.rough == pytest.approx(math.sqrt(3 / 2.92) * 34.6 * 0.985, rel=0.02)

    def test_means_of_two_and_the_spread_put_back(self) -> None:
        """Section on repeated measurements: SD of the differences of means 33.2, of single readings 37.7."""
        table = stored_table("agreement/peak_flow_two_meters").melt("person")
        frame = pd.DataFrame({"edge": table["person"].astype(str), "tester": table["variable"].str[:7],
                              "reading": table["value"]})  # fmt: skip
        pair = only(agree(frame, by="tester", unit="gf"))
        assert pair.limits.sd == pytest.approx(33.2, abs=0.05)
        assert pair.single.sd == pytest.approx(37.7, abs=0.05)


class TestByHand:
    def test_difference_and_interval_are_the_paired_t(self) -> None:
        frame = study()
        pair = only(agree(frame, by="operator", unit="gf"))
        means = frame.pivot_table(index="edge", columns="operator", values="reading")
        t = stats.ttest_rel(means["ann"], means["bo"])
        low, high = t.confidence_interval(0.95)
        assert pair.p == pytest.approx(t.pvalue, rel=1e-9)
        assert (pair.low, pair.high) == (pytest.approx(low, rel=1e-9), pytest.approx(high, rel=1e-9))

    def test_single_cuts_with_unequal_numbers(self) -> None:
        """Bland & Altman 1999, section 5.2: (1 - mean of 1/m) of each variance within is added."""
        frame = study(cuts=(4, 4)).drop(index=[0, 1, 9])
        pair = only(agree(frame, by="operator", unit="gf"))
        cells = frame.groupby(["operator", "edge"])["reading"]
        df = cells.size() - 1
        within = (cells.var() * df).groupby("operator").sum() / df.groupby("operator").sum()
        added = within * (1 - (1 / cells.size()).groupby("operator").mean())
        assert pair.single.sd**2 == pytest.approx(pair.limits.sd**2 + added.sum(), rel=1e-12)

    def test_one_cut_each_has_one_kind_of_limits(self) -> None:
        pair = only(agree(study(cuts=(1, 1)), by="operator", unit="gf"))
        assert pair.single == pair.limits
        assert "ratio-assumed" in [note.code for note in pair.notes]

    def test_cuts_averaged_beforehand_by_one(self) -> None:
        """One cut by the one, several by the other: only the other's spread is put back."""
        pair = only(agree(study(cuts=(1, 4)), by="operator", unit="gf"))
        assert pair.single.sd > pair.limits.sd
        assert math.isnan(pair.one.variance)

    def test_trend_is_the_regression_on_the_mean(self) -> None:
        pair = only(agree(study(slope=1.2), by="operator", unit="gf"))
        fit = stats.linregress(pair.averages, pair.differences)
        reach = stats.t.ppf(0.975, 8) * fit.stderr
        assert pair.trend == pytest.approx(fit.slope, rel=1e-9)
        assert (pair.trend_low, pair.trend_high) == (pytest.approx(fit.slope - reach), pytest.approx(fit.slope + reach))

    @pytest.mark.parametrize(("apart", "ratio"), [([0.0, 1, -1, 0], 4.0), ([6.0, -6, 6, -6], (8 + 19) / (2 + 19))])
    def test_error_ratio(self, apart: list[float], ratio: float) -> None:
        """Variances 16 / 2 and 16 / 8 of the means; differences vary by 48, 38 more than both, or by less."""
        base = np.array([100.0, 150, 200, 250])
        one = Side(name="a", means=base + np.array(apart), cuts=np.full(4, 2), variance=16.0, df=4)
        other = Side(name="b", means=base, cuts=np.full(4, 8), variance=16.0, df=28)
        assert error_ratio(one, other) == pytest.approx(ratio, rel=1e-12)

    def test_a_steeper_tester_is_found(self) -> None:
        pair = only(agree(study(edges=20, slope=1.2, sd=5.0), by="operator", unit="gf"))
        assert pair.slope and pair.slope.estimate == pytest.approx(1.2, abs=0.06)
        assert pair.changes_with_reading

    def test_table_only_rearranges(self) -> None:
        found = agree(study(), by="operator", unit="gf")
        pair, table = only(found), found.table.set_index("term")
        assert table.loc["mean difference", "estimate"] == pair.difference
        assert table.loc["upper limit, edge means", "high"] == pair.limits.high_to
        assert set(table["at"]) == {"ann minus bo"}
        assert list(found.slopes["estimate"]) == [pair.slope.estimate if pair.slope else None]


class TestMargin:
    @pytest.mark.parametrize(("shift", "margin", "finding"), [(0.0, 15.0, "shown"), (30.0, 10.0, "contradicted"),
                                                              (0.0, 0.5, "open")])  # fmt: skip
    def test_findings(self, shift: float, margin: float, finding: str) -> None:
        pair = only(agree(study(shift=shift), by="operator", unit="gf", margin=Quantity(margin, "gf")))
        assert pair.margin and pair.margin.finding == finding
        assert pair.margin.level == pytest.approx(0.9)

    def test_other_unit_and_percent(self) -> None:
        held = only(agree(study(), by="operator", unit="gf", margin=Quantity(0.25, "N"))).margin
        assert held and held.bound == pytest.approx(0.25 / NEWTONS_PER_GF)
        held = only(agree(study(), by="operator", unit="gf", scale="log", margin=Quantity(15, "%"))).margin
        assert held and held.bound == pytest.approx(math.log(1.15))

    @pytest.mark.parametrize(
        ("scale", "margin", "says"),
        [("log", Quantity(5, "gf"), '5 gf does not fit the scale "log"'),
         ("as read", Quantity(5, "%"), 'write it like "25 gf"'), ("log", Quantity(0, "%"), "above zero")],
    )  # fmt: skip
    def test_refuses(self, scale: str, margin: Quantity, says: str) -> None:
        with pytest.raises(ValueError, match=says):
            agree(study(), by="operator", unit="gf", scale=scale, margin=margin)  # type: ignore[arg-type]

    def test_errs_in_one_of_twenty(self) -> None:
        """The truth on the margin: shown in 5 of 100, within four Monte-Carlo standard errors."""
        studies = 300
        shown = sum(only(agree_pairs(*_paired(seed), margin=Quantity(10, "gf"))).margin.finding == "shown"  # type: ignore[union-attr]
                    for seed in range(studies))  # fmt: skip
        assert shown / studies <= 0.05 + 4 * math.sqrt(0.05 * 0.95 / studies)
        assert shown > 0


def _paired(seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    true = rng.uniform(90, 240, 10)
    return true + 10 + rng.normal(0, 8, 10), true + rng.normal(0, 8, 10)


class TestWhatCannotBe:
    def test_one_operator(self) -> None:
        frame = study()
        with pytest.raises(FitError, match="same operator, ann: there is nobody to agree with"):
            agree(frame[frame["operator"] == "ann"], by="operator", unit="gf")

    def test_no_common_edges(self) -> None:
        """A nested study: each edge was cut by one operator only."""
        frame = study()
        frame["edge"] = frame["edge"] + frame["operator"]
        with pytest.raises(FitError, match="read no edge in common"):
            agree(frame, by="operator", unit="gf")

    def test_no_common_edges_among_several_is_said_once(self) -> None:
        """Three operators, each with edges of their own."""
        part = study()
        part = part[part["operator"] == part["operator"].iloc[0]]
        frame = pd.concat([part.assign(operator=name, edge=part["edge"] + name) for name in ("a", "b", "c")])
        with pytest.raises(FitError, match=r"^No two operators read the same edge, .* Let all cut the same 3 edges.$"):
            agree(frame.reset_index(drop=True), by="operator", unit="gf")

    @pytest.mark.parametrize(("edges", "says"), [(1, "1 edge in common"), (2, "2 edges in common")])
    def test_few_common_edges(self, edges: int, says: str) -> None:
        with pytest.raises(FitError, match=says):
            agree(study(edges=edges), by="operator", unit="gf")

    def test_no_spread(self) -> None:
        with pytest.raises(FitError, match="differ by the same on every edge"):
            agree_pairs([150.0, 160, 170], [145.0, 155, 165])

    def test_a_third_without_common_edges_is_noted(self) -> None:
        frame = study(names=("ann", "bo", "cy"))
        frame.loc[frame["operator"] == "cy", "edge"] += "x"
        found = agree(frame, by="operator", unit="gf")
        assert [pair.name for pair in found.pairs] == ["ann minus bo"]
        assert [note.code for note in found.notes] == ["no-common-edges", "no-common-edges"]

    def test_over_range_edges_are_left_out_and_said(self) -> None:
        frame = study()
        frame["over_range"] = (frame["edge"] == "e3") & (frame["operator"] == "bo")
        pair = only(agree(frame, by="operator", unit="gf"))
        assert "e3" not in pair.edges and len(pair.edges) == 9
        assert "1 edge is left out" in pair.notes[0].text

    def test_cuts_without_a_name_are_counted(self) -> None:
        frame = study()
        frame.loc[[0, 5], "operator"] = None
        found = agree(frame, by="operator", unit="gf")
        assert [pair.name for pair in found.pairs] == ["ann minus bo"]
        assert [note.text for note in found.notes] == ["2 cuts name no operator and cannot be compared."]

    def test_zero_on_the_log_scale(self) -> None:
        with pytest.raises(FitError, match="no logarithm"):
            agree_pairs([0.0, 160, 170], [145.0, 155, 168], scale="log")

    def test_wrong_arguments(self) -> None:
        with pytest.raises(ValueError, match="missing: tester"):
            agree(study(), by="tester", unit="gf")
        with pytest.raises(ValueError, match="the operators are ann, bo"):
            agree(study(), by="operator", unit="gf", order=["cy"])
        with pytest.raises(ValueError, match="between 0 and 1, got 95 and"):
            agree(study(), by="operator", unit="gf", level=95)
        with pytest.raises(ValueError, match="of one length"):
            agree_pairs([1.0, 2, 3], [1.0, 2])
        with pytest.raises(ValueError, match="finite number"):
            agree_pairs([1.0, 2, math.nan], [1.0, 2, 4])


def test_every_pair_of_three() -> None:
    found = agree(study(names=("ann", "bo", "cy")), by="operator", unit="gf")
    assert [pair.name for pair in found.pairs] == ["ann minus bo", "ann minus cy", "bo minus cy"]
    first, second, third = (pair.difference for pair in found.pairs)
    assert second == pytest.approx(first + third)
    assert "several-pairs" in [note.code for note in found.notes]


@pytest.mark.parametrize(("first", "said"), [("ann", True), ("bo", True), ("", False)])
def test_who_always_cut_first_is_said(first: str, said: bool) -> None:
    frame = study()
    frame["order"] = frame.groupby("edge").cumcount() + 1.0
    if first != "ann":
        frame["order"] = frame.groupby("edge")["order"].transform("max") + 1 - frame["order"]
    if not first:
        frame.loc[frame["edge"] == "e1", "order"] = np.tile([1.0, 3, 5, 2, 4, 6, 7], 1)
    notes = {note.code: note.text for note in only(agree(frame, by="operator", unit="gf")).notes}
    assert ("one-always-first" in notes) is said
    assert notes.get("one-always-first", "").startswith(first)


@settings(max_examples=15)
@given(st.integers(0, 10**6), st.sampled_from(["log", "as read"]))
def test_swapping_flips_exactly(seed: int, scale: str) -> None:
    frame = study(seed)
    there, back = (only(agree(frame, by="operator", unit="gf", scale=scale, order=order))  # type: ignore[arg-type]
                   for order in (["ann", "bo"], ["bo", "ann"]))  # fmt: skip
    assert (back.difference, back.low, back.high) == (-there.difference, -there.high, -there.low)
    for one, other in ((there.limits, back.limits), (there.single, back.single)):
        assert (other.low, other.high) == (pytest.approx(-one.high, rel=1e-9), pytest.approx(-one.low, rel=1e-9))
        assert other.high_to == pytest.approx(-one.low_from, rel=1e-9)
    assert there.slope and back.slope and back.slope.estimate == pytest.approx(1 / there.slope.estimate, rel=1e-9)
    assert back.trend == pytest.approx(-there.trend, rel=1e-9)


@settings(max_examples=15)
@given(st.integers(0, 10**6), st.randoms(use_true_random=False))
def test_rows_labels_and_unit_do_not_matter(seed: int, shuffler: object) -> None:
    frame = study(seed)
    wanted = only(agree(frame, by="operator", unit="gf", margin=Quantity(9, "gf")))
    turned = frame.sample(frac=1, random_state=seed)
    turned = turned.assign(edge="x" + turned["edge"], operator=turned["operator"].str.upper(),
                           reading=turned["reading"] * NEWTONS_PER_GF)  # fmt: skip
    found = only(agree(turned, by="operator", unit="N", margin=Quantity(9, "gf")))
    assert found.difference == pytest.approx(wanted.difference * NEWTONS_PER_GF, rel=1e-9)
    assert found.limits.high_to == pytest.approx(wanted.limits.high_to * NEWTONS_PER_GF, rel=1e-9)
    assert found.slope and wanted.slope and found.slope.low == pytest.approx(wanted.slope.low, rel=1e-8)
    assert found.margin and wanted.margin and found.margin.finding == wanted.margin.finding


@pytest.mark.slow
@pytest.mark.parametrize("shape", ["normal", "uneven cuts", "log"])
def test_intervals_hold_the_truth(shape: str) -> None:
    """Difference, limits for single cuts, and slope with an estimated error ratio, from readings to intervals."""
    studies, hits = 1000, np.zeros(3)
    for seed in range(studies):
        frame = study(seed, edges=10, cuts=(3, 5), shift=0.0, sd=8.0)
        if shape == "uneven cuts":
            frame = frame.drop(index=frame.index[frame["operator"].eq("bo")][::3])
        if shape == "log":
            frame["reading"] = np.exp(frame["reading"] / 100)
        pair = only(agree(frame, by="operator", unit="gf", scale="log" if shape == "log" else "as read"))
        truth = stats.norm.ppf(0.975) * 8 * math.sqrt(2) / (100 if shape == "log" else 1)
        assert pair.slope
        hits += [pair.low <= 0 <= pair.high, pair.single.high_from <= truth <= pair.single.high_to,
                 pair.slope.low <= 1 <= pair.slope.high]  # fmt: skip
    margin = 4 * math.sqrt(0.95 * 0.05 / studies)
    assert np.all(hits / studies >= 0.94 - margin)
    assert np.all(hits[[0, 2]] / studies <= 0.96 + margin)
