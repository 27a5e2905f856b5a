"""`reaches`: tolerance bounds where edges allow them, counts where an edge is over range."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

REACHES = {"kind": "reaches", "medium": "film", "level": "200 gf", "share": "80 %"}
STEEL = {"b1": "carbon", "b2": "carbon", "b3": "stainless", "b4": "stainless"}


def edges_of(film: list[float] | np.ndarray, stone: tuple[float, ...] = (120.0, 130.0, 125.0)) -> pd.DataFrame:
    """One cut an edge, no blocks: the film edges are those given."""
    rows = [("film", reading) for reading in film] + [("stone", reading) for reading in stone]
    table = pd.DataFrame(rows, columns=["medium", "reading"])
    return table.assign(edge=[f"e{i}" for i in range(len(table))], cut=1)


def over_range(table: pd.DataFrame, edges: list[str], limit: str = ">1500") -> pd.DataFrame:
    """The first cut of some edges broke off the scale."""
    return table.astype({"reading": str}).assign(
        reading=lambda t: t["reading"].mask(t["edge"].isin(edges) & (t["cut"] == 1), limit)
    )


def film_edges(table: pd.DataFrame) -> list[str]:
    return list(table.loc[table["medium"] == "film", "edge"].unique())


def codes(finding) -> set[str]:
    return {note.code for note in finding.notes}


@pytest.mark.parametrize(("edges", "k"), [(5, 4.20268), (10, 2.91096), (30, 2.21984)])  # ISO 16269-6, 95 % of 95 %
def test_published_factor_through_the_public_door(open_made, edges: int, k: float) -> None:
    """Edges with mean 100 and SD 10 exactly: the bound is 100 + 10 k."""
    z = np.random.default_rng(1).normal(size=edges)
    film = 100 + 10 * (z - z.mean()) / z.std(ddof=1)
    for level, expected in ((100 + 10 * k + 0.01, "shown"), (100 + 10 * k - 0.01, "open")):
        claim = REACHES | {"share": "95 %", "level": f"{level:.4f} gf"}
        (finding,) = open_made(edges_of(film), [claim], scale="as read", layout={"blocks": []}).judge().findings
        assert finding.high == pytest.approx(100 + 10 * k, abs=1e-4)
        assert (finding.finding, finding.df, finding.edges) == (expected, edges - 1, {"film": edges})
        assert finding.estimate == pytest.approx(100 + 10 * stats.norm.ppf(0.95), rel=1e-9)
        assert finding.p == pytest.approx(0.05, abs=1e-3)


def test_bound_and_level_are_readings_on_the_log_scale(open_made) -> None:
    film = np.exp(np.random.default_rng(2).normal(5, 0.1, 12))
    (finding,) = open_made(edges_of(film), [REACHES], layout={"blocks": []}).judge().findings
    logs = np.log(film)
    k = stats.nct.ppf(0.95, 11, stats.norm.ppf(0.8) * math.sqrt(12)) / math.sqrt(12)
    assert finding.high == pytest.approx(math.exp(logs.mean() + k * logs.std(ddof=1)), rel=1e-9)
    assert (finding.unit, finding.bound_low, finding.bound_high) == ("gf", None, 200.0)
    assert finding.real is None


@pytest.mark.parametrize("edges", [12, 60])
def test_far_beyond_the_level_is_contradicted_and_far_below_it_shown(open_made, edges: int) -> None:
    """Far out the noncentral t has no mass left; the finding must not go open for it."""
    film = np.exp(np.random.default_rng(3).normal(5, 0.05, edges))
    claims = [REACHES | {"level": "40 gf"}, REACHES | {"level": "700 gf"}]
    below, above = open_made(edges_of(film), claims, layout={"blocks": []}).judge().findings
    assert (below.finding, above.finding) == ("contradicted", "shown")
    assert below.p == pytest.approx(1)
    assert 0 <= above.p < 1e-6


def test_two_edges_have_a_bound_beyond_all_edges(open_made) -> None:
    (finding,) = open_made(edges_of([50.0, 250.0]), [REACHES], layout={"blocks": []}).judge().findings
    assert (finding.finding, finding.df) == ("open", 1)
    assert finding.high > 1e4


def test_edges_in_blocks_use_draws_and_say_so(draw, open_made) -> None:
    (finding,) = open_made(draw(), [REACHES]).judge().findings
    (note,) = [note.text for note in finding.notes if note.code == "drawn-bound"]
    assert note == "The bound comes from 40,000 draws (seed 16269)."
    assert math.isnan(finding.df)
    assert finding.low < finding.estimate < finding.high


def test_one_edge_in_each_block_is_exact(draw, open_made) -> None:
    (finding,) = open_made(draw(edges=1), [REACHES]).judge().findings
    assert (finding.df, codes(finding)) == (3, {"normal-edges"})


def test_blades_nested_in_steel(draw, open_made) -> None:
    """Over both steels, and on one alone; there the blades of that steel are the blocks."""
    table = draw(steel=STEEL)
    claims = [REACHES, REACHES | {"where": {"steel": "carbon"}}]
    both, carbon = open_made(table, claims, factors=["steel"], family="none").judge().findings
    assert (both.edges, carbon.edges) == ({"film": 8}, {"film": 4})
    alone = table[table["steel"] == "carbon"]
    (same,) = open_made(alone, [REACHES]).judge().findings
    assert (carbon.low, carbon.high, carbon.p) == pytest.approx((same.low, same.high, same.p), rel=1e-9)


def test_uneven_cuts_are_told(draw, open_made) -> None:
    table = draw()
    (finding,) = open_made(table.drop(index=[0]), [REACHES]).judge().findings
    (note,) = [note.text for note in finding.notes if note.code == "uneven-cuts"]
    assert note == "Edges with fewer cuts count as much as the others in this bound."


def test_second_opinion_counts_edges(draw, open_made) -> None:
    (finding,) = open_made(draw(edges=6), [REACHES]).judge().findings
    below = (finding.opinions[0].text.split(" ")[0], finding.opinions[0].name)
    assert below == ("24", "counting edges")
    by_counting = "shown" if stats.binomtest(24, 24, 0.8, "greater").pvalue <= 0.05 else "open"
    assert finding.opinions[0].outcome == by_counting


@pytest.mark.parametrize("where", [{}, {"steel": "stainless"}], ids=["average", "the-missing-cell"])
def test_a_missing_cell_is_open_without_a_number(draw, open_made, where) -> None:
    table = draw(steel=STEEL)
    lost = (table["medium"] == "film") & (table["steel"] == "stainless")
    claim = REACHES | ({"where": where} if where else {})
    (finding,) = open_made(table[~lost], [claim], factors=["steel"]).judge().findings
    numbers = (finding.estimate, finding.low, finding.high, finding.df, finding.p, finding.estimate_on_scale)
    assert finding.finding == "open"
    assert all(map(math.isnan, numbers))
    assert (finding.opinions, finding.more_edges, finding.bound_high) == ((), None, 200.0)
    assert [note.text for note in finding.notes] == [
        "No edge was made with film where steel is stainless, so nothing is known of how many would read below the "
        "level."
    ]


def test_one_over_range_edge_lets_the_count_decide(draw, open_made) -> None:
    table = draw(edges=5)
    trial = open_made(over_range(table, film_edges(table)[:1]), [REACHES])
    (finding,) = trial.judge().findings
    expected = stats.binomtest(19, 20, 0.8, "greater").pvalue
    assert finding.p == pytest.approx(expected, rel=1e-9)
    assert finding.finding == ("shown" if expected <= 0.05 else "open")
    assert (finding.edges, finding.opinions) == ({"film": 20}, ())
    notes = {note.code: note.text for note in finding.notes}
    assert notes["by-count"] == (
        "1 of 20 edges has an over-range cut, so edges were counted: 19 of 20 read below the level."
    )
    assert notes["counted-in-blocks"].startswith(
        "Edges of one blade count like edges of different ones here, which makes the count look surer than it is: with "
        "about as many edges a blade, such a claim was wrongly shown in up to "
    )
    assert finding.estimate in set(trial.fit().edges["reading"])


def test_all_edges_over_range_contradict(draw, open_made) -> None:
    table = draw()
    (finding,) = open_made(over_range(table, film_edges(table)), [REACHES]).judge().findings
    assert (finding.finding, finding.estimate, finding.edges) == ("contradicted", math.inf, {"film": 8})
    assert finding.low > 200  # what the cuts within range and the tester's limit allow
    assert "8 of 8 edges have an over-range cut, so edges were counted: 0 of 8 read below the level." in {
        note.text for note in finding.notes
    }


def test_an_over_range_edge_that_may_yet_read_below_contradicts_nothing(open_made) -> None:
    """Four cuts at 100 and one beyond 300: the mean is 125 or more, and a level of 400 may hold it."""
    names = [f"f{i}" for i in range(6)]
    film = pd.DataFrame({"medium": "film", "edge": np.repeat(names, 5), "cut": [1, 2, 3, 4, 5] * 6, "reading": 100.0})
    film["reading"] += np.random.default_rng(4).normal(0, 1, 30).round(1)
    table = pd.concat([over_range(film, names, ">300"), edges_of([]).astype({"reading": str})])
    claims = [REACHES | {"level": "400 gf"}, REACHES | {"level": "120 gf"}]
    perhaps, surely_not = open_made(table, claims, layout={"blocks": []}, family="none").judge().findings
    assert (perhaps.finding, surely_not.finding) == ("open", "contradicted")
    assert 123 < perhaps.low < 126
    (note,) = [note.text for note in perhaps.notes]
    assert note == (
        "6 of 6 edges have an over-range cut, so edges were counted: 0 of 6 read below the level, and 6 more may."
    )


def test_over_range_control_edges_are_not_counted(draw, open_made) -> None:
    table = draw().assign(role="trial")
    controls = table[table["edge"].isin(film_edges(table)[:3])].assign(role="control")
    controls = over_range(controls.assign(edge="c" + controls["edge"]), ["c" + e for e in film_edges(table)])
    plain = open_made(table, [REACHES]).judge().table
    assert open_made(pd.concat([table, controls]), [REACHES]).judge().table.equals(plain)


def test_over_range_edges_elsewhere_do_not_count(draw, open_made) -> None:
    """An over-range stone edge, and a film edge on the other steel, leave film on carbon alone."""
    table = draw(steel=STEEL)
    stone = list(table.loc[table["medium"] == "stone", "edge"].unique())[:1]
    other = list(table.loc[(table["medium"] == "film") & (table["steel"] == "stainless"), "edge"].unique())[:1]
    (finding,) = open_made(
        over_range(table, stone + other), [REACHES | {"where": {"steel": "carbon"}}], factors=["steel"]
    ).judge().findings
    assert (finding.edges, codes(finding)) == ({"film": 4}, {"drawn-bound", "normal-edges"})


@pytest.mark.parametrize("blocks", [[], ["blade"]], ids=["independent", "in-blocks"])
def test_zero_spread_is_counted_instead(draw, open_made, blocks: list[str]) -> None:
    """A tester that rounds can make all edges alike; that is no reason to be sure of the next ones."""
    table = draw()
    table.loc[table["medium"] == "film", "reading"] = 150.0
    (finding,) = open_made(table, [REACHES], layout={"blocks": blocks}).judge().findings
    assert finding.finding == "open"
    assert finding.p == pytest.approx(0.8**8)
    assert finding.estimate == pytest.approx(150)
    assert finding.high == math.inf
    assert (
        "The edges are too few, or too much alike, for a tolerance bound, so edges were counted: 8 of 8 read below the "
        "level." in {note.text for note in finding.notes}
    )


def test_a_single_edge_is_counted(open_made) -> None:
    (finding,) = open_made(edges_of([100.0]), [REACHES], layout={"blocks": []}).judge().findings
    assert (finding.finding, finding.high) == ("open", math.inf)
    assert finding.p == pytest.approx(0.8)


def test_the_only_medium_of_a_trial_can_reach_a_level(draw, open_made) -> None:
    table = draw({"film": 120.0})
    (finding,) = open_made(table, [REACHES], levels={"medium": ["film", "stone"]}).judge().findings
    assert (finding.finding, finding.edges) == ("shown", {"film": 8})


def test_more_edges_would_settle_it_by_simulation(open_made) -> None:
    """With as many more, the same mean and spread settle the claim about four times in five."""
    z = np.random.default_rng(6).normal(size=8)
    film = np.exp(5 + 0.1 * (z - z.mean()) / z.std(ddof=1))
    level = math.exp(5 + 0.15)
    claim = REACHES | {"level": f"{level:.3f} gf"}
    (finding,) = open_made(edges_of(film), [claim], layout={"blocks": []}).judge().findings
    assert (finding.finding, finding.more_edges_capped) == ("open", False)
    edges, rng = 8 + finding.more_edges, np.random.default_rng(7)
    drawn = rng.normal(5, 0.1, (20_000, edges))
    t = (math.log(level) - drawn.mean(axis=1)) / drawn.std(axis=1, ddof=1) * math.sqrt(edges)
    low, high = stats.nct.ppf([0.05, 0.95], edges - 1, stats.norm.ppf(0.8) * math.sqrt(edges))
    assert np.mean((t >= high) | (t <= low)) == pytest.approx(0.8, abs=0.03)


def test_a_share_just_reached_is_never_settled(open_made) -> None:
    z = np.random.default_rng(8).normal(size=10)
    film = np.exp(5 + 0.1 * (z - z.mean()) / z.std(ddof=1))
    claim = REACHES | {"level": f"{math.exp(5 + 0.1 * stats.norm.ppf(0.8)):.6f} gf"}
    (finding,) = open_made(edges_of(film), [claim], layout={"blocks": []}).judge().findings
    assert (finding.finding, finding.more_edges, finding.more_edges_capped) == ("open", None, True)


def test_blocks_ask_for_more_edges_than_independence_would(draw, open_made) -> None:
    table = draw({"film": 150.0, "stone": 150.0}, edges=3, sd=(0.15, 0.03, 0.02), seed=3)
    claim = REACHES | {"level": "220 gf"}
    (blocks,) = open_made(table, [claim]).judge().findings
    (independent,) = open_made(table, [claim], layout={"blocks": []}).judge().findings
    assert blocks.p > independent.p
    assert (blocks.more_edges or 0) > (independent.more_edges or 0)
