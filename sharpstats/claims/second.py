"""Second opinions that lean on less than the mixed model does.

For a comparison: the differences within blocks, a plain t interval over the blocks; where
blocks do not hold both media, Welch's interval on edge means. For `reaches`: counting edges.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.claims.evidence import outcome
from sharpstats.claims.finding import Outcome, SecondOpinion
from sharpstats.claims.region import Region

Floats = NDArray[np.float64]
Simple = tuple[float, float, float]


def within_blocks(
    edges: pd.DataFrame, medium: str, than: str, cells: Sequence[str], blocks: Sequence[str]
) -> tuple[str, Simple] | None:
    """Difference of two media without a model: estimate, standard error and df.

    Parameters
    ----------
    edges : DataFrame
        One row an edge: medium, mean, the factors and the blocks.
    medium, than : str
    cells : sequence of str
        Other factors; their combinations weigh equally.
    blocks : sequence of str
        Blocks of the layout; the first one is used.

    Returns
    -------
    (name, (estimate, se, df)) or None
        None where there is too little to go by.
    """
    both = edges[edges["medium"].isin([medium, than])]
    parts = [part for _, part in both.groupby(list(cells), observed=True)] if cells else [both]
    ways = [("edge means", _welch)]
    if blocks:
        ways.insert(0, (f"the differences within each {blocks[0]}", _paired))
    for name, simple in ways:
        pieces = [simple(part, medium, than, blocks) for part in parts]
        if pieces and all(piece is not None for piece in pieces):
            return name, _average([piece for piece in pieces if piece is not None])
    return None


def _paired(part: pd.DataFrame, medium: str, than: str, blocks: Sequence[str]) -> Simple | None:
    means = part.pivot_table(index=blocks[0], columns="medium", values="mean", observed=True)
    if not {medium, than} <= set(means.columns):
        return None
    return _t_mean((means[medium] - means[than]).dropna().to_numpy())


def _t_mean(values: Floats) -> Simple | None:
    if len(values) < 2 or np.ptp(values) == 0:
        return None
    return float(values.mean()), float(values.std(ddof=1) / math.sqrt(len(values))), len(values) - 1.0


def _welch(part: pd.DataFrame, medium: str, than: str, blocks: Sequence[str]) -> Simple | None:
    one = _t_mean(part.loc[part["medium"] == medium, "mean"].to_numpy())
    other = _t_mean(part.loc[part["medium"] == than, "mean"].to_numpy())
    if one is None or other is None:
        return None
    return _sum([one, (-other[0], other[1], other[2])], 1.0)


def _average(pieces: Sequence[Simple]) -> Simple:
    return _sum(pieces, 1 / len(pieces))


def _sum(pieces: Sequence[Simple], weight: float) -> Simple:
    """Weighted sum of independent estimates; df by Welch and Satterthwaite."""
    variances = [(weight * se) ** 2 for _, se, _ in pieces]
    df = sum(variances) ** 2 / sum(v**2 / n for v, (_, _, n) in zip(variances, pieces, strict=True))
    return weight * sum(estimate for estimate, _, _ in pieces), math.sqrt(sum(variances)), df


def opinion(name: str, simple: Simple, region: Region, rate: float, found: Outcome) -> SecondOpinion:
    """Judge a region by a simple estimate, at the finding's error rate."""
    said = outcome(region.p_shown(*simple), region.p_contradicted(*simple), rate)
    text = f"By {name} alone the claim is {said}" + (", too." if said == found else ".")
    return SecondOpinion(name, said, said == found, text)
