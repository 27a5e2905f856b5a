"""Parts of the spread: published studies, R, layouts that are hard, what a change of names or units leaves alone."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import crossed, nested
from reference.stored import stored_json, stored_table
from scipy import stats

from sharpstats.columns import RESULTS
from sharpstats.errors import FitError
from sharpstats.tester.known import FromCurvature
from sharpstats.tester.smallest import cuts_needed, smallest_difference
from sharpstats.tester.spreads import Spreads, find_spreads
from sharpstats.units import NEWTONS_PER_GF


def log(table: pd.DataFrame, **options: object) -> Spreads:
    return find_spreads(table, scale="log", **options)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def gauge() -> Spreads:
    table = stored_table("gauge/msa_10x3x3").astype({"part": str})
    names = {"part": "edge", "appraiser": "operator", "value": "reading"}
    return find_spreads(table.rename(columns=names), scale="as read")


@pytest.fixture(scope="module")
def lost() -> Spreads:
    """A study that lost a cell and four single cuts."""
    return log(crossed(6).drop(index=[0, 1, 2, 3, 17, 40, 41, 70]), pool_above=1)


class TestReferenceManual:
    """Measurement Systems Analysis Reference Manual, 3rd ed. 2002: 10 parts, 3 appraisers, 3 trials (recalled)."""

    def test_the_interaction_is_pooled_and_said(self, gauge: Spreads) -> None:
        assert gauge.pooling is not None
        assert gauge.pooling.pooled
        assert gauge.pooling.f == pytest.approx(0.434, abs=5e-4)  # printed
        assert any("so it is pooled into repeatability" in note.text for note in gauge.notes)
        assert gauge.terms == ("operator", "edge", "repeatability")

    def test_sds(self, gauge: Spreads) -> None:
        printed = stored_json("gauge/msa_10x3x3")["interaction_pooled_with_error"]
        for term, name in (("repeatability", "EV"), ("operator", "AV"), ("edge", "PV")):
            assert gauge.sds[term].estimate == pytest.approx(float(printed[f"{name}_sd"]), abs=5.1e-7)
        # Printed as 0.302373, chained from rounded parts.
        assert gauge.sds["reproducibility"].estimate == pytest.approx(float(printed["GRR_sd"]), abs=2e-6)

    def test_shares_as_printed(self, gauge: Spreads) -> None:
        """Percent of the whole's variance, and of its SD: three digits each."""
        printed = {"repeatability": (3.4, 18.4), "operator": (4.4, 20.9), "reproducibility": (7.8, 27.9),
                   "edge": (92.2, 96.0)}  # fmt: skip
        for term, (of_variance, of_sd) in printed.items():
            share = gauge.shares[term].estimate
            assert (round(share, 1), round(10 * share**0.5, 1)) == (of_variance, of_sd)

    def test_number_of_distinct_categories(self, gauge: Spreads) -> None:
        assert gauge.categories is not None
        assert gauge.categories.estimate == pytest.approx(4.86, abs=5e-3)  # printed, before it is cut to 4
        assert gauge.categories.low < 4.86 < gauge.categories.high

    def test_repeatability_has_the_exact_interval(self, gauge: Spreads) -> None:
        """(18 + 60) df of the pooled mean square."""
        limits = np.sqrt(78 * 0.0399732763531962 / stats.chi2.ppf([0.975, 0.025], 78))
        amount = gauge.sds["repeatability"]
        assert (amount.low, amount.high) == pytest.approx(limits, rel=1e-9)
        assert gauge.limits["r"].high == pytest.approx(2.8 * limits[1], rel=1e-9)

    def test_the_other_way_keeps_the_interaction(self, gauge: Spreads) -> None:
        other = gauge.other_way
        assert other is not None
        assert other.pooling is not None
        assert not other.pooling.pooled
        raw = stored_json("gauge/msa_10x3x3")["recomputed_not_pooled"]
        assert other.variances == pytest.approx(
            [raw["appraiser_var"], raw["part_var"], 0, raw["repeatability_var"]], rel=1e-11
        )
        assert {"as-asked", "zero-variance", "differ"} <= {note.code for note in other.notes}
        # By REML the part at zero is as good as pooled.
        assert other.by_likelihood["sd"].to_numpy() == pytest.approx([0.226838, 1.042327, 0, 0.199933], abs=5.1e-7)


class TestTextbooks:
    """Two studies that textbooks print, recalled: sums of squares to every printed digit, then the parts."""

    @pytest.mark.parametrize(
        ("name", "printed"),
        [("gauge/textbook_20x3x2", {"operator": 2.617, "edge": 1185.425, "operator x edge": 27.050,
                                    "repeatability": 59.5}),
         ("gauge/impedance_10x3x3", {"operator": 39.27, "edge": 3935.96, "operator x edge": 48.51,
                                     "repeatability": 30.67})],
    )  # fmt: skip
    def test_sums_of_squares(self, name: str, printed: dict[str, float]) -> None:
        squares = textbook(name, pool_above=1).squares
        assert squares is not None
        sums = dict(zip(squares.terms, squares.df * squares.mean_square, strict=True))
        assert sums == pytest.approx(printed, abs=5.1e-3 if "impedance" in name else 5.1e-4)

    def test_an_interaction_that_is_not_there_is_pooled(self) -> None:
        """p = 0.861; the parts as printed, 0.88, 0.0106 and 10.25."""
        found = textbook("gauge/textbook_20x3x2")
        assert found.pooling is not None
        assert (found.pooling.pooled, round(found.pooling.p, 3)) == (True, 0.861)
        assert [round(x, d) for x, d in zip(found.variances, (4, 2, 2), strict=True)] == [0.0106, 10.25, 0.88]

    def test_an_interaction_that_is_there_is_kept(self) -> None:
        """F = 5.27; the parts as printed, 0.51, 0.73, 0.56 and 48.29."""
        found = textbook("gauge/impedance_10x3x3")
        assert found.pooling is not None
        assert (found.pooling.pooled, round(found.pooling.f, 2)) == (False, 5.27)
        assert found.variances.round(2).tolist() == [0.56, 48.29, 0.73, 0.51]
        np.testing.assert_allclose(found.by_likelihood["variance"], found.variances, rtol=1e-9)


def textbook(name: str, **options: float) -> Spreads:
    table = stored_table(name).rename(columns={"part": "edge", "value": "reading"})
    return find_spreads(table, scale="as read", **options)  # type: ignore[arg-type]


class TestHandbook:
    """NIST/SEMATECH e-Handbook 2.4.4 (resistivity of wafers, probe 2362): each row a mean of six readings on a day."""

    @staticmethod
    def days(**only: int) -> pd.DataFrame:
        table = stored_table("gauge/nist_mpc61_resistivity").query("probe == 2362")
        for name, value in only.items():
            table = table[table[name] == value]
        names = {"wafer": "edge", "run": "operator", "average": "reading"}
        return table[["wafer", "run", "average"]].rename(columns=names).astype({"edge": str, "operator": str})

    def test_day_to_day_within_a_run(self) -> None:
        """Level 2, wafer 140: 0.02742 (2.4.4.2, recalled); five wafers together 0.036168 (recomputed)."""
        one = find_spreads(self.days(wafer=140), scale="as read")
        assert one.sds["repeatability"].estimate == pytest.approx(0.02742, abs=5e-6)
        five = find_spreads(self.days(), scale="as read", pool_above=1)
        assert five.sds["repeatability"].estimate == pytest.approx(0.036168240672355724, rel=1e-9)
        assert five.df == 50

    def test_run_to_run(self) -> None:
        """Level 3: 0.0197 (2.4.4.3, copied; from rounded parts, 0.01965 unrounded): runs within each wafer, 5 df."""
        squares = find_spreads(self.days(), scale="as read", pool_above=1).squares
        assert squares is not None
        table = squares.table.set_index("term")
        both = table.loc[["operator", "operator x edge"]]
        level_3 = np.sqrt((both["df"] * both["mean_square"]).sum() / both["df"].sum() / 6)
        assert level_3 == pytest.approx(0.0197, abs=6e-5)

    def test_check_standard(self) -> None:
        """2.6.2, wafer 137: within a day 0.06139 (125 df), between the days' means 0.02680 (24 df); recalled."""
        days = stored_table("gauge/nist_mpc62_check_standard")
        pattern = np.array([-5, -3, -1, 1, 3, 5]) / np.sqrt(14)  # mean 0, SD 1
        readings = days["average"].to_numpy()[:, None] + days["stddev"].to_numpy()[:, None] * pattern
        table = pd.DataFrame({"edge": np.repeat([f"d{i}" for i in range(25)], 6), "reading": readings.ravel()})
        found = find_spreads(table, scale="as read")
        assert found.df == 125
        assert found.sds["repeatability"].estimate == pytest.approx(0.06139, abs=5e-6)
        assert found.squares is not None
        assert np.sqrt(found.squares.mean_square[0] / 6) == pytest.approx(0.02680, abs=5e-6)


class TestAgainstR:
    def test_two_crossed_factors_with_one_reading_in_a_cell(self) -> None:
        """Penicillin: lme4's variances to 10 digits, re-optimised profile limits to 6 (tests/reference)."""
        theirs = stored_json("r/lmm_penicillin")
        names = {"plate": "edge", "sample": "operator", "diameter": "reading"}
        found = find_spreads(stored_table("r/lmm_penicillin").rename(columns=names), scale="as read")
        assert found.terms == ("operator", "edge", "repeatability")
        assert "inside-repeatability" in {note.code for note in found.notes}
        sds = {row["component"]: row["sd"] for row in theirs["varcomp"]}
        ours = found.by_likelihood.set_index("term")
        for term, name in (("operator", "sample"), ("edge", "plate"), ("repeatability", "Residual")):
            assert ours.loc[term, "sd"] == pytest.approx(sds[name], rel=1e-10)
            assert found.sds[term].estimate == pytest.approx(sds[name], rel=1e-10)
            (limits,) = (row for row in theirs["profile_ci_reml"] if row["component"] == name)
            assert ours.loc[term, ["low", "high"]].tolist() == pytest.approx(
                [limits["sd_lower"], limits["sd_upper"]], rel=1e-6
            )

    def test_an_unbalanced_study_with_days(self) -> None:
        """lme4 on a study with lost cells: variances and criterion to 9 digits, profile limits to 6."""
        theirs = stored_json("r/lmm_tester_a")
        found = log(stored_table("r/lmm_tester_a").rename(columns={"force": "reading"}), pool_above=1)
        assert found.terms == ("operator", "edge", "operator x edge", "day", "repeatability")
        assert not found.exact
        assert found.fit.reml_criterion == pytest.approx(theirs["reml"]["criterion"], rel=1e-9)
        names = {"operator": "operator", "edge": "edge", "operator:edge": "operator x edge", "day": "day",
                 "Residual": "repeatability"}  # fmt: skip
        for row in theirs["profile_ci_reml"]:
            term = names[row["component"]]
            assert found.table.set_index("term").loc[term, "sd"] == pytest.approx(row["sd"], rel=1e-8)
            ours = found.by_likelihood.set_index("term").loc[term]
            assert (ours["low"], ours["high"]) == pytest.approx((row["sd_lower"], row["sd_upper"]), rel=1e-6, abs=1e-9)


class TestParts:
    def test_sums_are_sums(self) -> None:
        found = log(crossed(), pool_above=1)
        variance = found.table.set_index("term")["variance"]
        own = ["operator", "operator x edge", "repeatability"]
        assert variance["reproducibility"] == pytest.approx(variance[own].sum())
        assert variance["between operators"] == pytest.approx(variance[own[:2]].sum())
        assert variance["whole"] == pytest.approx(variance[[*own, "edge"]].sum())
        assert found.limits["R"].estimate == pytest.approx(2.8 * found.sds["reproducibility"].estimate)

    def test_day_lot_and_tester_are_inside_reproducibility(self) -> None:
        rng = np.random.default_rng(4)
        table = pd.concat([crossed(5, cuts=2).assign(day=d, tester=t) for d in "abc" for t in "XY"], ignore_index=True)
        day = table["day"].map(dict(zip("abc", rng.normal(0, 0.1, 3), strict=True)))
        more = np.exp(day + rng.normal(0, 0.05, len(table)))
        found = log(table.assign(reading=table["reading"] * more), pool_above=1)
        assert found.terms[-3:] == ("day", "tester unit", "repeatability")
        inside = found.sums["reproducibility"]
        assert dict(zip(found.terms, inside, strict=True))["day"] == 1
        assert dict(zip(found.terms, inside, strict=True))["edge"] == 0

    def test_one_operator_tells_no_reproducibility(self) -> None:
        found = log(crossed(operators=1))
        assert found.wide == "repeatability"
        assert found.limits.terms == ("r",)
        assert "nothing is known about how far two people differ" in " ".join(map(str, found.notes))

    def test_one_operator_over_days_tells_intermediate_precision(self) -> None:
        table = crossed(operators=1, cuts=6)
        found = log(table.assign(day=table["cut"] % 3))
        assert found.wide == "intermediate precision"
        assert found.limits.terms == ("r", "R")

    def test_like_edges_answer_with_one_cut_each(self) -> None:
        table = crossed(operators=1, cuts=1, edges=20, edge=0.0)
        found = log(table, layout="like edges")
        assert found.sds["repeatability"].estimate == pytest.approx(np.log(table["reading"]).std(ddof=1), rel=1e-12)
        assert found.categories is None
        assert "sits inside repeatability" in found.notes[0].text

    def test_edges_that_are_not_alike_are_noticed(self) -> None:
        assert "not-alike" in {note.code for note in log(crossed(), layout="like edges").notes}
        assert "not-alike" not in {note.code for note in log(crossed(edge=0.0, both=0.0), layout="like edges").notes}

    def test_nested(self) -> None:
        found = log(nested())
        assert found.exact
        assert found.terms == ("operator", "edge", "repeatability")

    def test_what_always_changes_together_stays_one(self) -> None:
        table = crossed()
        half = (table["cut"] > 2).map({True: "b", False: "a"})
        found = log(table.assign(day=half, filament_lot=half))
        assert "day = filament lot" in found.sds.terms
        assert not {"day", "filament lot"} & set(found.sds.terms)

    def test_an_edge_for_each_operator_tells_nothing_of_either(self) -> None:
        found = log(nested(edges=1))
        assert found.terms == ("operator = edge", "repeatability")
        assert (found.wide, found.categories) == ("repeatability", None)


class TestNotBalanced:
    def test_said(self, lost: Spreads) -> None:
        assert not lost.exact
        assert lost.why_not.startswith("The layout is not balanced")
        assert "not-balanced" in {note.code for note in lost.notes}
        with pytest.raises(FitError, match="not balanced"):
            _ = lost.fit.mean_squares

    def test_told_by_reml(self, lost: Spreads) -> None:
        np.testing.assert_allclose(lost.by_likelihood["variance"], lost.variances)

    def test_repeatability_keeps_its_exact_interval(self, lost: Spreads) -> None:
        """From what is left within cells, whatever their sizes."""
        cells = np.log(lost.readings["reading"]).groupby([lost.readings["operator"], lost.readings["edge"]])
        df = float((cells.size() - 1).sum())
        within = float(((cells.size() - 1) * cells.var()).sum())
        limits = np.sqrt(within / stats.chi2.ppf([0.975, 0.025], df))
        amount = lost.sds["repeatability"]
        assert lost.df == df
        assert (amount.low, amount.high) == pytest.approx(limits, rel=1e-9)

    def test_every_interval_holds_its_estimate(self, lost: Spreads) -> None:
        for amounts in (lost.sds, lost.shares, lost.limits):
            assert (amounts.low <= amounts.estimate).all()
            assert (amounts.estimate <= amounts.high).all()


class TestOverRange:
    def test_said_and_counted_as_over(self) -> None:
        table = crossed(7)
        limit = float(table["reading"].quantile(0.97))
        over = (table["reading"] > limit).to_numpy()
        found = log(table.assign(over_range=over, reading=table["reading"].clip(upper=limit)))
        assert (found.exact, found.pooling, found.check) == (False, None, None)
        assert isinstance(found.known, FromCurvature)
        assert {note.code for note in found.notes} >= {"over-range"}
        whole = log(table, pool_above=1)
        for term in ("repeatability", "reproducibility", "edge", "whole"):
            assert found.sds[term].estimate == pytest.approx(whole.sds[term].estimate, rel=0.3)
            assert found.sds[term].low < found.sds[term].estimate < found.sds[term].high


def test_tables_have_columns_of_the_vocabulary() -> None:
    found = log(crossed())
    tables = [found.table, found.by_likelihood, found.sds.table, found.shares.table, found.limits.table,
              found.check.table if found.check else found.table, smallest_difference(found).table,
              cuts_needed(found, "15 %").table]  # fmt: skip
    for table in tables:
        assert set(table.columns) <= {column.name for column in RESULTS}


class TestRefused:
    def test_all_readings_equal(self) -> None:
        with pytest.raises(FitError, match=r"All 96 readings are 150\. That is no proof that the tester repeats"):
            log(crossed().assign(reading=150.0))

    def test_cuts_on_an_edge_all_equal(self) -> None:
        table = crossed()
        with pytest.raises(FitError, match="the tester's step is coarser than its spread"):
            log(table.assign(reading=100.0 + 10 * table["edge"].str[1:].astype(int)))

    def test_nothing_to_log(self) -> None:
        table = crossed()
        table.loc[3, "reading"] = 0.0
        with pytest.raises(FitError, match="not above zero, which has no logarithm"):
            log(table)
        find_spreads(table, scale="as read")

    def test_one_cut(self) -> None:
        with pytest.raises(FitError, match="at least two cuts; there is 1"):
            log(crossed().head(1))

    def test_blank_labels(self) -> None:
        table = crossed()
        table.loc[[3, 5], "operator"] = None
        with pytest.raises(FitError, match="`operator` is blank in row 3 of the table, but not in all"):
            log(table)
        assert log(table.assign(operator=None)).layout == "one operator"
        with pytest.raises(FitError, match="No edge is named"):
            log(table.assign(operator="a", edge=None))

    def test_no_number(self) -> None:
        table = crossed()
        table.loc[7, "reading"] = np.nan
        with pytest.raises(FitError, match="The reading in row 7 of the table is no number"):
            log(table)

    def test_nearly_all_over_the_range(self) -> None:
        table = crossed(operators=1, edges=2, cuts=2).assign(over_range=[True, True, True, False])
        with pytest.raises(FitError, match="Only 1 of 4 readings are within the tester's range"):
            log(table)

    @pytest.mark.parametrize(
        ("options", "says"),
        [({"scale": "ln"}, '"log" or "as read"'), ({"level": 95}, "between 0 and 1"),
         ({"pool_above": 2}, "`pool_above`")],
    )  # fmt: skip
    def test_wrong_arguments(self, options: dict[str, object], says: str) -> None:
        with pytest.raises(ValueError, match=says):
            find_spreads(crossed(), **{"scale": "log", **options})  # type: ignore[arg-type]


@settings(max_examples=8)
@given(seed=st.integers(0, 10_000), lost=st.booleans())
def test_order_names_and_unit_alter_nothing(seed: int, lost: bool) -> None:
    table = crossed(seed, edges=5, cuts=3)
    table = table.drop(index=[2, 20]) if lost else table
    rng = np.random.default_rng(seed)
    found = log(table).table
    turned = table.sample(frac=1, random_state=seed).reset_index(drop=True)
    for name in ("operator", "edge"):
        labels = turned[name].unique()
        turned[name] = turned[name].map(dict(zip(labels, rng.permutation([f"x{i}" for i in range(len(labels))]),
                                                 strict=True)))  # fmt: skip
    turned["reading"] *= NEWTONS_PER_GF
    pd.testing.assert_frame_equal(log(turned, unit="N").table, found, rtol=1e-6, atol=1e-9)


@settings(max_examples=6)
@given(seed=st.integers(0, 10_000))
def test_newtons_scale_what_is_as_read(seed: int) -> None:
    table = crossed(seed, edges=5, cuts=3)
    gf = find_spreads(table, scale="as read")
    n = find_spreads(table.assign(reading=table["reading"] * NEWTONS_PER_GF), scale="as read", unit="N")
    names = ["estimate", "low", "high"]
    np.testing.assert_allclose(n.sds.table[names] / NEWTONS_PER_GF, gf.sds.table[names], rtol=1e-7, atol=1e-7)
    np.testing.assert_allclose(n.shares.table[names], gf.shares.table[names], rtol=1e-6, atol=1e-7)


def test_two_operators_alone_have_a_limit_beside_that_of_days_and_lots() -> None:
    """2.8 root(repeatability + operator [+ operator x edge]); R holds the day as well, and is never smaller."""
    rng = np.random.default_rng(8)
    operator, edge, cut = np.indices((4, 6, 4)).reshape(3, -1)
    table = pd.DataFrame({
        "edge": [f"e{i}" for i in edge], "operator": [f"o{i}" for i in operator], "day": [f"d{i}" for i in cut],
        "reading": 200 + 30 * edge + rng.normal(0, 3, 4)[operator] + rng.normal(0, 5, 4)[cut] + rng.normal(0, 8, 96),
    })  # fmt: skip
    found = find_spreads(table, scale="as read")
    parts = dict(zip(found.terms, found.variances, strict=True))
    own = sum(value for name, value in parts.items() if name in ("operator", "operator x edge", "repeatability"))
    assert found.by_two is not None
    assert found.by_two.estimate == pytest.approx(2.8 * np.sqrt(own), rel=1e-12)
    assert found.by_two.low <= found.by_two.estimate <= found.limits["R"].estimate
    assert find_spreads(table.drop(columns="day"), scale="as read").by_two is None
    assert find_spreads(table.drop(columns="operator"), scale="as read").by_two is None


def test_a_study_all_over_range_says_so() -> None:
    table = pd.DataFrame({"edge": list("aabb"), "reading": [1500.0] * 4, "over_range": True})
    with pytest.raises(FitError, match="All 4 readings are over the tester's range"):
        find_spreads(table, scale="log")
