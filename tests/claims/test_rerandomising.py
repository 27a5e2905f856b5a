"""Re-randomising as the layout did: what is dealt out anew, among what, and what is said of it."""

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
from sharpstats.claims.rerandomising import MOST_EDGES, SEED, Layout, layout, opinion
from sharpstats.notes import Note

KEENER, SAME = Region(-math.inf, 0.0), Region(-0.5, 0.5)


def table(rows: Sequence[tuple[Any, ...]], *names: str) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["medium", *names, "mean"])
    return frame.assign(edge=[f"e{i}" for i in range(len(frame))])


def drawn(seed: int, *levels: Sequence[str], edges: int = 1, gap: float = 0.0) -> list[tuple[Any, ...]]:
    """Every combination of levels; film reads lower by `gap`."""
    rng = np.random.default_rng(seed)
    return [
        (*cell, rng.normal() - gap * (cell[0] == "film"))
        for cell in itertools.product(*levels)
        for _ in range(edges)
    ]  # fmt: skip


def dealt(edges: pd.DataFrame, factors: Sequence[str] = (), blocks: Sequence[str] = ()) -> Layout:
    found = layout([edges], "film", "stone", factors, blocks, 1.0)
    assert isinstance(found, Layout)
    return found


def test_edges_without_blocks_as_scipy() -> None:
    edges = table(drawn(1, ["film", "stone", "slate"], edges=6, gap=1.0))
    said = opinion(dealt(edges), KEENER, 0.05, "shown", None)
    one, other = (edges.loc[edges["medium"] == m, "mean"] for m in ("film", "stone"))
    peer = stats.permutation_test(
        (one, other), lambda a, b: a.mean() - b.mean(), n_resamples=np.inf, alternative="less"
    )
    assert said.text == (
        "Re-randomised (the media dealt out anew to the edges, in all 924 ways) the claim is shown, too "
        f"(p = {peer.pvalue:.2g})."
    )
    assert (said.name, said.outcome, said.agrees) == ("re-randomising", "shown", True)


def test_edges_of_one_cell_of_all_blocks_and_factors_change_places() -> None:
    rows = drawn(1, ["film", "stone"], list("abc"), ["ann", "bob"], ["carbon", "stainless"], edges=2)
    found = dealt(table(rows, "blade", "operator", "steel"), ["steel"], ["blade", "operator"])
    assert found.what == "the edges of each blade, operator and steel"
    assert found.dealt.arrangements == math.comb(4, 2) ** 12
    assert found.dealt.weights.tolist() == [0.5, 0.5]


def test_blocks_of_one_medium_are_dealt_out_whole() -> None:
    """Four blades for each medium, nine edges each: C(8, 4) arrangements of blade means."""
    rng = np.random.default_rng(3)
    rows = [(m, f"{m}{b}", x) for m in ("film", "stone") for b in range(4) for x in rng.normal(size=9)]
    edges = table(rows, "blade")
    found = dealt(edges, blocks=["blade"])
    assert (found.what, found.dealt.arrangements) == ("whole blades", 70)
    means = edges.groupby("blade")["mean"].mean().to_numpy()
    assert np.sort(found.dealt.values) == pytest.approx(np.sort(means), rel=1e-12)


def test_whole_blades_change_places_among_blades_that_were_used_alike() -> None:
    """Blades of one steel among themselves; both operators sharpened every blade, once each."""
    blades = [(m, s, f"{m}{s}{i}") for m in ("film", "stone") for s in ("carbon", "stainless") for i in range(3)]
    rng = np.random.default_rng(2)
    rows = [(m, s, b, o, rng.normal()) for m, s, b in blades for o in ("ann", "bob")]
    edges = table(rows, "steel", "blade", "operator")
    found = dealt(edges, ["steel"], ["blade", "operator"])
    # Within a cell of operator and steel both media stand, but never on one blade.
    assert (found.what, found.dealt.arrangements) == ("whole blades", 20**2)
    lost = dealt(edges[1:], ["steel"], ["blade", "operator"])  # a blade that one operator did not sharpen
    assert lost.dealt.arrangements == 20 * math.comb(5, 2)


def test_blades_and_operators_of_one_medium_hang_together() -> None:
    """Each operator keeps to one medium and two blades: operators are what was dealt out."""
    rng = np.random.default_rng(2)
    rows = [
        (m, f"{m}{o}", f"{m}{o}{b}", rng.normal())
        for m in ("film", "stone") for o in range(4) for b in range(2) for _ in range(3)
    ]  # fmt: skip
    found = dealt(table(rows, "operator", "blade"), blocks=["blade", "operator"])
    assert (found.what, found.dealt.arrangements) == ("whole blades and operators", 70)


def test_a_lost_cell_leaves_the_claim_without_an_opinion() -> None:
    rows = [*drawn(1, ["film", "stone"], ["carbon"], edges=4), *drawn(1, ["film"], ["stainless"], edges=4)]
    assert layout([table(rows, "steel")], "film", "stone", ["steel"], [], 1.0) is None
    assert layout([table(rows, "steel")], "film", "slate", ["steel"], [], 1.0) is None


def test_a_gap_has_no_such_opinion() -> None:
    edges = table(drawn(1, ["film", "stone"], edges=9))
    assert layout([edges, edges], "film", "stone", [], [], 1.0) is None


def test_nothing_was_dealt_out_within_cells_of_two_blocks() -> None:
    """Each operator put another medium on each blade, as in a Latin square."""
    order = ["film", "stone", "stone", "film"]
    rows = [(m, b, o, 1.0) for m, b, o in zip(order, "aabb", ["ann", "bob"] * 2, strict=True)]
    assert layout([table(rows, "blade", "operator")], "film", "stone", [], ["blade", "operator"], 1.0) == Note(
        "not-exchangeable",
        "Re-randomising gives no second opinion: no blade and operator has edges of both film and stone.",
    )


def test_few_arrangements_are_said() -> None:
    edges = table(drawn(1, ["film", "stone"], edges=3, gap=9.0))
    assert layout([edges], "film", "stone", [], [], 0.04) == Note(
        "few-arrangements",
        "Re-randomising gives no second opinion: the media can be dealt out to the edges in 20 ways only, so no p "
        "value below 0.05 can come out.",
    )
    assert isinstance(layout([edges], "film", "stone", [], [], 0.05), Layout)
    assert opinion(dealt(edges), KEENER, 0.05, "shown", None).text == (
        "Re-randomised (the media dealt out anew to the edges, in all 20 ways) the claim is shown, too (p = 0.05)."
    )
    assert opinion(dealt(edges), KEENER, 0.01, "shown", None).text == (
        "Re-randomised (the media dealt out anew to the edges, in all 20 ways) the claim is open (p = 0.05; with so "
        "few ways no p value below 0.05 can come out)."
    )


def test_a_margin_asks_both_ways() -> None:
    """`same` by the larger of two p values, contradicted by the smaller."""
    edges = table(drawn(4, ["film", "stone"], list("abcdef"), edges=2), "blade")
    found = dealt(edges, blocks=["blade"])
    wide, narrow = Region(-5.0, 5.0), Region(3.0, 5.0)
    assert opinion(found, wide, 0.05, "shown", None).outcome == "shown"
    against = opinion(found, narrow, 0.05, "contradicted", None)
    assert (against.outcome, against.agrees) == ("contradicted", True)
    assert against.text.endswith("(p < 0.001 against it).")


def test_draws_say_seed_and_error() -> None:
    edges = table(drawn(4, ["film", "stone"], edges=30, gap=0.4))
    said = opinion(dealt(edges), KEENER, 0.05, "shown", 77).text
    assert ", seed 77)" in said
    assert "of very many ways" in said
    assert "for the draws)" in said
    assert f"seed {SEED})" in opinion(dealt(edges), KEENER, 0.05, "shown", None).text
    assert said == opinion(dealt(edges), KEENER, 0.05, "shown", 77).text


def test_draws_go_on_where_they_leave_it_undecided() -> None:
    """The further from the rate, the fewer."""
    close, far = (table(drawn(4, ["film", "stone"], edges=30, gap=gap)) for gap in (0.4, 3.0))
    p = float(opinion(dealt(close), KEENER, 0.05, "open", 1).text.split("p = ")[1].split(",")[0])
    assert "20,000 of" in opinion(dealt(close), KEENER, p, "open", 1).text
    assert "2,000 of" in opinion(dealt(far), KEENER, 0.05, "shown", 1).text


def test_very_many_edges_are_left_to_the_t_test() -> None:
    edges = pd.DataFrame({"medium": ["film", "stone"] * (MOST_EDGES // 2 + 1), "mean": 1.0})
    found = layout([edges], "film", "stone", [], [], 0.05)
    assert isinstance(found, Note)
    assert found.code == "many-edges"


def test_one_operator_only_changes_nothing(draw, open_made) -> None:
    """A finding tells it; a block with one level deals nothing out."""
    claim = {"kind": "keener", "medium": "film", "than": "stone", "by": "0 %"}
    made = draw({"film": 120.0, "stone": 150.0, "slate": 150.0})
    plain = open_made(made, [claim]).judge().findings[0].opinions[1]
    alone = open_made(made.assign(operator="ann"), [claim], layout={"blocks": ["blade", "operator"]}).judge()
    assert alone.findings[0].opinions[1] == plain
    assert plain.name == "re-randomising"
    assert "(the media dealt out anew to the edges of each blade, in all 1,296 ways)" in plain.text


def test_a_trial_tells_that_the_ways_are_few(draw, open_made) -> None:
    claim = {"kind": "keener", "medium": "film", "than": "stone", "by": "0 %"}
    finding = open_made(draw(edges=1), [claim]).judge().findings[0]
    assert [one.name for one in finding.opinions] == ["the differences within each blade"]
    assert [note.text for note in finding.notes if note.code == "few-arrangements"] == [
        "Re-randomising gives no second opinion: the media can be dealt out to the edges of each blade in 16 ways "
        "only, so no p value below 0.062 can come out."
    ]


def test_same_claim_by_hand() -> None:
    """Six edges: the boundary differences are taken off film's, then all 20 arrangements are counted."""
    values = {"film": [1.0, 1.2, 0.9], "stone": [1.1, 1.15, 0.95]}
    edges = table([(m, x) for m, xs in values.items() for x in xs])

    def share(null: float, sign: int) -> float:
        pool = np.array([x - null for x in values["film"]] + values["stone"])
        gaps = [pool[list(c)].mean() - np.delete(pool, list(c)).mean() for c in itertools.combinations(range(6), 3)]
        return float(np.mean([sign * gap >= sign * gaps[0] - 1e-9 for gap in gaps]))

    p = max(share(-0.5, 1), share(0.5, -1))
    assert f"(p = {p:.2g})" in opinion(dealt(edges), SAME, 0.05, "shown", None).text


def test_cuts_over_the_range_count_as_read_at_its_limit(draw, open_made) -> None:
    """What the fit takes for them depends on the medium, so that is not dealt out anew."""
    table = draw({"film": 120.0, "stone": 150.0, "slate": 150.0})
    claim = {"kind": "keener", "medium": "film", "than": "stone", "by": "0 %"}
    dullest = table.loc[table["medium"] == "stone", "reading"].idxmax()
    top = table["reading"].astype(str).mask(table.index == dullest, ">160")
    at_limit = table.assign(reading=top.str.removeprefix(">").astype(float))
    trials = [open_made(t, [claim]) for t in (table.assign(reading=top), at_limit)]
    found, plain = (made.judge().findings[0].opinions[1].text for made in trials)
    assert "in all 1,296 ways; cuts over the range count as read at its limit) the claim" in found
    assert found.split("(p")[1] == plain.split("(p")[1]


def test_factors_that_cross_blades_are_named(draw, open_made) -> None:
    claim = {"kind": "keener", "medium": "film", "than": "stone", "by": "0 %"}
    made = open_made(draw(angle=["20", "25"]), [claim], factors=["angle"])
    assert "anew to the edges of each blade and angle, in all" in made.judge().findings[0].opinions[1].text
