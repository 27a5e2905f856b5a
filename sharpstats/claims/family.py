"""How the primary claims of a plan share the error rate.

Holm's step-down procedure (1979) runs once over the p values for the claims and once over
those against them, so each of the two ways to be wrong keeps its rate over all claims. Every
finding is told with the interval at the level of its own step: shown exactly if that interval
lies where the claim is true, contradicted exactly if it lies wholly elsewhere. A claim that is true
beyond either of two limits has half of its step's rate on each side of the interval when it is shown,
for it could be wrongly shown on both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sharpstats.claims.evidence import Evidence
from sharpstats.claims.finding import Outcome
from sharpstats.model.multiple import holm, holm_levels

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Shared:
    """A claim's part of the error rate: adjusted p value, the rate on each side of its interval, its finding."""

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
    shared = [_told(e, e.p_shown, alpha, alpha) for e in evidence]
    if not members:
        return shared
    # A claim that the layout cannot answer stays in the family: it was declared.
    shown = np.array([np.nan_to_num(evidence[i].p_shown, nan=1.0) for i in members])
    against = np.array([np.nan_to_num(evidence[i].p_contradicted, nan=1.0) for i in members])
    rates = zip(members, holm(shown), _levels(shown, alpha), _levels(against, alpha), strict=True)
    for i, adjusted, rate, rate_against in rates:
        shared[i] = _told(evidence[i], adjusted, rate, rate_against)
    return shared


def _levels(p: Floats, alpha: float) -> Floats:
    """Error rate of each claim's step; claims with one p value are told alike, whatever their order."""
    levels = holm_levels(p, alpha)
    return np.array([levels[p == one].min() for one in p])


def _told(one: Evidence, adjusted: float, rate: float, rate_against: float) -> Shared:
    adjusted = float(one.p_shown if np.isnan(one.p_shown) else adjusted)
    side = float(rate) / one.tails
    if one.p_shown <= rate:
        return Shared(adjusted, side, "shown")
    if one.p_contradicted <= rate_against:
        return Shared(adjusted, float(rate_against), "contradicted")
    return Shared(adjusted, min(side, float(rate_against)), "open")
