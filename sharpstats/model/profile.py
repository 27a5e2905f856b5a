"""Profile-likelihood intervals of the variances.

The limits are where the restricted likelihood, maximised over the other variances, has fallen
by half the chi-square quantile (Searle, Casella & McCulloch 1992, section 6.8). A lower limit
is zero where the criterion at zero is within that distance.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import optimize, stats

from sharpstats.errors import FitError
from sharpstats.model.reduce import Reduced
from sharpstats.model.reml import Evaluate, Optimum, least_variances, maximise


def profile_limits(
    r: Reduced, optimum: Optimum, index: int, level: float, evaluate: Evaluate | None = None
) -> tuple[float, float]:
    """Limits of one variance.

    Parameters
    ----------
    r : Reduced
    optimum : Optimum
    index : int
        Position of the variance.
    level : float
        Level between 0 and 1.
    evaluate : callable, optional
        Another criterion, as for `maximise`.

    Returns
    -------
    low, high : float
        In squared units of the response; high is infinite where the likelihood never falls
        that far.
    """
    threshold = float(stats.chi2.ppf(level, 1))
    estimate = 0.0 if optimum.zero[index] else float(optimum.variances[index])
    scale = estimate if estimate > 0 else float(optimum.variances.max())
    start = optimum.variances.copy()

    def excess(log_value: float) -> float:
        value = float(np.exp(log_value))
        best = maximise(r, start, {index: value}, evaluate)
        start[:] = best.variances
        return best.criterion - optimum.criterion - threshold

    nothing = float(least_variances(r, optimum.variances)[index])
    centre = np.log(scale) if estimate > 0 else _inside(excess, np.log(max(scale * 1e-4, nothing)))
    high = _cross(excess, centre, +1.0)
    start[:] = optimum.variances
    low = -np.inf
    if estimate > 0 and _fall_at_zero(r, optimum, index, nothing, evaluate) > threshold:
        low = _cross(excess, centre, -1.0)
    return (0.0 if np.isneginf(low) else float(np.exp(low))), float(np.exp(high))


def _fall_at_zero(
    r: Reduced, optimum: Optimum, index: int, nothing: float, evaluate: Evaluate | None
) -> float:
    """How far the criterion rises when the variance is held at zero, or at what counts as `nothing`."""
    if index < r.residuals and not nothing:
        return np.inf
    try:
        return maximise(r, optimum.variances.copy(), {index: nothing}, evaluate).criterion - optimum.criterion
    except FitError:
        return np.inf


def _inside(excess: Callable[[float], float], start: float) -> float:
    """Go towards zero, which is the estimate, until within the threshold."""
    place = start
    while excess(place) > 0 and place > start - 60:
        place -= 2.5
    return place


def _cross(excess: Callable[[float], float], centre: float, direction: float) -> float:
    """Walk from the estimate in growing steps until the threshold is passed, then close in."""
    inner, step = centre, 0.5
    for _ in range(40):
        outer = inner + direction * step
        if excess(outer) > 0:
            ends = sorted((inner, outer))
            return float(optimize.brentq(excess, *ends, xtol=1e-10, rtol=1e-12))
        inner, step = outer, step * 1.6
        if abs(inner - centre) > 60:
            break
    return direction * np.inf
