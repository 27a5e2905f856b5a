"""Limits for single values in their order, and the constants behind them.

A value is judged by how far neighbours in the order differ, since a slow change of the tester
hardly touches that difference. The constants are computed from the normal distribution, not typed in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

_REACH = 9.0
"""Standard deviations beyond which a normal value adds nothing to 15 digits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Constants:
    """Constants of control charts for n normal values, with limits at three standard deviations.

    Attributes
    ----------
    d2, d3 : float
        Mean and standard deviation of the range of n values, in standard deviations.
    c4 : float
        Mean of the sample standard deviation of n values, in standard deviations.
    range_low, range_high : float
        Limits of a range, in mean ranges (D3 and D4 of the standards).
    mean_reach, value_reach : float
        Distance of the limits of a mean of n (A2) and of a single value (E2) from the centre,
        in mean ranges.
    """

    d2: float
    d3: float
    c4: float
    range_low: float
    range_high: float
    mean_reach: float
    value_reach: float


@lru_cache
def constants(n: int) -> Constants:
    """Compute the constants for n values.

    Parameters
    ----------
    n : int
        Number of values in a group, two or more; dimensionless.

    Returns
    -------
    Constants

    Raises
    ------
    ValueError
        If `n` is less than two.

    Notes
    -----
    The range R of n normal values has P(R <= r) = n ∫ φ(x) [Φ(x + r) − Φ(x)]^(n−1) dx (Tippett, 1925);
    d2 = ∫ P(R > r) dr and d3² = ∫ 2 r P(R > r) dr − d2².

    References
    ----------
    ISO 7870-2. Tippett, L. H. C. (1925). Biometrika 17:364-387.

    Examples
    --------
    >>> two = constants(2)
    >>> round(two.d2, 6), round(two.d2 * math.sqrt(math.pi), 6), round(two.range_high, 3)
    (1.128379, 2.0, 3.267)
    """
    if n < 2:
        raise ValueError(f"`n` must be two or more, got {n}")
    node, weight = np.polynomial.legendre.leggauss(80)
    range_, share = _REACH * (node + 1), _REACH * weight
    above = 1 - _range_below(range_, n)
    d2 = float(share @ above)
    d3 = math.sqrt(float(share @ (2 * range_ * above)) - d2 * d2)
    c4 = math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))
    return Constants(
        d2=d2, d3=d3, c4=c4, range_low=max(0.0, 1 - 3 * d3 / d2), range_high=1 + 3 * d3 / d2,
        mean_reach=3 / (d2 * math.sqrt(n)), value_reach=3 / d2,
    )  # fmt: skip


def _range_below(r: Floats, n: int) -> Floats:
    """P(R <= r); equal steps converge fast since the integrand vanishes at both ends."""
    x, step = np.linspace(-2 * _REACH, _REACH, 1000, retstep=True)
    density = np.exp(-x * x / 2) / math.sqrt(2 * math.pi)
    inside = special.ndtr(x + r[:, None]) - special.ndtr(x)
    return n * step * (inside ** (n - 1) @ density)


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class ControlLimits:
    """Limits of single values and of the differences between neighbours.

    Attributes
    ----------
    centre : float
        Mean of the values, in their unit (as all that follow).
    sd_neighbours : float
        Standard deviation by the mean difference of neighbours; hardly touched by a slow change.
    sd_all : float
        Standard deviation about the mean, freed of its bias (s / c4); a slow change adds to it.
    low, high : float
        Centre and three `sd_neighbours` to either side.
    moving_range : ndarray of shape (n - 1,)
        Size of the difference of each value from the one before.
    mean_range, range_high : float
        Its mean and its upper limit.
    outside, jumps : integer ndarray
        Places (from 0) of values outside their limits, and of values too far from the one before.
    """

    centre: float
    sd_neighbours: float
    sd_all: float
    low: float
    high: float
    moving_range: Floats
    mean_range: float
    range_high: float
    outside: Places
    jumps: Places


def individual_limits(values: Floats, df: float | None = None, neighbours: Floats | None = None) -> ControlLimits:
    """Find the limits of values in their order.

    Parameters
    ----------
    values : ndarray of shape (n,)
        In the order in which they were read, any unit.
    df : float, optional
        Degrees of freedom of the values about their centre where effects were taken out of them;
        n - 1 if left out.
    neighbours : ndarray of shape (n - 1,), optional
        Standard deviation of each difference of neighbours, for values of standard deviation 1;
        the square root of 2 if left out. What was taken out of the values makes it another.

    Returns
    -------
    ControlLimits

    Raises
    ------
    ValueError
        If there are fewer than two values.

    Notes
    -----
    With independent values the standard deviation is the mean moving range by d2 = 2/√π = 1.128.

    References
    ----------
    ISO 7870-2, individuals and moving ranges.

    Examples
    --------
    >>> found = individual_limits(np.array([10.0, 12.0, 11.0, 13.0, 10.0]))
    >>> round(found.mean_range, 3), round(found.sd_neighbours, 3), round(found.range_high, 3)
    (2.0, 1.772, 6.533)
    """
    if values.size < 2:
        raise ValueError(f"`values` must hold two values or more, got {values.size}")
    two = constants(2)
    spread = np.full(values.size - 1, math.sqrt(2)) if neighbours is None else neighbours
    centre = float(values.mean())
    moving = np.abs(np.diff(values))
    mean_range = float(moving.mean())
    sd = float(moving.sum() / (two.d2 / math.sqrt(2) * spread.sum()))
    free = values.size - 1 if df is None else df
    sd_all = math.sqrt(float(((values - centre) ** 2).sum()) / free) / _mean_sd(free)
    low, high, top = centre - 3 * sd, centre + 3 * sd, two.range_high * mean_range
    return ControlLimits(
        centre=centre, sd_neighbours=sd, sd_all=sd_all, low=low, high=high, moving_range=moving,
        mean_range=mean_range, range_high=top, outside=np.flatnonzero((values < low) | (values > high)),
        jumps=1 + np.flatnonzero(moving > top),
    )  # fmt: skip


def _mean_sd(df: float) -> float:
    """c4 for any degrees of freedom."""
    return math.sqrt(2 / df) * math.exp(math.lgamma((df + 1) / 2) - math.lgamma(df / 2))
