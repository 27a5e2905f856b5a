"""Evidence for a claim that compares two media."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pandas as pd
from scipy import stats

from sharpstats.claims import second
from sharpstats.claims.evidence import Evidence
from sharpstats.claims.finding import Outcome, SecondOpinion
from sharpstats.claims.region import Region, reported
from sharpstats.claims.settle import more_for_region
from sharpstats.model.means import mean_rows
from sharpstats.model.trialfit import TrialFit
from sharpstats.notes import Note


def comparison(fit: TrialFit, region: Region, medium: str, than: str, where: Mapping[str, str]) -> Evidence:
    """Test whether the difference `medium` minus `than` lies in a region.

    Parameters
    ----------
    fit : TrialFit
    region : Region
        Differences on the fit's scale that make the claim true.
    medium, than : str
    where : mapping of str to str
        Levels of other factors at which alone the claim is made.

    Returns
    -------
    Evidence
    """
    found = _difference(fit, medium, than, where)
    estimate, se, df = found if found is not None else (math.nan,) * 3
    edges = edges_where(fit, where)
    counts = {name: edges.loc[edges["medium"] == name, "cuts"] for name in (medium, than)}
    unknown = found is None

    def interval(rate: float) -> tuple[float, float]:
        reach = float(stats.t.isf(rate, df)) * se
        return reported(estimate - reach, fit.scale), reported(estimate + reach, fit.scale)

    def more_edges(rate: float) -> int | None:
        # A cell without an edge may still be answered by the others: then all edges of the medium count.
        now = min(map(len, counts.values())) or min((fit.edges["medium"] == name).sum() for name in counts)
        return more_for_region(region, estimate, se, df, rate, now)

    def opinions(rate: float, outcome: Outcome) -> tuple[SecondOpinion, ...]:
        cells = [name for name in fit.mixed.frame.fixed_factors if name != "medium" and name not in where]
        simple = second.without_model(edges, medium, than, cells, fit.trial.plan.layout.blocks)
        return () if simple is None else (second.opinion(*simple, region, rate, outcome),)

    reach = float(stats.t.isf(fit.trial.plan.alpha / 2, df)) * se
    return Evidence(
        p_shown=math.nan if unknown else region.p_shown(estimate, se, df),
        p_contradicted=math.nan if unknown else region.p_contradicted(estimate, se, df),
        unit="%" if fit.scale == "log" else fit.unit,
        estimate=reported(estimate, fit.scale), df=df, estimate_on_scale=estimate, se=se,
        bound_low=reported(region.low, fit.scale) if math.isfinite(region.low) else None,
        bound_high=reported(region.high, fit.scale) if math.isfinite(region.high) else None,
        real=None if unknown else abs(estimate) > reach,
        interval=interval, more_edges=more_edges, opinions=opinions,
        edges={name: len(cuts) for name, cuts in counts.items()},
        cuts={name: int(cuts.sum()) for name, cuts in counts.items()},
        notes=_notes(fit, unknown, counts, where),
    )  # fmt: skip


def _difference(
    fit: TrialFit, medium: str, than: str, where: Mapping[str, str]
) -> tuple[float, float, float] | None:
    """Estimate, Kenward-Roger standard error and df; None where the layout cannot answer."""
    factor = fit.mixed.frame.factors.get("medium")
    if factor is None or not {medium, than} <= set(factor.levels) or _missing(fit, where):
        return None
    held = {name: level for name, level in where.items() if name in fit.mixed.frame.fixed_factors}
    rows, _ = mean_rows(fit.mixed.frame, ("medium",), held)
    row = rows[factor.levels.index(medium)] - rows[factor.levels.index(than)]
    found = fit.mixed.estimates("contrasts", row[None, :], (f"{medium} minus {than}",), ("",), df="kenward-roger")
    if np.isnan(found.estimate[0]):
        return None
    return float(found.estimate[0]), float(found.se[0]), float(found.df[0])


def _missing(fit: TrialFit, where: Mapping[str, str]) -> bool:
    return any(level not in set(fit.data[name].astype(str)) for name, level in where.items())


def edges_where(fit: TrialFit, where: Mapping[str, str]) -> pd.DataFrame:
    """Edges of the comparison at the levels that a claim names."""
    edges = fit.edges
    for name, level in where.items():
        edges = edges[edges[name].astype(str) == level]
    return edges


def at_levels(where: Mapping[str, str]) -> str:
    """Levels of other factors as words.

    Examples
    --------
    >>> at_levels({"steel": "stainless", "angle": "25"})
    ' where steel is stainless and angle is 25'
    """
    return f" where {' and '.join(f'{name} is {level}' for name, level in where.items())}" if where else ""


def _notes(
    fit: TrialFit, unknown: bool, counts: Mapping[str, pd.Series], where: Mapping[str, str]
) -> tuple[Note, ...]:
    notes = [note for note in fit.mixed.notes if note.code == "zero-variance"]
    there = at_levels(where)
    if unknown:
        notes.append(Note("not-answered", "The edges in the comparison do not answer how "
                          f"{' and '.join(counts)} differ{there}: an edge that this needs is missing."))  # fmt: skip
        return tuple(notes)
    for name, cuts in counts.items():
        if cuts.empty:
            notes.append(Note("borrowed", f"No edge was made with {name}{there}: the answer comes from other edges, by "
                              "way of the interactions that the plan leaves out."))  # fmt: skip
    return tuple(notes)
