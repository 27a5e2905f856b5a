"""`steadier`: whose edges come out more alike, from a folder to the finding."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from scipy import stats

from sharpstats.claims.finding import Finding, Findings
from sharpstats.claims.steadier import bound_of
from sharpstats.trial.plan import Steadier
from sharpstats.units import NEWTONS_PER_GF, Quantity

CLAIM = {"kind": "steadier", "medium": "film", "than": "stone"}
BACK = {"kind": "steadier", "medium": "stone", "than": "film"}
few = settings(
    max_examples=4, derandomize=True, deadline=None, phases=(Phase.generate,), suppress_health_check=list(HealthCheck)
)
seeds = st.integers(0, 10_000)


def spread(
    seed: int = 1, *, sd: dict[str, float] | None = None, edges: int = 8, cuts: int = 3, blades: int = 0,
    steel: bool = False,
) -> pd.DataFrame:  # fmt: skip
    """Edges of two or more media that spread differently, on the log scale; cuts by 5 %."""
    rng, rows = np.random.default_rng(seed), []
    effects = rng.normal(0, 0.1, max(blades, 1))
    for medium, own in (sd or {"film": 0.05, "stone": 0.2}).items():
        for number in range(edges):
            blade = number % blades if blades else number
            centre = 5 + own * rng.normal() + (effects[blade] if blades else 0.0)
            for cut in range(cuts):
                rows.append({"edge": f"{medium}{number}", "cut": cut + 1, "medium": medium, "blade": f"b{blade}",
                             "steel": "soft" if number % 2 else "hard",
                             "reading": round(math.exp(centre + 0.05 * rng.normal()), 4)})  # fmt: skip
    table = pd.DataFrame(rows)
    return table if steel else table.drop(columns="steel")


def judged(open_made, table: pd.DataFrame, *claims, blocks=(), **plan) -> Findings:
    return open_made(table, claims or [CLAIM], layout={"blocks": list(blocks)}, family="none", **plan).judge()


def one(open_made, table: pd.DataFrame, claim=CLAIM, **plan) -> Finding:
    return judged(open_made, table, claim, **plan).findings[0]


class TestFinding:
    def test_single_cuts_without_blocks_give_the_f_test_of_edges(self, open_made) -> None:
        table = spread(cuts=1, edges=6)
        found = one(open_made, table)
        logs = table.assign(y=np.log(table["reading"])).groupby("medium")["y"].var()
        f = logs["film"] / logs["stone"]
        assert found.estimate == pytest.approx(100 * (math.sqrt(f) - 1), rel=1e-9)
        assert found.p == pytest.approx(stats.f.cdf(f, 5, 5), abs=4e-4)
        exact = [100 * (math.sqrt(f / stats.f.ppf(q, 5, 5)) - 1) for q in (0.95, 0.05)]
        assert [found.low, found.high] == pytest.approx(exact, rel=0.01)
        assert found.finding == "shown"
        assert (found.unit, found.level, found.bound_low, found.bound_high) == ("%", 0.9, None, 0.0)
        assert found.estimate_on_scale == pytest.approx(math.log(f) / 2)

    def test_cut_error_is_taken_out(self, open_made) -> None:
        """By hand: mean squares of edge means less a third of the cuts' mean square."""
        table = spread(3, edges=10)
        y = np.log(table["reading"])
        error = table.assign(y=y).groupby("edge")["y"].var().mean()
        means = table.assign(y=y).groupby(["medium", "edge"])["y"].mean().groupby("medium").var()
        ratio = math.sqrt((means["film"] - error / 3) / (means["stone"] - error / 3))
        found = one(open_made, table)
        assert found.estimate == pytest.approx(100 * (ratio - 1), rel=1e-8)
        told = {note.code: note.text for note in found.notes}
        film, stone = (100 * math.expm1(math.sqrt(means[name] - error / 3)) for name in ("film", "stone"))
        assert told["spreads"] == (
            f"From edge to edge film varies by {film:.2g} % and stone by {stone:.2g} % "
            "(SD, the error of a cut taken out)."
        )
        assert told.keys() == {"spreads", "normal-spreads"}

    @pytest.mark.parametrize(("by", "outcome"), [("0 %", "shown"), ("50 %", "shown"), ("400 %", "open"),
                                                 ("2000 %", "contradicted")])  # fmt: skip
    def test_how_much_steadier(self, open_made, by: str, outcome: str) -> None:
        found = one(open_made, spread(edges=16, blades=4), CLAIM | {"by": by}, blocks=["blade"])
        assert found.finding == outcome
        assert found.bound_high == pytest.approx(100 * (1 / (1 + float(by.split()[0]) / 100) - 1), abs=1e-12)
        assert (found.high <= found.bound_high) == (outcome == "shown")
        assert (found.low >= found.bound_high) == (outcome == "contradicted")

    def test_the_bound_of_twenty_percent(self) -> None:
        claim = Steadier(id="a", says="", medium="x", than="y", by=Quantity(20.0, "%"))
        assert bound_of(claim) == pytest.approx(1 / 1.2)

    def test_only_edges_at_the_levels_named(self, open_made) -> None:
        table = spread(edges=12, steel=True)
        there = one(open_made, table, CLAIM | {"where": {"steel": "soft"}}, factors=["steel"])
        alone = one(open_made, table[table["steel"] == "soft"])
        assert dict(there.edges) == dict(alone.edges) == {"film": 6, "stone": 6}
        assert (there.estimate, there.low, there.high, there.p) == pytest.approx(
            (alone.estimate, alone.low, alone.high, alone.p), rel=1e-9
        )

    def test_a_third_medium_shares_blades_and_cut_error_and_may_have_a_single_edge(self, open_made) -> None:
        table = spread(sd={"film": 0.05, "stone": 0.2, "slate": 0.1}, blades=4)
        lonely = table[(table["medium"] != "slate") | (table["edge"] == "slate0")]
        two = table[table["medium"] != "slate"]
        three, one_left, none = (one(open_made, part, blocks=["blade"]) for part in (table, lonely, two))
        assert three.estimate != pytest.approx(none.estimate, rel=1e-4)
        assert one_left.estimate == pytest.approx(none.estimate, rel=1e-9)

    def test_single_cuts_say_that_cut_error_is_inside(self, open_made) -> None:
        notes = {note.code: note.text for note in one(open_made, spread(cuts=1)).notes}
        assert notes["cut-error-inside"].startswith("Each edge has one cut, so its error is inside both spreads")
        assert notes["spreads"].endswith("(SD, the error of a cut included).")


class TestTails:
    def wild(self, wild: bool) -> pd.DataFrame:
        table = spread(4, cuts=1, edges=16, sd={"film": 0.1, "stone": 0.1})
        far = table["edge"].isin(["film3", "stone5"] if wild else [])
        return table.assign(reading=table["reading"].where(~far, 3 * table["reading"]))

    def test_edges_that_do_not_look_normal_have_a_note(self, open_made) -> None:
        notes = {note.code: note.text for note in one(open_made, self.wild(True)).notes}
        assert notes["tails"].startswith("These edges do not look normally distributed (Shapiro and Wilk's p = ")
        assert notes["tails"].endswith("errs more often than it says: go by the most cautious opinion.")

    def test_others_have_none(self, open_made) -> None:
        assert "tails" not in {note.code for note in one(open_made, self.wild(False)).notes}


class TestOpinions:
    def test_two_that_need_no_normal_edges(self, open_made) -> None:
        found = one(open_made, spread(edges=16))
        assert [opinion.outcome for opinion in found.opinions] == ["shown", "shown"]
        assert found.opinions[0].text == (
            "By the distances of edge means from their median the claim is shown, too; "
            "the error of a cut is inside these spreads."
        )

    def test_without_blocks_the_first_is_levene_s_test_about_medians(self, open_made) -> None:
        table = spread(5, edges=9, sd={"film": 0.1, "stone": 0.2})
        means = np.log(table["reading"]).groupby(table["edge"]).mean()
        groups = [means[means.index.str.startswith(name)] for name in ("film", "stone")]
        p = stats.levene(*groups, center="median").pvalue / 2
        for alpha, outcome in ((p * 1.01, "shown"), (p * 0.99, "open")):
            found = one(open_made, table, alpha=float(alpha))
            assert found.opinions[0].outcome == outcome

    def test_too_few_edges_for_them(self, open_made) -> None:
        assert one(open_made, spread(edges=2)).opinions == ()


class TestMoreEdges:
    def test_by_the_f_test_it_settles_four_times_in_five(self, open_made) -> None:
        table = spread(2, cuts=1, edges=6, sd={"film": 0.1, "stone": 0.14})
        found = one(open_made, table)
        assert found.finding == "open"
        f = (1 + found.estimate / 100) ** 2
        df = 5 * (6 + np.array([found.more_edges - 1, found.more_edges])) / 6
        chance = [stats.f.cdf(stats.f.ppf(0.05, d, d) / f, d, d) + stats.f.sf(stats.f.isf(0.05, d, d) / f, d, d)
                  for d in df]  # fmt: skip
        assert chance[0] < 0.8 <= chance[1]

    def test_none_are_asked_for_where_it_is_settled(self, open_made) -> None:
        assert one(open_made, spread(edges=16)).more_edges is None


class TestNotAnswered:
    def test_one_edge(self, open_made) -> None:
        table = spread()
        found = one(open_made, table[(table["medium"] != "film") | (table["edge"] == "film0")])
        assert found.finding == "open" and math.isnan(found.p) and found.real is None
        assert [note.text for note in found.notes] == [
            "One edge was made with film: how far such edges differ takes two at least."
        ]

    def test_no_edge_at_a_level(self, open_made) -> None:
        table = spread(steel=True)
        table = table[(table["medium"] != "film") | (table["steel"] == "hard")]
        found = one(open_made, table, CLAIM | {"where": {"steel": "soft"}}, factors=["steel"])
        assert found.notes[0].text.startswith("No edge was made with film where steel is soft: how far")

    def test_all_cuts_of_a_medium_equal(self, open_made) -> None:
        table = spread(cuts=1)
        found = one(open_made, table.assign(reading=table["reading"].mask(table["medium"] == "film", 150.0)))
        assert found.notes[0].code == "not-answered"
        assert "Every edge with medium film reads just what the factors under test say" in found.notes[0].text

    def test_spreads_of_zero_are_told(self, open_made) -> None:
        table = spread(edges=6, sd={"film": 0.2, "stone": 0.2})
        level = np.log(table["reading"]) - np.log(table["reading"]).groupby(table["edge"]).transform("mean")
        flat = np.exp(5 + level).round(4)
        zero = table.assign(reading=table["reading"].mask(table["medium"] == "film", flat))
        there, back = judged(open_made, zero, CLAIM, BACK).findings
        assert (there.estimate, there.low, back.estimate, back.high) == (-100, -100, math.inf, math.inf)
        assert math.isfinite(there.high) and math.isfinite(back.low)
        both = one(open_made, table.assign(reading=flat))
        assert math.isnan(both.estimate) and (both.low, both.high, both.p) == (-100, math.inf, 1)
        assert both.finding == "open" and "no-spreads" in {note.code for note in both.notes}


def lossy(seed: int) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    table = spread(seed, sd={"film": 0.08, "slate": 0.1, "stone": 0.15}, edges=8, blades=4)
    return table[~table["edge"].isin(rng.choice(table["edge"].unique(), 2, replace=False))].iloc[1:]


NUMBERS = ("estimate", "low", "high", "p", "estimate_on_scale")


def assert_alike(a: Finding, b: Finding) -> None:
    assert (a.finding, a.more_edges, a.real) == (b.finding, b.more_edges, b.real)
    assert [o.outcome for o in a.opinions] == [o.outcome for o in b.opinions]
    for name in NUMBERS:
        assert getattr(b, name) == pytest.approx(getattr(a, name), rel=1e-6, abs=1e-7)


class TestWhatMustNotMatter:
    @few
    @given(seed=seeds)
    def test_swapping_turns_the_ratio_exactly(self, open_made, seed: int) -> None:
        there, back = judged(open_made, lossy(seed), CLAIM, BACK, blocks=["blade"]).findings
        assert back.estimate_on_scale == -there.estimate_on_scale
        for one_way, other in ((there.estimate, back.estimate), (there.low, back.high), (there.high, back.low)):
            if math.isfinite(one_way) and math.isfinite(other):
                assert (1 + one_way / 100) * (1 + other / 100) == pytest.approx(1, rel=1e-12)
        assert there.real == back.real

    @few
    @given(seed=seeds, shuffle=seeds)
    def test_row_order_and_unit(self, open_made, seed: int, shuffle: int) -> None:
        table = lossy(seed)
        plain = one(open_made, table, blocks=["blade"])
        assert_alike(plain, one(open_made, table.sample(frac=1, random_state=shuffle), blocks=["blade"]))
        newtons = table.assign(reading=table["reading"] * NEWTONS_PER_GF)
        assert_alike(plain, one(open_made, newtons, blocks=["blade"], unit="N"))

    @few
    @given(seed=seeds, random=st.randoms(use_true_random=False))
    def test_names(self, open_made, seed: int, random) -> None:
        table, new = lossy(seed), {}
        for column in ("medium", "blade", "edge"):
            old = sorted(table[column].unique())
            names = [f"{column} {i:03d}" for i in range(len(old))]
            random.shuffle(names)
            new[column] = dict(zip(old, names, strict=True))
        renamed = table.assign(**{column: table[column].map(names) for column, names in new.items()})
        claim = CLAIM | {key: new["medium"][CLAIM[key]] for key in ("medium", "than")}
        assert_alike(one(open_made, table, blocks=["blade"]), one(open_made, renamed, claim, blocks=["blade"]))

    def test_scale_as_read_is_the_ratio_of_forces(self, open_made) -> None:
        table = spread(cuts=1)
        sd = table.groupby("medium")["reading"].std()
        found = one(open_made, table, scale="as read")
        assert (found.unit, found.scale) == ("%", "as read")
        assert found.estimate == pytest.approx(100 * (sd["film"] / sd["stone"] - 1), rel=1e-9)
        film, stone = (float(f"{sd[name]:.2g}") for name in ("film", "stone"))
        assert f"film varies by {film:g} gf and stone by {stone:g} gf" in found.notes[0].text


def test_cuts_over_the_range_leave_it_open_and_say_why(open_made) -> None:
    """Of the media asked for; of others they only keep those media out of this fit."""
    table = spread(sd={"film": 0.05, "stone": 0.2, "slate": 0.1}).astype({"reading": object})
    table.loc[table["medium"] == "slate", "reading"] = [*table.loc[table["medium"] == "slate", "reading"][:-1], ">150"]
    found = one(open_made, table)
    without = one(open_made, table[table["medium"] != "slate"])
    assert found.estimate == pytest.approx(without.estimate, rel=1e-9)
    table.loc[table["medium"] == "stone", "reading"] = [*table.loc[table["medium"] == "stone", "reading"][:-1], ">150"]
    found = one(open_made, table)
    assert (found.finding, math.isnan(found.estimate)) == ("open", True)
    assert [note.text for note in found.notes if note.code == "not-answered"] == [
        "Edges made with stone have cuts over the tester's range. How far such edges differ rests on what was not "
        "seen, so the two spreads are not compared."
    ]
