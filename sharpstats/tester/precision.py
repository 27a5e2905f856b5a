"""How far cuts differ within one shop and between shops, from one batch of like edges.

ISO 5725-2:2019, clause 7.4: with n_i cuts in shop i of p, their variances s_i^2 and means y_i,

    s_r^2 = sum (n_i - 1) s_i^2 / sum (n_i - 1)                  within a shop (repeatability)
    s_d^2 = sum n_i (y_i - y)^2 / (p - 1), y the mean of all cuts
    s_L^2 = (s_d^2 - s_r^2) / n, n = (N - sum n_i^2 / N) / (p - 1), N = sum n_i;  0 if negative
    s_R^2 = s_r^2 + s_L^2                                         from shop to shop (reproducibility)

Limits of s_r come from the chi-square distribution, those of s_L and s_R from the modified large sample method
(`model/largesample.py`). Where the n_i differ, s_d^2 is no multiple of a chi-square. The limits
then use the variance of the shops' means, each counting once, with the harmonic mean of the n_i (Thomas & Hultquist
1978, Annals of Statistics 6:582-587; Burdick & Graybill 1992, section 4.3), and are approximate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sharpstats.interval import check_level
from sharpstats.model.largesample import linear_limits

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """A standard deviation with its interval.

    Attributes
    ----------
    sd, low, high : float
        On the scale of the study.
    df : float
        Degrees of freedom; for a sum of mean squares after Satterthwaite. NaN where none are defined.
    """

    sd: float
    low: float
    high: float
    df: float = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class Precision:
    """Spread within and between shops in one batch.

    Attributes
    ----------
    shops, cuts : int
    mean : float
        Mean of all cuts, on the scale of the study.
    within : Deviation or None
        s_r; None where no shop made two cuts.
    between : Deviation or None
        s_L, from one shop's mean to another's; None with one shop, or without s_r.
    across : Deviation or None
        s_R, between single cuts in different shops; None with one shop.
    level : float
        Level of the intervals.
    equal : bool
        Whether all shops made the same number of cuts. Where not, limits of s_L and s_R are approximate.
    negative : bool
        Whether the means differ less than the cuts within shops let expect, so that s_L was set to 0.
    """

    shops: int
    cuts: int
    mean: float
    within: Deviation | None
    between: Deviation | None
    across: Deviation | None
    level: float
    equal: bool
    negative: bool


def precision(n: ArrayLike, means: ArrayLike, variances: ArrayLike, *, level: float = 0.95) -> Precision:
    """Find the spread within and between shops.

    Parameters
    ----------
    n : array_like of shape (p,)
        Cuts of each shop.
    means, variances : array_like of shape (p,)
        Of each shop's cuts; a variance counts only where there are two cuts or more.
    level : float
        Level of the intervals, between 0 and 1.

    Returns
    -------
    Precision

    Raises
    ------
    ValueError
        If there is no shop, or `level` is not between 0 and 1.

    Examples
    --------
    >>> found = precision([2, 2, 2], [10.0, 12.0, 11.0], [0.5, 0.5, 2.0])
    >>> print(f"{found.within.sd:.3f} {found.between.sd:.3f} {found.across.sd:.3f}")
    1.000 0.707 1.225
    """
    counts, y, s = (np.asarray(part, dtype=float) for part in (n, means, variances))
    if not counts.size:
        raise ValueError("`n` must name one shop at least")
    check_level(level)
    freedom = float((counts - 1).sum())
    pooled = float(np.where(counts > 1, (counts - 1) * s, 0.0).sum() / freedom) if freedom else float("nan")
    between, across, negative = _between(counts, y, pooled, freedom, level)
    return Precision(
        shops=counts.size, cuts=int(counts.sum()), mean=float(counts @ y / counts.sum()),
        within=_deviation(pooled, freedom, level) if freedom else None, between=between, across=across,
        level=level, equal=bool((counts == counts[0]).all()), negative=negative,
    )  # fmt: skip


def _between(n: Floats, y: Floats, pooled: float, freedom: float, level: float) -> tuple[
    Deviation | None, Deviation | None, bool
]:  # fmt: skip
    """Return s_L, s_R, and whether s_L^2 came out below zero."""
    if n.size < 2:
        return None, None, False
    apart = float(n @ (y - n @ y / n.sum()) ** 2) / (n.size - 1)
    if not freedom:  # every shop made one cut: what lies between them is s_R, and no one can tell its parts
        return None, _deviation(apart, n.size - 1, level), False
    size = float(n.sum() - (n**2).sum() / n.sum()) / (n.size - 1)
    variance = (apart - pooled) / size
    kept = max(variance, 0.0)
    harmonic = n.size / float((1 / n).sum())
    squares, df = [harmonic * float(y.var(ddof=1)), pooled], [n.size - 1, freedom]
    limits = [linear_limits(squares, df, [1 / harmonic, rest], level) for rest in (-1 / harmonic, 1 - 1 / harmonic)]
    between = _rooted(kept, *limits[0])
    return between, _rooted(kept + pooled, *limits[1], _satterthwaite(apart, pooled, size, df)), variance < 0


def _deviation(variance: float, df: float, level: float) -> Deviation:
    low, high = linear_limits([variance], [df], [1.0], level)
    return _rooted(variance, low, high, df)


def _rooted(variance: float, low: Floats | float, high: Floats | float, df: float = float("nan")) -> Deviation:
    """Take roots; limits hold the estimate, which unequal counts or a zero could otherwise leave outside."""
    ends = (min(max(float(low), 0.0), variance), max(float(high), variance))
    return Deviation(sd=float(np.sqrt(variance)), low=float(np.sqrt(ends[0])), high=float(np.sqrt(ends[1])), df=df)


def _satterthwaite(apart: float, pooled: float, size: float, df: list[float]) -> float:
    """Degrees of freedom of s_R^2 as a sum of two mean squares; those of s_r^2 where s_L^2 is zero."""
    parts = np.array([apart / size, (1 - 1 / size) * pooled])
    if apart <= pooled or not parts.any():
        return df[1]
    return float(parts.sum() ** 2 / (parts**2 / df).sum())
