"""A second opinion by re-randomising: what would have come out had chance dealt the media otherwise.

The media are dealt out anew just as the layout did, among the edges of one cell: one level of every block and of
every other factor. Edges of further media stay as they are. Where each level of a block has only one of the
two media, chance dealt whole blocks out, and so does this; the mean of a block over its cells is what counts.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from sharpstats.claims.evidence import outcome
from sharpstats.claims.finding import Outcome, SecondOpinion
from sharpstats.claims.region import Region
from sharpstats.model.randomise import Codes, Dealt, Rerandomised, rerandomise
from sharpstats.notes import Note

NAME = "re-randomising"
SEED = 20260925
"""Of the draws, where the plan gives no seed of its layout."""
MOST_EDGES = 20_000
"""More edges than this, and the t test says the same."""
COUNTED = 10**15
"""More arrangements than this are called very many."""


@dataclass(frozen=True, eq=False)
class Layout:
    """How chance dealt two media out: the numbers, and in words what was dealt."""

    dealt: Dealt
    what: str
    limits: bool = False
    """Whether cuts over the tester's range are among them; they count as read at its limit."""


def layout(
    places: Sequence[pd.DataFrame], medium: str, than: str, factors: Sequence[str], blocks: Sequence[str], alpha: float
) -> Layout | Note | None:
    """Find out what chance dealt out, and among what.

    Parameters
    ----------
    places : sequence of DataFrame
        Edges at each place at which the media are compared: edge, medium, mean, the factors and the blocks.
    medium, than : str
    factors : sequence of str
        Other factors; their cells weigh equally.
    blocks : sequence of str
        Blocks of the layout.
    alpha : float
        Error rate that p values must be able to reach.

    Returns
    -------
    Layout, Note or None
        A note where nothing was dealt out, or in few ways. None where an edge is missing that the claim
        needs, and for a gap: a difference may then exist at either place, and nobody knows which.
    """
    if len(places) > 1:
        return None
    edges = places[0]
    found = _layout(edges, medium, than, factors, blocks)
    if isinstance(found, Layout) and "over_range" in edges:
        found = replace(found, limits=bool(edges.loc[edges["medium"].isin([medium, than]), "over_range"].any()))
    if not isinstance(found, Layout) or found.dealt.arrangements >= 1 / alpha:
        return found
    ways = found.dealt.arrangements
    return Note("few-arrangements", f"Re-randomising gives no second opinion: the media can be dealt out to "
                f"{found.what} in {ways} ways only, so no p value below {1 / ways:.2g} can come out.")  # fmt: skip


def _layout(
    edges: pd.DataFrame, medium: str, than: str, factors: Sequence[str], blocks: Sequence[str]
) -> Layout | Note | None:
    whole = math.prod(edges[name].nunique() for name in factors)
    pair = edges[edges["medium"].isin([medium, than])]
    if pair["medium"].nunique() < 2:
        return None
    if len(pair) > MOST_EDGES:
        return Note("many-edges", f"Re-randomising was left out: with more than {MOST_EDGES:,} edges it says what "
                    "the finding says.")  # fmt: skip
    first = (pair["medium"] == medium).to_numpy()
    blocks = [name for name in blocks if pair[name].nunique() > 1]
    factors = [name for name in factors if pair[name].nunique() > 1]
    strata = _codes(pair, factors)
    group = _codes(pair, [*blocks, *factors])
    if _mixed(group, first).any():
        units = _Units(pair["mean"].to_numpy(), first, group, tuple(frozenset({cell}) for cell in strata))
        crossing = [name for name in factors if _codes(pair, [*blocks, name]).max() > _codes(pair, blocks).max()]
        return _dealt(units, whole, f"the edges{_within([*blocks, *crossing])}")
    nested = [name for name in blocks if pair.groupby(name, observed=True)["medium"].nunique().max() == 1]
    if not nested:
        cell = " and ".join([*blocks, *factors])
        return Note("not-exchangeable", f"Re-randomising gives no second opinion: no {cell} has edges of both {medium} "
                    f"and {than}.")  # fmt: skip
    crossed = [name for name in blocks if name not in nested]
    cells = _codes(pair, [*crossed, *factors])
    units = _whole_blocks(pair["mean"].to_numpy(), first, _joined(pair, nested), cells, strata)
    return _dealt(units, whole, f"whole {' and '.join(f'{name}s' for name in nested)}")


@dataclass(frozen=True, eq=False)
class _Units:
    """What chance dealt out, before groups without both media are left out."""

    means: np.ndarray
    first: np.ndarray
    group: Codes
    cells: tuple[frozenset[int], ...]


def _codes(edges: pd.DataFrame, names: Sequence[str]) -> Codes:
    """Number the combinations of levels."""
    if not names:
        return np.zeros(len(edges), dtype=np.intp)
    return np.asarray(edges.groupby(list(names), observed=True).ngroup(), dtype=np.intp)


def _mixed(group: Codes, first: np.ndarray) -> np.ndarray:
    """Which units are in a group with both labels."""
    firsts, size = np.bincount(group, first), np.bincount(group)
    return ((firsts > 0) & (firsts < size))[group]


def _joined(edges: pd.DataFrame, names: Sequence[str]) -> Codes:
    """Number the pieces that levels of several blocks hang together in."""
    one = _codes(edges, names[:1])
    for name in names[1:]:
        other = _codes(edges, [name])
        size = one.max() + 1, other.max() + 1
        graph = coo_array((np.ones(len(one)), (one, other + size[0])), shape=(sum(size), sum(size)))
        one = connected_components(graph, directed=False)[1][one]
    return np.unique(one, return_inverse=True)[1]


def _whole_blocks(means: np.ndarray, first: np.ndarray, unit: Codes, cell: Codes, strata: Codes) -> _Units:
    """Mean of each block over its cells; only blocks with the same cells can change places."""
    table = pd.DataFrame({"unit": unit, "cell": cell, "strata": strata, "first": first, "mean": means})
    by_cell = table.groupby(["unit", "cell"], as_index=False).mean()
    grouped = by_cell.groupby("unit")
    return _Units(
        grouped["mean"].mean().to_numpy(), grouped["first"].first().to_numpy() > 0,
        pd.factorize(pd.Series(_sets(grouped["cell"])))[0], _sets(grouped["strata"]),
    )  # fmt: skip


def _sets(grouped: Iterable[tuple[Hashable, pd.Series]]) -> tuple[frozenset[int], ...]:
    return tuple(frozenset(codes.astype(int)) for _, codes in grouped)


def _dealt(units: _Units, whole: int, what: str) -> Layout | None:
    """Leave out what could not have been otherwise; None where a cell of the other factors is lost with it."""
    kept = _mixed(units.group, units.first)
    cells = [held for held, keep in zip(units.cells, kept, strict=True) if keep]
    kinds = list(dict.fromkeys(cells))
    covered = {cell for held in kinds for cell in held}
    if len(covered) < whole or sum(map(len, kinds)) > len(covered):
        return None
    place = {held: i for i, held in enumerate(kinds)}
    return Layout(
        Dealt(units.means[kept], units.first[kept], np.unique(units.group[kept], return_inverse=True)[1],
              np.array([place[held] for held in cells]), np.array([len(held) / whole for held in kinds])),
        what,
    )  # fmt: skip


def _within(names: Sequence[str]) -> str:
    *first, last = [*names] or [""]
    return f" of each {', '.join(first)}{' and ' if first else ''}{last}" if last else ""


def opinion(found: Layout, region: Region, rate: float, finding: Outcome, seed: int | None) -> SecondOpinion:
    """Judge a region by re-randomising, at the finding's error rate.

    Parameters
    ----------
    found : Layout
    region : Region
    rate : float
    finding : str
    seed : int or None
        Of the plan's layout.

    Returns
    -------
    SecondOpinion
    """

    def undecided(now: Rerandomised) -> bool:
        return any(abs(p - rate) < 3 * now.error(max(p, rate)) for p in _p(region, now))

    done = rerandomise(found.dealt, SEED if seed is None else seed, undecided)
    p_shown, p_contradicted = _p(region, done)
    said = outcome(p_shown, p_contradicted, rate)
    p, whose = (p_contradicted, " against it") if said == "contradicted" else (p_shown, "")
    agrees = said == finding
    limits = "; cuts over the range count as read at its limit" if found.limits else ""
    text = (
        f"Re-randomised (the media dealt out anew to {found.what}, in {_ways(done)}{limits}) the claim is {said}"
        f"{', too' if agrees else ''} ({_told(p, done)}{whose}{_too_few(done, rate)})."
    )
    return SecondOpinion(NAME, said, agrees, text)


def _p(region: Region, done: Rerandomised) -> tuple[float, float]:
    return region.shown_by(done.p_above, done.p_below), region.contradicted_by(done.p_above, done.p_below)


def _ways(done: Rerandomised) -> str:
    known = "very many" if done.arrangements > COUNTED else f"{done.arrangements:,}"
    return f"{done.draws:,} of {known} ways, seed {done.seed}" if done.draws else f"all {known} ways"


def _told(p: float, done: Rerandomised) -> str:
    error = f", give or take {max(done.error(p), 1e-4):.1g} for the draws" if done.draws else ""
    return f"p {'< 0.001' if p < 0.001 else f'= {p:.2g}'}{error}"


def _too_few(done: Rerandomised, rate: float) -> str:
    few = done.arrangements < 1 / rate
    return f"; with so few ways no p value below {1 / done.arrangements:.2g} can come out" if few else ""
