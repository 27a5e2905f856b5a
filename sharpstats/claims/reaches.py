"""`reaches`: at least a share of a medium's edges reads below a level.

An edge reads below a level if the mean of its cuts does. The first opinion is a tolerance
bound of normal edges; the second counts edges and assumes nothing about their distribution.
Where an edge has an over-range cut the count decides: it takes such an edge in by its cuts
alone, as below, above or unknown. A tolerance bound would need the edge's mean, which the fit
gives only by way of the medium's other edges; as one more of a sample it would flatter the spread.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from scipy import optimize, special, stats

from sharpstats.claims.compare import edges_where
from sharpstats.claims.contrast import at_levels
from sharpstats.claims.counting import Counted
from sharpstats.claims.evidence import Evidence
from sharpstats.claims.settle import fewest
from sharpstats.claims.simulated import count_note, shape_note
from sharpstats.model.reduce import Codes
from sharpstats.model.tolerance import SEED, DrawnQuantile, Quantile, edge_quantile, lower_tail
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
    made = edges[edges["medium"] == claim.medium]
    edges = made[made["over_range"] == 0]
    others = [name for name in fit.mixed.frame.fixed_factors if name != "medium" and name not in claim.where]
    beyond = _over_range(fit, claim, others)
    missing = _missing(fit, claim, others, edges, beyond)
    if missing is not None:
        return _unknown(claim, fit, edges, missing)
    limit = math.log(claim.level.reading.value) if fit.scale == "log" else claim.level.reading.value
    counted = Counted(edges["mean"].to_numpy(), beyond["least"].to_numpy(), limit, claim.share)
    quantile = _quantile(edges, fit, claim.share, others) if beyond.empty else None
    if quantile is None:
        return _by_count(claim, fit, made, counted)
    return _by_bound(claim, fit, edges, counted, quantile)


def _over_range(fit: TrialFit, claim: Reaches, others: list[str]) -> pd.DataFrame:
    """Edges of the medium with an over-range cut: the least their mean can be."""
    held = {*fit.left_out["edge"], *fit.edges.loc[fit.edges["over_range"] > 0, "edge"]}
    if not held:  # nor is there a table of readings to look in, where there are millions
        return pd.DataFrame({"least": np.empty(0), **{name: np.empty(0, dtype=str) for name in others}})
    readings = fit.trial.readings
    out = readings[readings["edge"].isin(held) & (readings["medium"] == claim.medium)]
    for name, level in claim.where.items():
        out = out[out[name].astype(str) == level]
    values = out["reading"].to_numpy(float)
    grouped = out.assign(least=np.log(values) if fit.scale == "log" else values).groupby("edge", observed=True)
    return grouped[others].first().assign(least=grouped["least"].mean())


def _missing(
    fit: TrialFit, claim: Reaches, others: list[str], edges: pd.DataFrame, beyond: pd.DataFrame
) -> Mapping[str, str] | None:
    """Levels at which no edge of the medium was made; None if there is an edge for each."""
    if len(edges) + len(beyond) == 0:
        return claim.where
    for name in others:
        made = {*edges[name].astype(str), *beyond[name].astype(str)}
        for level in fit.mixed.frame.factors[name].levels:
            if level not in made:
                return {**claim.where, name: level}
    return None


def _quantile(edges: pd.DataFrame, fit: TrialFit, share: float, others: list[str]) -> Quantile | None:
    cells = np.zeros(len(edges), dtype=np.intp)
    if others:
        cells = np.asarray(edges.groupby(others, observed=True).ngroup(), dtype=np.intp)
    return edge_quantile(edges["mean"].to_numpy(), cells, list(_shared_blocks(edges, fit).values()), share)


def _shared_blocks(edges: pd.DataFrame, fit: TrialFit) -> dict[str, Codes]:
    """Blocks that hold several of the edges."""
    codes = {name: np.asarray(pd.factorize(edges[name])[0], dtype=np.intp) for name in fit.trial.plan.layout.blocks}
    return {name: block for name, block in codes.items() if 1 < len(set(block)) < len(edges)}


def _unknown(claim: Reaches, fit: TrialFit, edges: pd.DataFrame, missing: Mapping[str, str]) -> Evidence:
    nan = math.nan
    note = Note("not-answered", f"No edge was made with {claim.medium}{at_levels(missing)}, so nothing is known of how "
                "many would read below the level.")  # fmt: skip
    return Evidence(
        p_shown=nan, p_contradicted=nan, df=nan, estimate=nan, estimate_on_scale=nan, se=nan,
        interval=lambda rate: (nan, nan), more_edges=lambda rate: None, opinions=lambda rate, found: (),
        notes=(note,), **_common(claim, fit, edges),
    )  # fmt: skip


def _by_bound(
    claim: Reaches, fit: TrialFit, edges: pd.DataFrame, counted: Counted, quantile: Quantile
) -> Evidence:
    def more_edges(rate: float) -> int | None:
        return _more(edges["mean"].to_numpy(), quantile, counted.limit, claim.share, rate)

    def interval(rate: float) -> tuple[float, float]:
        return _as_readings(fit, quantile.bound(rate), quantile.bound(1 - rate))

    return Evidence(
        p_shown=quantile.p_below(counted.limit), p_contradicted=quantile.p_above(counted.limit), df=quantile.df,
        estimate_on_scale=quantile.estimate, se=math.nan, interval=interval, more_edges=more_edges,
        opinions=lambda rate, found: (counted.opinion(rate, found),), estimate=float(fit.as_reading(quantile.estimate)),
        notes=_notes(quantile, edges, claim.share), **_common(claim, fit, edges),
    )  # fmt: skip


def _as_readings(fit: TrialFit, low: float, high: float) -> tuple[float, float]:
    with np.errstate(over="ignore"):  # two edges may put the bound beyond all numbers
        return float(fit.as_reading(low)), float(fit.as_reading(high))


def _common(claim: Reaches, fit: TrialFit, edges: pd.DataFrame) -> dict[str, Any]:
    return {
        "unit": fit.unit, "bound_low": None, "bound_high": claim.level.reading.value, "real": None,
        "edges": {claim.medium: len(edges)}, "cuts": {claim.medium: int(edges["cuts"].sum())},
    }  # fmt: skip


def _notes(quantile: Quantile, edges: pd.DataFrame, share: float) -> tuple[Note, ...]:
    notes = []
    if isinstance(quantile, DrawnQuantile):
        notes.append(Note("drawn-bound", f"The bound comes from {len(quantile.high):,} draws (seed {SEED})."))
    if edges["cuts"].nunique() > 1:
        notes.append(Note("uneven-cuts", "Edges with fewer cuts count as much as the others in this bound."))
    return (*notes, shape_note(len(edges), share))


def _by_count(claim: Reaches, fit: TrialFit, edges: pd.DataFrame, counted: Counted) -> Evidence:
    """Edges counted, where there is no tolerance bound."""
    estimate = counted.estimate
    return Evidence(
        p_shown=counted.p_shown, p_contradicted=counted.p_contradicted, df=math.nan,
        estimate=float(fit.as_reading(estimate)), estimate_on_scale=estimate, se=math.nan,
        interval=lambda rate: _as_readings(fit, *counted.bounds(rate)), more_edges=counted.more_edges,
        opinions=lambda rate, found: (), notes=_count_notes(fit, edges, counted), **_common(claim, fit, edges),
    )  # fmt: skip


def _count_notes(fit: TrialFit, edges: pd.DataFrame, counted: Counted) -> tuple[Note, ...]:
    beyond = len(counted.least)
    why = "The edges are too few, or too much alike, for a tolerance bound"
    if beyond:
        why = f"{beyond} of {counted.edges} edges {'has' if beyond == 1 else 'have'} an over-range cut"
    more = f", and {counted.perhaps - counted.below} more may" if counted.perhaps > counted.below else ""
    told = f"{why}, so edges were counted: {counted.below} of {counted.edges} read below the level{more}."
    shared = _shared_blocks(edges, fit).items()
    return Note("by-count", told), *(count_note(name, len(codes), len(set(codes))) for name, codes in shared)


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
        contradicted = lower_tail(low, n - 1, ahead * math.sqrt(n))
        return float(contradicted + stats.nct.sf(high, n - 1, ahead * math.sqrt(n)))

    return fewest(settled, len(values))


def _worth(p: float, z: float, ahead: float, edges: int) -> float:
    """Number of independent edges with the same statistic that would give the p value."""

    def excess(m: float) -> float:
        return float(stats.nct.sf(ahead * math.sqrt(m), m - 1, z * math.sqrt(m))) - p

    low, high = 2.0, float(edges)
    if edges <= 2 or excess(low) * excess(high) >= 0:
        return high
    return float(optimize.brentq(excess, low, high, xtol=1e-3))
