"""Second opinions: plain intervals that never count edges of one block as many blocks."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sharpstats.claims.region import Region
from sharpstats.claims.second import opinion, without_model


def table(rows: Sequence[tuple[Any, ...]], *names: str) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["medium", *names, "mean"])
    return frame.assign(edge=[f"e{i}" for i in range(len(frame))])


def drawn(rng: np.random.Generator, *levels: Sequence[str], edges: int = 1) -> list[tuple[Any, ...]]:
    """Every combination of levels, with an own mean for each edge."""
    return [(*cell, rng.normal()) for cell in itertools.product(*levels) for _ in range(edges)]


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(3)


def test_pairs_within_blocks_as_scipy(rng: np.random.Generator) -> None:
    edges = table(drawn(rng, ["film", "stone", "slate"], list("abcde")), "blade")
    name, (estimate, se, df) = without_model(edges, "film", "stone", [], ["blade"])
    one, other = (edges.loc[edges["medium"] == m, "mean"] for m in ("film", "stone"))
    peer = stats.ttest_rel(one, other)
    assert name == "the differences within each blade"
    assert (estimate / se, df) == pytest.approx((peer.statistic, peer.df), rel=1e-12)
    interval = peer.confidence_interval(0.9)
    reach = stats.t.isf(0.05, df) * se
    assert (estimate - reach, estimate + reach) == pytest.approx((interval.low, interval.high), rel=1e-12)


def test_edges_without_blocks_as_welch(rng: np.random.Generator) -> None:
    edges = table([("film", x) for x in rng.normal(0, 1, 7)] + [("stone", x) for x in rng.normal(1, 3, 5)])
    name, (estimate, se, df) = without_model(edges, "film", "stone", [], [])
    peer = stats.ttest_ind(*(edges.loc[edges["medium"] == m, "mean"] for m in ("film", "stone")), equal_var=False)
    assert name == "edge means"
    assert (estimate / se, df) == pytest.approx((peer.statistic, peer.df), rel=1e-12)


def test_blocks_nested_in_media_are_the_unit_not_their_edges(rng: np.random.Generator) -> None:
    """Three blades for each medium, many edges each: two degrees of freedom a side, whatever the edges."""
    rows = [("film", b, x) for b in "abc" for x in rng.normal(0, 1, 9)]
    rows += [("stone", b, x) for b in "def" for x in rng.normal(0, 1, 9)]
    edges = table(rows, "blade")
    name, (estimate, se, df) = without_model(edges, "film", "stone", [], ["blade"])
    means = edges.groupby(["medium", "blade"])["mean"].mean()
    peer = stats.ttest_ind(means["film"], means["stone"], equal_var=False)
    assert name == "blade means"
    assert (estimate / se, df) == pytest.approx((peer.statistic, peer.df), rel=1e-12)
    assert df <= 4


def test_one_block_for_all_leaves_edges_as_the_unit(rng: np.random.Generator) -> None:
    edges = table(drawn(rng, ["film", "stone"], ["a"], edges=6), "blade")
    assert without_model(edges, "film", "stone", [], ["blade"])[0] == "edge means"


def test_blocks_nested_in_cells_weigh_the_cells_equally(rng: np.random.Generator) -> None:
    """Five blades of one steel and two of the other: the average is of steels, not of blades."""
    steel = dict(zip("abcdefg", ["carbon"] * 5 + ["stainless"] * 2, strict=True))
    rows = [(m, b, steel[b], x) for m, b, x in drawn(rng, ["film", "stone"], list("abcdefg"))]
    edges = table(rows, "blade", "steel")
    _, (estimate, se, df) = without_model(edges, "film", "stone", ["steel"], ["blade"])
    wide = edges.pivot_table(index=["steel", "blade"], columns="medium", values="mean")
    gap = (wide["film"] - wide["stone"]).groupby("steel")
    variances = gap.var() / gap.size() / 4
    assert estimate == pytest.approx(gap.mean().mean(), rel=1e-12)
    assert se == pytest.approx(math.sqrt(variances.sum()), rel=1e-12)
    assert df == pytest.approx(variances.sum() ** 2 / (variances**2 / (gap.size() - 1)).sum(), rel=1e-12)


def test_cells_within_a_block_are_averaged_before_blocks_are_counted(rng: np.random.Generator) -> None:
    """Four blades at two angles each give four values, not eight."""
    edges = table(drawn(rng, ["film", "stone"], list("abcd"), ["20", "25"]), "blade", "angle")
    _, (estimate, se, df) = without_model(edges, "film", "stone", ["angle"], ["blade"])
    wide = edges.pivot_table(index=["blade", "angle"], columns="medium", values="mean")
    gap = (wide["film"] - wide["stone"]).groupby("blade").mean()
    assert (estimate, se, df) == pytest.approx((gap.mean(), gap.sem(), 3), rel=1e-12)


def test_nested_and_crossed_together_leave_out_a_block_with_a_lost_cell(rng: np.random.Generator) -> None:
    """Blades nested in steel, each at two angles; blade d lost one of its cells."""
    steel = dict(zip("abcdef", ["carbon"] * 3 + ["stainless"] * 3, strict=True))
    rows = [(m, b, steel[b], a, x) for m, b, a, x in drawn(rng, ["film", "stone"], list("abcdef"), ["20", "25"])]
    whole = table(rows, "blade", "steel", "angle")
    lost = whole[~((whole["blade"] == "d") & (whole["angle"] == "20") & (whole["medium"] == "film"))]
    without_d = whole[whole["blade"] != "d"]
    found = without_model(lost, "film", "stone", ["steel", "angle"], ["blade"])
    assert found == without_model(without_d, "film", "stone", ["steel", "angle"], ["blade"])


def test_swapping_the_pair_turns_the_sign(rng: np.random.Generator) -> None:
    edges = table(drawn(rng, ["film", "stone"], list("abcd"), edges=2), "blade")
    name, (estimate, se, df) = without_model(edges, "film", "stone", [], ["blade"])
    assert without_model(edges, "stone", "film", [], ["blade"]) == (name, (-estimate, se, df))


@pytest.mark.parametrize(
    "rows",
    [
        [("film", "a", 1.0), ("stone", "a", 2.0)],  # one edge each
        [("film", "a", 1.0), ("film", "b", 2.0), ("slate", "a", 1.0)],  # the other medium is missing
        [(m, b, 0.1) for m in ("film", "stone") for b in "abc"],  # no spread but rounding
    ],
    ids=["one-each", "no-other", "no-spread"],
)
def test_too_little_to_go_by(rows: list[tuple[str, str, float]]) -> None:
    assert without_model(table(rows, "blade"), "film", "stone", [], ["blade"]) is None


def test_differences_that_are_alike_but_for_rounding_are_no_evidence() -> None:
    """Film is 0.6 below stone on each blade: the spread between blades has to do instead."""
    blades = {"a": 0.0, "b": 0.2, "c": 0.3}
    rows = [(m, b, level + x) for m, level in (("film", 0.1), ("stone", 0.7)) for b, x in blades.items()]
    name, (estimate, se, df) = without_model(table(rows, "blade"), "film", "stone", [], ["blade"])
    assert name == "blade means"
    assert (estimate, se, df) == pytest.approx((-0.6, math.sqrt(2 / 3) * np.std([0, 0.2, 0.3], ddof=1), 4))


def test_no_opinion_where_a_cell_is_missing(rng: np.random.Generator) -> None:
    """The other medium shows that there are two steels; the average cannot leave one out."""
    rows = drawn(rng, ["film", "stone"], list("abc"), ["carbon"]) + drawn(rng, ["slate"], list("abc"), ["stainless"])
    assert without_model(table(rows, "blade", "steel"), "film", "stone", ["steel"], ["blade"]) is None


def test_opinion_says_whether_it_agrees() -> None:
    region = Region(-0.15, 0.15)
    same = opinion("edge means", (0.01, 0.02, 20.0), region, 0.05, "shown")
    assert (same.outcome, same.agrees, same.text) == ("shown", True, "By edge means alone the claim is shown, too.")
    other = opinion("edge means", (0.1, 0.05, 20.0), region, 0.05, "shown")
    assert (other.outcome, other.agrees, other.text) == ("open", False, "By edge means alone the claim is open.")
