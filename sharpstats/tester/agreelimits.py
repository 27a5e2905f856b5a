"""Limits of agreement: between which differences of two testers most edges fall, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from sharpstats.model.largesample import linear_limits
from sharpstats.model.student import reach
from sharpstats.model.tolerance import one_sided_factor


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreementLimits:
    """Two limits that hold a share of the differences, each with its interval.

    Attributes
    ----------
    share : float
        Share of the differences between the limits, if they are normal.
    sd : float
        Standard deviation of the differences.
    low, high : float
        The limits: mean difference minus and plus z SD.
    low_from, low_to, high_from, high_to : float
        Interval of each limit, by `method`.
    rough : float
        Half the width of the approximate interval of Bland & Altman, for either limit.
    level : float
        Level of the intervals.
    method : str
        ``noncentral t`` or ``square-and-add``.
    """

    share: float
    sd: float
    low: float
    high: float
    low_from: float
    low_to: float
    high_from: float
    high_to: float
    rough: float
    level: float
    method: str


def z_of(share: float) -> float:
    """Return the normal quantile that leaves half of the rest on either side.

    Examples
    --------
    >>> round(z_of(0.95), 3)
    1.96
    """
    return float(special.ndtri((1 + share) / 2))


def exact_limits(mean: float, sd: float, n: int, share: float, level: float) -> AgreementLimits:
    """Limits of independent normal differences, with exact intervals.

    Parameters
    ----------
    mean, sd : float
        Of the differences.
    n : int
        Number of differences.
    share, level : float
        Between 0 and 1.

    Returns
    -------
    AgreementLimits

    Notes
    -----
    Each limit is a quantile, so that its interval comes from the noncentral t distribution (Carkeet
    2015, Optometry and Vision Science 92:e71-e80). Beside it stands t sd sqrt(1/n + z^2 / (2 (n - 1)))
    (Bland & Altman 1999, Statistical Methods in Medical Research 8:135-160, section 2).

    Examples
    --------
    Peak flow with two meters (Bland & Altman 1986, Lancet i:307-310): 17 persons.

    >>> found = exact_limits(-2.1, 38.8, 17, 0.95, 0.95)
    >>> print(f"{found.low:.1f} to {found.high:.1f}; upper limit {found.high_from:.0f} to {found.high_to:.0f}")
    -78.1 to 73.9; upper limit 49 to 120
    """
    z, tail = z_of(share), (1 - level) / 2
    inner, outer = (_factor(n, z, c) * sd for c in (tail, 1 - tail))
    return AgreementLimits(
        share=share, sd=sd, low=mean - z * sd, high=mean + z * sd, low_from=mean - outer, low_to=mean - inner,
        high_from=mean + inner, high_to=mean + outer, rough=_rough(sd, n, z, level), level=level, method="noncentral t",
    )  # fmt: skip


def summed_limits(
    mean: float, squares: Sequence[float], df: Sequence[float], weights: Sequence[float], n: int, share: float,
    level: float,
) -> AgreementLimits:  # fmt: skip
    """Limits where the variance is a weighted sum of mean squares, the first that of the n differences themselves.

    Parameters
    ----------
    mean : float
    squares, df, weights : sequence of float
        Mean squares, their degrees of freedom, and their weights in the variance.
    n : int
        Number of differences.
    share, level : float
        Between 0 and 1.

    Returns
    -------
    AgreementLimits

    Notes
    -----
    The interval of each limit puts that of the mean and that of the SD together as the sides of a
    right triangle (Zou 2013, Statistical Methods in Medical Research 22:630-642, from memory).

    Examples
    --------
    >>> found = summed_limits(0.0, [4.0, 6.0], [9, 20], [1.0, 0.5], 10, 0.95, 0.95)
    >>> f"{found.sd:.3f}: {found.high:.2f} ({found.high_from:.2f} to {found.high_to:.2f})"
    '2.646: 5.19 (3.44 to 8.39)'
    """
    z = z_of(share)
    variance = float(np.dot(squares, weights))
    least, most = (max(float(limit), 0.0) for limit in linear_limits(squares, df, weights, level))
    sd, sides = math.sqrt(variance), reach(level, n - 1) * math.sqrt(squares[0] / n)
    outer = math.hypot(sides, z * (math.sqrt(most) - sd))
    inner = math.hypot(sides, z * (sd - math.sqrt(least)))
    low, high = mean - z * sd, mean + z * sd
    rough = reach(level, n - 1) * math.sqrt(squares[0] / n + z**2 * _sd_variance(squares, df, weights, variance))
    return AgreementLimits(share=share, sd=sd, low=low, high=high, low_from=low - outer, low_to=low + inner,
                  high_from=high - inner, high_to=high + outer, rough=rough, level=level,
                  method="square-and-add")  # fmt: skip


@lru_cache(maxsize=64)
def _factor(n: int, z: float, confidence: float) -> float:
    """Remember factors: every pair on as many edges asks for the same ones."""
    return one_sided_factor(n, z, confidence)


def _rough(sd: float, n: int, z: float, level: float) -> float:
    return reach(level, n - 1) * sd * math.sqrt(1 / n + z**2 / (2 * (n - 1)))


def _sd_variance(squares: Sequence[float], df: Sequence[float], weights: Sequence[float], variance: float) -> float:
    """Variance of an SD by the delta method (Bland & Altman 1999, section 5.1)."""
    parts = (w**2 * s**2 / (2 * n) for s, n, w in zip(squares, df, weights, strict=True))
    return sum(parts) / variance
