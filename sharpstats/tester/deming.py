"""The line between two testers that both err: neither of them is the one that is right.

Least squares of one on the other takes the other as free of error, and flattens the slope. Here the
ratio of the two error variances is used (Deming 1943, Statistical Adjustment of Data, section 92);
swapping the two gives one over the slope, exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sharpstats.model.student import reach

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemingSlope:
    """Slope of one tester's values against the other's.

    Attributes
    ----------
    estimate : float
        Without unit: 1 where both differ by the same everywhere.
    low, high : float
        Limits; 0 and infinite where any slope above zero agrees with the values.
    level : float
    ratio : float
        Error variance of the first over that of the second.
    """

    estimate: float
    low: float
    high: float
    level: float
    ratio: float


def deming_slope(one: Floats, other: Floats, ratio: float, level: float) -> DemingSlope | None:
    """Fit the slope of `one` against `other`, both with error.

    Parameters
    ----------
    one, other : ndarray of shape (n,)
        Values of the same edges; n >= 3.
    ratio : float
        Error variance of `one` over that of `other`, above zero; taken as known.
    level : float
        Level between 0 and 1.

    Returns
    -------
    DemingSlope or None
        None where the two do not rise together.

    Notes
    -----
    With both scaled to one error variance, the fitted line is the major axis. For the true slope,
    distances from the line are independent of places along it, so that all slopes are inside whose
    distances and places have a correlation that the t test does not reject (Creasy 1956, Journal of
    the Royal Statistical Society B 18:65-69). That is exact for normal errors, wherever the edges lie.

    Examples
    --------
    >>> found = deming_slope(np.array([1.0, 2.1, 2.9, 4.2]), np.array([1.1, 2.0, 3.0, 4.0]), 1.0, 0.95)
    >>> f"{found.estimate:.3f} ({found.low:.2f} to {found.high:.2f})"
    '1.076 (0.82 to 1.43)'
    """
    scaled = other * math.sqrt(ratio)
    u, v = scaled - scaled.mean(), one - one.mean()
    suu, svv, suv = float(u @ u), float(v @ v), float(u @ v)
    if suv <= 0:
        return None
    angle = 0.5 * math.atan2(2 * suv, suu - svv)
    turn = _turn(suu, svv, suv, len(u), level)
    low, high = max(angle - turn, 0.0), min(angle + turn, math.pi / 2)
    root = math.sqrt(ratio)
    upper = math.inf if high >= math.pi / 2 else math.tan(high) * root
    return DemingSlope(estimate=math.tan(angle) * root, low=math.tan(low) * root, high=upper, level=level, ratio=ratio)


def _turn(suu: float, svv: float, suv: float, n: int, level: float) -> float:
    """Half the width of the interval of the angle; a right angle where no angle is excluded."""
    t = reach(level, n - 2)
    apart = (suu - svv) ** 2 + 4 * suv**2
    sine = 2 * t * math.sqrt(max(suu * svv - suv**2, 0.0) / ((n - 2) * apart))
    return math.pi / 2 if sine >= 1 else 0.5 * math.asin(sine)
