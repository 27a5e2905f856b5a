"""`reaches`: at least a share of a medium's edges reads below a level.

An edge reads below a level if the mean of its cuts does. The first opinion is a tolerance
bound of normal edges; the second counts edges and assumes nothing about their distribution.
Where an edge has an over-range cut only the count can take it in, and it decides.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
from scipy import optimize, special, stats

from sharpstats.claims.compare import edges_where
from sharpstats.claims.evidence import Evidence, outcome
from sharpstats.claims.finding import Outcome, SecondOpinion
from sharpstats.claims.settle import fewest
from sharpstats.model.reduce import Codes
from sharpstats.model.tolerance import SEED, DrawnQuantile, Quantile, edge_quantile
from sharpstats.model.trialfit import TrialFit
from sharpstats.notes import Note
from sharpstats.trial.plan import Reaches


def evidence(claim: Reaches, fit: TrialFit) -> Evidence:
    """Test whether the share of edges below the level is at least what is claimed.

    Parameters
    ----------
    claim : Reaches
    fit : TrialFit

    Returns
    -------
    Evidence
    """
    edges = edges_where(fit, claim.where)
    edges = edges[edges["medium"] == claim.medium]
    beyond = _over_range(fit, claim)
    limit = math.log(claim.level.reading.value) if fit.scale == "log" else claim.level.reading.value
    count = _Count(int((edges["mean"] < limit).sum()), len(edges) + beyond, claim.share)
    quantile = None if beyond or edges.empty else _quantile(edges, fit, claim)
    if quantile is None:
        return _by_count(claim, fit, edges, count, beyond)
    return _by_bound(claim, fit, edges, count, quantile, limit)


class _Count:
    """Edges below the level among all edges: an exact binomial test (Clopper & Pearson 1934)."""

    def __init__(self, below: int, edges: int, share: float) -> None:
        self.below, self.edges, self.share = below, edges, share

    @property
    def p_shown(self) -> float:
        return float(stats.binom.sf(self.below - 1, self.edges, self.share)) if self.edges else math.nan

    @property
    def p_contradicted(self) -> float:
        return float(stats.binom.cdf(self.below, self.edges, self.share)) if self.edges else math.nan

    def opinion(self, rate: float, found: Outcome) -> SecondOpinion:
        said = outcome(self.p_shown, self.p_contradicted, rate)
        return SecondOpinion("counting edges", said, said == found,
                             f"{self.below} of {self.edges} edges read below; by counting alone the claim is {said}"
                             f"{', too' if said == found else ''}.")  # fmt: skip


def _over_range(fit: TrialFit, claim: Reaches) -> int:
    """Edges of the medium that an over-range cut keeps out of the comparison."""
    readings = fit.trial.readings
    out = readings[readings["edge"].isin(fit.left_out["edge"]) & (readings["medium"] == claim.medium)]
    for name, level in claim.where.items():
        out = out[out[name].astype(str) == level]
    return int(out["edge"].nunique())


def _quantile(edges: pd.DataFrame, fit: TrialFit, claim: Reaches) -> Quantile | None:
    others = [n for n in fit.mixed.frame.fixed_factors if n != "medium" and n not in claim.where]
    cells = np.zeros(len(edges), dtype=np.intp)
    if others:
        cells = np.asarray(edges.groupby(others, observed=True).ngroup(), dtype=np.intp)
    blocks: list[Codes] = []
    for name in fit.trial.plan.layout.blocks:
        codes = np.asarray(pd.factorize(edges[name])[0], dtype=np.intp)
        if 1 < codes.max() + 1 < len(edges):
            blocks.append(codes)
    return edge_quantile(edges["mean"].to_numpy(), cells, blocks, claim.share)


def _by_bound(
    claim: Reaches, fit: TrialFit, edges: pd.DataFrame, count: _Count, quantile: Quantile, limit: float
) -> Evidence:
    def interval(rate: float) -> tuple[float, float]:
        low, high = quantile.bound(rate), quantile.bound(1 - rate)
        return (math.exp(low), math.exp(high)) if fit.scale == "log" else (low, high)

    def more_edges(rate: float) -> int | None:
        return _more(edges["mean"].to_numpy(), quantile, limit, claim.share, rate)

    return Evidence(
        p_shown=quantile.p_below(limit), p_contradicted=quantile.p_above(limit), df=quantile.df,
        estimate_on_scale=quantile.estimate, se=math.nan, interval=interval, more_edges=more_edges,
        second=count.opinion, estimate=float(fit.as_reading(quantile.estimate)),
        notes=_notes(quantile, edges), **_common(claim, fit, edges),
    )  # fmt: skip


def _common(claim: Reaches, fit: TrialFit, edges: pd.DataFrame) -> dict[str, Any]:
    return {
        "unit": fit.unit, "bound_low": None, "bound_high": claim.level.reading.value, "real": None,
        "edges": {claim.medium: len(edges)}, "cuts": {claim.medium: int(edges["cuts"].sum())},
    }  # fmt: skip


def _notes(quantile: Quantile, edges: pd.DataFrame) -> tuple[Note, ...]:
    notes = []
    if isinstance(quantile, DrawnQuantile):
        notes.append(Note("drawn-bound", f"The bound comes from {len(quantile.draws):,} draws (seed {SEED})."))
    if edges["cuts"].nunique() > 1:
        notes.append(Note("uneven-cuts", "Edges with fewer cuts count as much as the others in this bound."))
    return tuple(notes)


def _by_count(claim: Reaches, fit: TrialFit, edges: pd.DataFrame, count: _Count, beyond: int) -> Evidence:
    """Order statistics: the bound is an edge's own reading, or infinite where there are too few."""
    means = np.append(np.sort(edges["mean"].to_numpy()), np.full(beyond, np.inf))
    place = max(math.ceil(claim.share * len(means)) - 1, 0)

    def reading(rank: int) -> float:
        if not 0 <= rank < len(means):
            return math.inf if rank >= len(means) else 0.0 if fit.scale == "log" else -math.inf
        return float(fit.as_reading(means[rank]))

    def interval(rate: float) -> tuple[float, float]:
        high = int(stats.binom.ppf(1 - rate, len(means), claim.share))
        low = int(stats.binom.ppf(rate, len(means), claim.share)) - 1
        return reading(low), reading(high)

    notes = [Note("by-count", f"{beyond} of {len(means)} edges have an over-range cut, so edges were counted: "
                  f"{count.below} of {count.edges} read below the level.")] if beyond else [
             Note("by-count", "There are too few edges for a tolerance bound, so edges were counted.")]  # fmt: skip
    return Evidence(
        p_shown=count.p_shown, p_contradicted=count.p_contradicted, df=math.nan,
        estimate=reading(place) if len(means) else math.nan,
        estimate_on_scale=float(means[place]) if len(means) and np.isfinite(means[place]) else math.nan, se=math.nan,
        interval=interval, more_edges=lambda rate: _more_by_count(count, rate), second=lambda rate, found: None,
        notes=tuple(notes), **_common(claim, fit, edges),
    )  # fmt: skip


def _more(values: np.ndarray, quantile: Quantile, limit: float, share: float, rate: float) -> int | None:
    """Edges to add if mean and spread stay as they are.

    Edges in blocks tell less than as many independent ones. How many independent edges they
    are worth is read off the p value, and grows with their number.
    """
    z = float(special.ndtri(share))
    ahead = z + (limit - quantile.estimate) / float(values.std(ddof=1))
    worth = _worth(quantile.p_below(limit), z, ahead, len(values)) / len(values)

    def settled(m: int) -> float:
        n = max(m * worth, 1.5)
        low, high = stats.nct.ppf([rate, 1 - rate], n - 1, z * math.sqrt(n))
        cdf = stats.nct.cdf([low, high], n - 1, ahead * math.sqrt(n))
        return float(cdf[0] + 1 - cdf[1])

    return fewest(settled, len(values))


def _worth(p: float, z: float, ahead: float, edges: int) -> float:
    """Number of independent edges with the same statistic that would give the p value."""

    def excess(m: float) -> float:
        return float(stats.nct.sf(ahead * math.sqrt(m), m - 1, z * math.sqrt(m))) - p

    low, high = 2.0, float(edges)
    if edges <= 2 or excess(low) * excess(high) >= 0:
        return high
    return float(optimize.brentq(excess, low, high, xtol=1e-3))


def _more_by_count(count: _Count, rate: float) -> int | None:
    """Edges to add if the share of edges below stays as it is."""
    seen = (count.below + 0.5) / (count.edges + 1)

    def settled(m: int) -> float:
        shown = stats.binom.isf(rate, m, count.share) + 1  # fewest below that show the claim
        contradicted = stats.binom.ppf(rate, m, count.share) - 1
        return float(stats.binom.sf(shown - 1, m, seen) + stats.binom.cdf(contradicted, m, seen))

    return fewest(settled, count.edges) if count.edges else None
