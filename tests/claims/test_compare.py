"""Comparisons of two media: classical tests on layouts where they hold exactly, and where they cannot answer."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.weightstats import ttost_ind, ttost_paired

from sharpstats.claims.compare import edges_where
from sharpstats.claims.contrast import at_levels
from sharpstats.claims.second import without_model

SAME = {"kind": "same", "medium": "film", "than": "stone", "margin": "15 %"}
NO_WORSE = {"kind": "no worse", "medium": "film", "than": "stone", "margin": "15 %"}
KEENER = {"kind": "keener", "medium": "film", "than": "stone", "by": "5 %"}
STEEL = {"b1": "carbon", "b2": "carbon", "b3": "carbon", "b4": "stainless", "b5": "stainless", "b6": "stainless"}
BLADES = tuple(STEEL)
PAIR = {"film": 140.0, "stone": 150.0}


def logs(table: pd.DataFrame, medium: str) -> np.ndarray:
    """Mean log reading of each of a medium's edges, in the order of the blades."""
    values = table.assign(y=np.log(table["reading"]))
    return values[values["medium"] == medium].groupby(["blade", "edge"])["y"].mean().to_numpy()


@pytest.fixture(scope="module")
def paired(draw) -> pd.DataFrame:
    """One edge of each medium on each blade, one cut each: the paired layout."""
    return draw(PAIR, blades=BLADES, edges=1, cuts=1, sd=(0.3, 0.05, 0.05), seed=2)


def test_one_edge_of_each_on_every_blade_is_the_paired_test(paired, open_made) -> None:
    findings = open_made(paired, [SAME, NO_WORSE, KEENER], family="none").judge()
    film, stone = logs(paired, "film"), logs(paired, "stone")
    margin, by = math.log(1.15), math.log(1.05)
    same, no_worse, keener = findings.findings
    assert same.p == pytest.approx(ttost_paired(film, stone, -margin, margin)[0], rel=1e-8)
    assert no_worse.p == pytest.approx(stats.ttest_rel(film, stone + margin, alternative="less").pvalue, rel=1e-8)
    assert keener.p == pytest.approx(stats.ttest_rel(film, stone - by, alternative="less").pvalue, rel=1e-8)
    interval = stats.ttest_rel(film, stone).confidence_interval(0.9)
    expected = [100 * math.expm1(limit) for limit in (np.mean(film - stone), interval.low, interval.high)]
    for finding in findings.findings:
        assert (finding.estimate, finding.low, finding.high) == pytest.approx(expected, rel=1e-8)
        assert (finding.level, finding.unit, finding.df) == (0.9, "%", pytest.approx(5, rel=1e-8))
        assert finding.real == (stats.ttest_rel(film, stone).pvalue < 0.05)


def test_edges_without_blocks_are_the_two_sample_test(draw, open_made) -> None:
    table = draw(PAIR, blades=BLADES, edges=2, cuts=1, seed=3)
    (finding,) = open_made(table, [SAME], layout={"blocks": []}).judge().findings
    margin = math.log(1.15)
    peer = ttost_ind(logs(table, "film"), logs(table, "stone"), -margin, margin, usevar="pooled")
    assert finding.p == pytest.approx(peer[0], rel=1e-8)
    assert finding.df == pytest.approx(22, rel=1e-8)


def test_scale_as_read_in_newtons(draw, open_made) -> None:
    table = draw(PAIR, blades=BLADES, edges=1, cuts=1, sd=(0.3, 0.05, 0.05), seed=2)
    table["reading"] *= 0.00980665
    claim = SAME | {"margin": "20 gf"}
    (finding,) = open_made(table, [claim], scale="as read", unit="N").judge().findings
    film, stone = (table.loc[table["medium"] == m, "reading"].to_numpy() for m in ("film", "stone"))
    margin = 20 * 0.00980665
    assert finding.p == pytest.approx(ttost_paired(film, stone, -margin, margin)[0], rel=1e-7)
    assert (finding.unit, finding.bound_low, finding.bound_high) == ("N", pytest.approx(-margin), pytest.approx(margin))
    assert finding.estimate == pytest.approx(np.mean(film - stone), rel=1e-9)


def test_bounds_are_those_of_the_kind(paired, open_made) -> None:
    same, no_worse, keener = open_made(paired, [SAME, NO_WORSE, KEENER]).judge().findings
    assert (same.bound_low, same.bound_high) == pytest.approx((100 * (1 / 1.15 - 1), 15))
    assert (no_worse.bound_low, no_worse.bound_high) == (None, pytest.approx(15))
    assert (keener.bound_low, keener.bound_high) == (None, pytest.approx(100 * (1 / 1.05 - 1)))


def test_where_is_the_difference_at_that_level(draw, open_made) -> None:
    """On one steel: the model's own contrast there, on the edges there."""
    table = draw(PAIR, blades=BLADES, steel=STEEL)
    trial = open_made(table, [SAME | {"where": {"steel": "carbon"}}], factors=["steel"])
    (finding,) = trial.judge().findings
    contrasts = trial.fit().mixed.contrasts("medium", by="steel").table
    (row,) = contrasts[contrasts["at"] == "carbon"].itertuples()
    assert row.term == "film minus stone"
    assert (finding.estimate_on_scale, finding.se, finding.df) == pytest.approx((row.estimate, row.se, row.df))
    assert (finding.edges, finding.cuts) == ({"film": 6, "stone": 6}, {"film": 18, "stone": 18})


def test_steels_weigh_equally_in_the_model_and_in_the_second_opinion(draw, open_made) -> None:
    """Four blades of one steel and two of the other: both average over steels, not over blades."""
    steel = dict(zip(BLADES, ["carbon"] * 4 + ["stainless"] * 2, strict=True))
    trial = open_made(draw(PAIR, blades=BLADES, steel=steel, seed=4), [SAME], factors=["steel"])
    finding = trial.judge()["claim-1"]
    cells = trial.fit().edges.pivot_table(index="steel", columns="medium", values="mean")
    expected = (cells["film"] - cells["stone"]).mean()
    name, (estimate, _, _) = without_model(trial.fit().edges, "film", "stone", ["steel"], ["blade"])
    assert name == "the differences within each blade"
    assert (finding.estimate_on_scale, estimate) == pytest.approx((expected, expected), rel=1e-9)


def test_second_opinion_follows_where_and_the_blocks(draw, open_made) -> None:
    table = draw(PAIR, blades=BLADES, steel=STEEL, seed=5)
    trial = open_made(table, [SAME | {"where": {"steel": "stainless"}}], factors=["steel"])
    finding = trial.judge()["claim-1"]
    assert finding.opinions[0].name == "the differences within each blade"
    there = edges_where(trial.fit(), {"steel": "stainless"})
    assert set(there["blade"]) == {"b4", "b5", "b6"}
    assert without_model(there, "film", "stone", [], ["blade"])[1][2] == 2  # three blades


@pytest.fixture(scope="module")
def without_film_on_stainless(draw) -> pd.DataFrame:
    table = draw({"film": 140.0, "slate": 150.0, "stone": 150.0}, blades=BLADES, steel=STEEL)
    return table[~((table["medium"] == "film") & (table["steel"] == "stainless"))]


@pytest.mark.parametrize("where", [{}, {"steel": "stainless"}], ids=["average", "the-missing-cell"])
@pytest.mark.parametrize("claim", [SAME, NO_WORSE, KEENER], ids=lambda claim: claim["kind"])
def test_a_missing_cell_leaves_the_claim_open_and_gives_no_number(
    without_film_on_stainless, open_made, claim, where
) -> None:
    claim = claim | ({"where": where} if where else {})
    (finding,) = open_made(without_film_on_stainless, [claim], factors=["steel"]).judge().findings
    numbers = [finding.estimate, finding.low, finding.high, finding.df, finding.p, finding.p_adjusted, finding.se]
    assert finding.finding == "open"
    assert all(map(math.isnan, [*numbers, finding.estimate_on_scale]))
    assert (finding.real, finding.more_edges, finding.more_edges_capped, finding.opinions) == (None, None, False, ())
    (note,) = [note.text for note in finding.notes if note.code == "not-answered"]
    there = " where steel is stainless" if where else ""
    assert note == (
        f"The edges in the comparison do not answer how film and stone differ{there}: an edge that this needs is "
        "missing."
    )


def test_the_cells_that_are_there_still_answer(without_film_on_stainless, open_made) -> None:
    claim = SAME | {"where": {"steel": "carbon"}}
    (finding,) = open_made(without_film_on_stainless, [claim], factors=["steel"]).judge().findings
    assert math.isfinite(finding.p)
    assert "not-answered" not in {note.code for note in finding.notes}


def test_a_cell_answered_through_others_says_so(draw, open_made) -> None:
    """No three-way interaction is planned, so film on stainless at 25 degrees follows from the rest."""
    table = draw(PAIR, edges=1, steel=("carbon", "stainless"), angle=("20", "25"))
    lost = (table["medium"] == "film") & (table["steel"] == "stainless") & (table["angle"] == "25")
    claim = SAME | {"where": {"steel": "stainless", "angle": "25"}}
    (finding,) = open_made(table[~lost], [claim], factors=["steel", "angle"]).judge().findings
    assert (finding.edges, finding.opinions) == ({"film": 0, "stone": 4}, ())
    assert finding.more_edges is not None
    (note,) = [note.text for note in finding.notes if note.code == "borrowed"]
    assert note == (
        "No edge was made with film where steel is stainless and angle is 25: the answer comes from other edges, by "
        "way of the interactions that the plan leaves out."
    )


def test_a_medium_with_no_edge_in_the_comparison(draw, open_made) -> None:
    """Every film cut is over the range: film is in the readings, not in the comparison."""
    table = draw().astype({"reading": str})
    table.loc[table["medium"] == "film", "reading"] = ">1500"
    (finding,) = open_made(table, [SAME]).judge().findings
    assert (finding.finding, finding.edges) == ("open", {"film": 0, "stone": 8})
    assert math.isnan(finding.estimate)
    assert "not-answered" in {note.code for note in finding.notes}


def test_no_medium_but_one_in_the_comparison(draw, open_made) -> None:
    table = draw(PAIR).astype({"reading": str})
    table.loc[table["medium"] == "film", "reading"] = ">1500"
    (finding,) = open_made(table, [SAME]).judge().findings
    assert (finding.finding, finding.edges) == ("open", {"film": 0, "stone": 8})
    assert math.isnan(finding.p)


def test_at_levels() -> None:
    assert at_levels({}) == ""


def test_edges_with_cuts_over_the_range_are_counted_beside_the_finding(draw, open_made) -> None:
    table = draw().astype({"reading": str})
    film = (table["medium"] == "film") & (table["cut"] == 1)
    table.loc[table.index[film][:2], "reading"] = ">400"
    (finding,) = open_made(table, [SAME]).judge().findings
    told = [note.text for note in finding.notes if note.code == "over-range"]
    assert told == ["2 of 16 edges have cuts over the tester's range, fitted as \"at least so much\"."]
    assert finding.edges == {"film": 8, "stone": 8}
    (plain,) = open_made(draw(), [SAME]).judge().findings
    assert "over-range" not in {note.code for note in plain.notes}


def test_an_edge_without_a_cut_in_range_has_no_second_opinion(draw, open_made) -> None:
    table = draw().astype({"reading": str})
    table.loc[table["edge"] == table.loc[table["medium"] == "film", "edge"].iloc[0], "reading"] = ">400"
    (finding,) = open_made(table, [SAME]).judge().findings
    assert finding.opinions == ()
    assert np.isfinite(finding.estimate)
