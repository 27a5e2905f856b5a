"""How the primary claims of a plan share the error rate.

Holm's step-down procedure (1979) runs once over the p values for the claims and once over
those against them, so each of the two ways to be wrong keeps its rate over all claims. Every
finding is told with the interval at the level of its own step: shown exactly if that interval
lies inside the claim's bounds, contradicted exactly if it lies wholly outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sharpstats.claims.evidence import Evidence, outcome
from sharpstats.claims.finding import Outcome
from sharpstats.model.multiple import holm, holm_levels

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Shared:
    """A claim's part of the error rate: adjusted p value, the rate it is told at, its finding."""

    p_adjusted: float
    rate: float
    finding: Outcome


def share(evidence: Sequence[Evidence], in_family: Sequence[bool], alpha: float) -> list[Shared]:
    """Share an error rate among claims.

    Parameters
    ----------
    evidence : sequence of Evidence
    in_family : sequence of bool
        Which claims belong to the family; the others keep the whole rate each.
    alpha : float

    Returns
    -------
    list of Shared
    """
    members = [i for i, inside in enumerate(in_family) if inside]
    shared = [_told(e.p_shown, e.p_contradicted, e.p_shown, alpha, alpha) for e in evidence]
    if not members:
        return shared
    # A claim that the layout cannot answer stays in the family: it was declared.
    shown = np.array([np.nan_to_num(evidence[i].p_shown, nan=1.0) for i in members])
    against = np.array([np.nan_to_num(evidence[i].p_contradicted, nan=1.0) for i in members])
    rates = zip(members, holm(shown), _levels(shown, alpha), _levels(against, alpha), strict=True)
    for i, adjusted, rate, rate_against in rates:
        one = evidence[i]
        shared[i] = _told(one.p_shown, one.p_contradicted, adjusted, rate, rate_against)
    return shared


def _levels(p: Floats, alpha: float) -> Floats:
    """Error rate of each claim's step; claims with one p value are told alike, whatever their order."""
    levels = holm_levels(p, alpha)
    return np.array([levels[p == one].min() for one in p])


def _told(p_shown: float, p_contradicted: float, adjusted: float, rate: float, rate_against: float) -> Shared:
    adjusted = float(p_shown if np.isnan(p_shown) else adjusted)
    if p_shown <= rate:
        return Shared(adjusted, float(rate), "shown")
    if p_contradicted <= rate_against:
        return Shared(adjusted, float(rate_against), "contradicted")
    both = float(min(rate, rate_against))
    return Shared(adjusted, both, outcome(p_shown, p_contradicted, both))
