"""Two spreads compared without the assumption that values are normal.

Brown & Forsythe (1974, JASA 69:364-367): the t test of the distances from each median. Bonett
(2006, Applied Psychological Measurement 30:432-439): an interval for the ratio of two SDs whose
width goes by the kurtosis of both samples together, pooled as if their SDs were equal (Layard 1973,
JASA 68:195-198); the formulas are from memory. To hold it against another ratio than one, scale a
sample first.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]


def distances(values: Floats) -> Floats:
    """Distances from the median.

    Examples
    --------
    >>> distances(np.array([1.0, 2.0, 4.0, 9.0]))
    array([2., 1., 1., 6.])
    """
    return np.asarray(np.abs(values - np.median(values)))


def brown_forsythe(one: Floats, other: Floats, ratio: float = 1.0) -> tuple[float, float] | None:
    """Test the spread of one sample against another's by the distances from their medians.

    Parameters
    ----------
    one, other : ndarray of shape (m,), (n,)
    ratio : float
        Spread of `one` over that of `other` under the null hypothesis.

    Returns
    -------
    (p_below, p_above) : tuple of float or None
        One-sided p values: small if the ratio is shown to be less, or more, than `ratio`. None where a
        sample has fewer than three values, or all distances are equal.

    Examples
    --------
    >>> p = brown_forsythe(np.array([1.0, 2.0, 3.0, 4.0]), np.array([1.0, 5.0, 9.0, 20.0]))
    >>> [round(value, 4) for value in p]
    [0.0593, 0.9407]
    """
    near, far = distances(one) / ratio, distances(other)
    if min(len(near), len(far)) < 3 or np.ptp(near) + np.ptp(far) <= 1e-12 * (near.max() + far.max()):
        return None
    below = float(stats.ttest_ind(near, far, alternative="less").pvalue)
    return below, 1 - below


def bonett(one: Floats, other: Floats, rate: float) -> tuple[float, float] | None:
    """Limits of the ratio of two SDs, each wrong with a chance of about `rate` whatever the tails.

    Parameters
    ----------
    one, other : ndarray of shape (m,), (n,)
    rate : float

    Returns
    -------
    (low, high) : tuple of float or None
        None where a sample has fewer than five values, or no spread.

    Examples
    --------
    >>> low, high = bonett(np.array([1.0, 2, 3, 4, 6, 7]), np.array([1.0, 5, 9, 20, 11, 2]), 0.05)
    >>> round(low, 3), round(high, 3)
    (0.11, 0.982)
    """
    z, samples = float(stats.norm.isf(rate)), (one, other)
    sizes = [len(values) for values in samples]
    sds = [float(np.std(values, ddof=1)) for values in samples]
    if min(sizes) < 5 or min(sizes) <= z or min(sds) <= 1e-12 * max(sds) or max(sds) == 0:
        return None
    fourth = sum(float(((values - _trimmed(values)) ** 4).sum()) for values in samples)
    kurtosis = sum(sizes) * fourth / sum((n - 1) * sd**2 for n, sd in zip(sizes, sds, strict=True)) ** 2
    se = math.sqrt(sum(max(kurtosis - (n - 3) / n, 0.0) / (n - 1) for n in sizes))
    first, second = (n / (n - z) for n in sizes)
    centre = math.log(first / second) + 2 * math.log(sds[0] / sds[1])
    return math.exp((centre - z * se) / 2), math.exp((centre + z * se) / 2)


def _trimmed(values: Floats) -> float:
    """Mean without the outer 1 / (2 sqrt(n - 4)) of the values at either end."""
    return float(stats.trim_mean(values, min(0.5 / math.sqrt(len(values) - 4), 0.49)))
