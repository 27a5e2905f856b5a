"""Is one of several means, or one of several spreads, too far from the rest? Limits and p values.

For p cells of like readings, all normal with one mean and one variance:

- h (Mandel) and Grubbs's G measure a mean's distance from the mean of all, in SDs of the means;
- k (Mandel) and Cochran's C measure a cell's spread against that of all.

h and k ask about a cell that was chosen beforehand. Grubbs's and Cochran's tests ask about the most
extreme one, and so multiply its p value by the number of cells that could have been it. That product is
exact wherever no two cells can be so extreme at once (C above a half, say), and never too small elsewhere.

ISO 5725-2:2019, Accuracy of measurement methods and results, part 2, clauses 7.3.2 to 7.3.4; Mandel (1985), Journal of
Quality Technology 17:29-39; Cochran (1941), Annals of Eugenics 11:47-52; Grubbs (1950), Annals of
Mathematical Statistics 21:27-58; cells of unequal size after 't Lam (2010), Analytica Chimica Acta 659:68-84.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]
FEWEST_MEANS = 3
"""Of two means, each is always as far from their mean as the other."""


def h_critical(p: int, alpha: float) -> float:
    """Return the h that a given one of p means exceeds, up or down, with probability alpha.

    Parameters
    ----------
    p : int
        Number of means, at least 3.
    alpha : float
        Probability, for example 0.01.

    Raises
    ------
    ValueError
        If there are fewer than three means.

    Examples
    --------
    Eight laboratories at 0.5 % (ASTM E691, table of critical values).

    >>> print(f"{h_critical(8, 0.005):.2f}")
    2.15
    """
    return _distance(p, alpha / 2)


def h_p(h: ArrayLike, p: int) -> Floats:
    """Return the p value, both ways, of the h of a given one of p means.

    Examples
    --------
    >>> print(f"{h_p(2.1524915, 8):.4f}")
    0.0050
    """
    return np.minimum(1.0, 2 * _tail(np.abs(h), p))


def grubbs_critical(p: int, alpha: float) -> float:
    """Return the G that the most extreme of p means exceeds with probability alpha.

    Half of alpha is for the largest, half for the smallest.

    Parameters
    ----------
    p : int
        Number of means, at least 3.
    alpha : float

    Raises
    ------
    ValueError
        If there are fewer than three means.

    Examples
    --------
    >>> print(f"{grubbs_critical(9, 0.01):.3f} {grubbs_critical(9, 0.05):.3f}")
    2.387 2.215
    """
    return _distance(p, alpha / (2 * p))


def grubbs_p(g: ArrayLike, p: int) -> Floats:
    """Return the p value of a largest or smallest mean that lies G standard deviations from the mean of all.

    Examples
    --------
    >>> print(f"{grubbs_p(2.2150, 9):.4f}")
    0.0500
    """
    return np.minimum(1.0, 2 * p * _tail(g, p))


def _distance(p: int, tail: float) -> float:
    """Distance of one mean that is exceeded with a probability: a t value with p - 2 df in another dress."""
    if p < FEWEST_MEANS:
        raise ValueError(f"`p` must be {FEWEST_MEANS} at least, got {p}: of two means none is farther out")
    return distance_of(float(special.stdtrit(p - 2, 1 - tail)), p)


def distance_of(t: float, p: int) -> float:
    """Return how far a mean lies from the mean of all p, in SDs of all, from its t value against the other p - 1.

    Examples
    --------
    >>> print(f"{distance_of(0.0, 5):.1f} {distance_of(1e9, 5):.3f}")
    0.0 1.789
    """
    return (p - 1) * t / float(np.sqrt(p * (t**2 + p - 2)))


def _tail(distance: ArrayLike, p: int) -> Floats:
    """Probability that a given mean lies that far out on a given side."""
    if p < FEWEST_MEANS:
        raise ValueError(f"`p` must be {FEWEST_MEANS} at least, got {p}: of two means none is farther out")
    d = np.asarray(distance, dtype=float)
    left = np.maximum((p - 1) ** 2 - p * d**2, 0.0)  # nothing is left for the others: infinitely far out
    with np.errstate(divide="ignore"):
        return special.stdtr(p - 2, -d * np.sqrt(p * (p - 2) / left))


def k_critical(p: int, n: int, alpha: float) -> float:
    """Return the k that a given one of p cells with n readings each exceeds with probability alpha.

    Parameters
    ----------
    p, n : int
        Cells, and readings in each; at least 2.
    alpha : float

    Examples
    --------
    >>> print(f"{k_critical(8, 3, 0.005):.2f}")
    2.06
    """
    return float(np.sqrt(p * _share(p, n, alpha)))


def cochran_critical(p: int, n: int, alpha: float) -> float:
    """Return the C that the largest of p variances of n readings exceeds with probability alpha.

    Parameters
    ----------
    p, n : int
        Cells, and readings in each; at least 2.
    alpha : float

    Examples
    --------
    >>> print(f"{cochran_critical(8, 3, 0.05):.3f}")
    0.516
    """
    return _share(p, n, alpha / p)


def _share(p: int, n: int, tail: float) -> float:
    """Share of all variances that one of them exceeds with a probability."""
    if p < 2 or n < 2:
        raise ValueError(f"`p` and `n` must be 2 at least, got {p} and {n}")
    f = float(special.fdtri(n - 1, (p - 1) * (n - 1), 1 - tail))
    return 1 / (1 + (p - 1) / f)


def spread_p(variances: ArrayLike, df: ArrayLike) -> Floats:
    """Return for each cell the p value of its variance against those of the other cells.

    Parameters
    ----------
    variances, df : array_like of shape (p,)
        Variances and their degrees of freedom; these may differ.

    Returns
    -------
    ndarray of shape (p,)
        Probability that a given cell's variance is so much larger than the pooled one of the others. With
        equal df it is that of Mandel's k. Unknown (NaN) where no variance is above zero.

    Notes
    -----
    Cochran's test multiplies the smallest by p; see `cochran_p`.

    Examples
    --------
    >>> print(spread_p([4.0, 1.0, 1.0, 2.0], [2, 2, 2, 2]).round(3))
    [0.125 0.67  0.67  0.422]
    """
    s, n = np.asarray(variances, dtype=float), np.asarray(df, dtype=float)
    rest, left = (n * s).sum() - n * s, n.sum() - n
    with np.errstate(divide="ignore", invalid="ignore"):
        return special.fdtrc(n, left, s * left / np.maximum(rest, 0.0))


def cochran_p(variances: ArrayLike, df: ArrayLike) -> tuple[int, float]:
    """Return the cell whose variance is hardest to explain by chance, and the p value of Cochran's test.

    Parameters
    ----------
    variances, df : array_like of shape (p,)
        Variances and their degrees of freedom. Where all are equal this is Cochran's test of the largest
        variance; where they differ each is judged by its own ('t Lam 2010).

    Returns
    -------
    place : int
        Which cell.
    p_value : float

    Raises
    ------
    ValueError
        If there are fewer than two cells, or no variance is above zero.

    Examples
    --------
    >>> place, p_value = cochran_p([4.0, 1.0, 1.0, 2.0], [2, 2, 2, 2])
    >>> print(place, f"{p_value:.2f}")
    0 0.50
    """
    s = np.asarray(variances, dtype=float)
    if s.size < 2 or not (s > 0).any():
        raise ValueError("`variances` must have two entries at least, and one of them above zero")
    single = spread_p(s, df)
    place = int(np.argmin(single))
    return place, min(1.0, s.size * float(single[place]))
