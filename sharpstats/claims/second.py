"""Second opinions that lean on less than the mixed model does.

For a comparison: the differences within blocks, a plain t interval over the blocks; for a gap the
differences of these differences, or two samples of them where blocks differ. Where blocks do not
hold both media, Welch's interval on the means of blocks, or of edges if the
layout has no blocks: never on edges that share a block. For `reaches`: counting edges.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.claims.evidence import outcome
from sharpstats.claims.finding import Outcome, SecondOpinion
from sharpstats.claims.region import Region
from sharpstats.model.reduce import Codes

Floats = NDArray[np.float64]
Simple = tuple[float, float, float]


def without_model(
    edges: pd.DataFrame, medium: str, than: str, cells: Sequence[str], blocks: Sequence[str],
    against: pd.DataFrame | None = None,
) -> tuple[str, Simple] | None:
    """Difference of two media without a model, or of two such differences: estimate, standard error and df.

    Parameters
    ----------
    edges : DataFrame
        One row an edge: edge, medium, mean, the factors and the blocks.
    medium, than : str
    cells : sequence of str
        Other factors; their combinations weigh equally.
    blocks : sequence of str
        Blocks of the layout; the first one is used.
    against : DataFrame, optional
        Other edges: the difference there is taken from the one of `edges`.

    Returns
    -------
    (name, (estimate, se, df)) or None
        None where there is too little to go by.
    """
    places = [edges] if against is None else [edges, against]
    pooled = pd.concat(places, keys=range(len(places)), names=["place"]).reset_index("place")
    whole = math.prod(pooled[name].nunique() for name in cells)
    pooled = pooled[pooled["medium"].isin([medium, than])]
    block = blocks[0] if blocks and pooled[blocks[0]].nunique() > 1 else "edge"
    cell = np.zeros(len(pooled), dtype=np.intp)
    if cells:
        cell = np.asarray(pooled.groupby(list(cells), observed=True).ngroup(), dtype=np.intp)
    if len(set(cell)) < whole:
        return None
    codes = pd.factorize(pooled[block])[0]
    tables = [
        _table(pooled, ((pooled["place"] == place) & (pooled["medium"] == name)).to_numpy(), codes, cell)
        for place in range(len(places)) for name in (medium, than)
    ]  # fmt: skip
    tiny = 1e-12 * float(pooled["mean"].abs().max())
    for name, pieces, signs in _ways(tables, block):
        known = [found for found in (_over_blocks(piece, tiny) for piece in pieces) if found is not None]
        if len(known) == len(pieces):
            return name, _sum(known, signs) if len(known) > 1 else known[0]
    return None


def _ways(tables: list[Floats], block: str) -> Iterator[tuple[str, list[Floats], list[float]]]:
    """Ways to reckon, that with the most done within a block first: name, independent pieces, their signs."""
    differences = [one - other for one, other in zip(tables[::2], tables[1::2], strict=True)]
    signs = [1.0, -1.0][: len(differences)]
    if len(differences) > 1:
        yield f"the difference between the differences within each {block}", [differences[0] - differences[1]], [1.0]
    yield f"the differences within each {block}", differences, signs
    yield f"{block} means", tables, [sign * side for sign in signs for side in (1.0, -1.0)]


def _table(edges: pd.DataFrame, here: NDArray[np.bool_], block: Codes, cell: Codes) -> Floats:
    """Mean of some edges in each block (row) and cell (column); NaN where there is none."""
    shape = block.max() + 1, cell.max() + 1
    counts, sums = np.zeros(shape), np.zeros(shape)
    np.add.at(counts, (block[here], cell[here]), 1.0)
    np.add.at(sums, (block[here], cell[here]), edges["mean"].to_numpy()[here])
    return np.divide(sums, counts, out=np.full(shape, np.nan), where=counts > 0)


def _over_blocks(table: Floats, tiny: float) -> Simple | None:
    """Mean over cells of equal weight, from a table of blocks by cells.

    Blocks that lack a cell of theirs are passed over. Cells that one block holds are averaged
    within it, so that what is left are independent values, one a block.
    """
    held = ~np.isnan(table)
    kinds = np.unique(held, axis=0)
    kinds = np.array([kind for kind in kinds if not any(_within(kind, other) for other in kinds)])
    if not np.array_equal(kinds.sum(axis=0), np.ones(table.shape[1])):
        return None
    pieces = [_t_mean(table[np.ix_(np.all(held == kind, axis=1), kind)].mean(axis=1), tiny) for kind in kinds]
    known = [piece for piece in pieces if piece is not None]
    return _sum(known, kinds.mean(axis=1)) if len(known) == len(pieces) else None


def _within(kind: NDArray[np.bool_], other: NDArray[np.bool_]) -> bool:
    return bool(np.all(kind <= other) and np.any(kind < other))


def _t_mean(values: Floats, tiny: float) -> Simple | None:
    if len(values) < 2 or np.ptp(values) <= tiny:
        return None
    return float(values.mean()), float(values.std(ddof=1) / math.sqrt(len(values))), len(values) - 1.0


def _sum(pieces: Sequence[Simple], weights: Sequence[float] | Floats) -> Simple:
    """Weighted sum of independent estimates; df by Welch and Satterthwaite."""
    estimates, se, df = np.array(pieces).T
    variances = (np.asarray(weights) * se) ** 2
    total = float(variances.sum())
    return float(np.dot(weights, estimates)), math.sqrt(total), total**2 / float(np.sum(variances**2 / df))


def opinion(name: str, simple: Simple, region: Region, rate: float, found: Outcome) -> SecondOpinion:
    """Judge a region by a simple estimate, by an interval like the finding's."""
    said = outcome(region.p_shown(*simple) / region.tails, region.p_contradicted(*simple), rate)
    text = f"By {name} alone the claim is {said}" + (", too." if said == found else ".")
    return SecondOpinion(name, said, said == found, text)
