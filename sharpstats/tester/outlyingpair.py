"""Grubbs's test of two outlying means: the two largest, or the two smallest, of p at once.

G is the sum of squares about their mean of the p - 2 others, divided by that of all; a small G speaks
against the pair. Printed tables come from simulation. Here the null distribution is integrated: scaled
to one, the residuals of p normal values are a point drawn evenly from a sphere in p - 1 dimensions, and
a pair is a plane through its centre.

Let W be the others' share of the sum of squares for a pair that was named beforehand: W has the
distribution function w^((p-3)/2). Given W, the direction inside the plane is even on a circle, and what
is left is an even point on a smaller sphere, which knows nothing of W. The named pair are the two largest
if both lie above M, the largest of the others. As just one pair can be that,

    P(G < x) = p (p - 1) / 2 * P(W < x, both of the pair above M).

The distribution of M among n values follows by the same thought from that among n - 1. (Our derivation.
The statistic: Grubbs (1950), Annals of Mathematical Statistics 21:27-58; ISO 5725-2:2019, clause 7.3.4.)
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, optimize, special

Floats = NDArray[np.float64]
FEWEST_MEANS = 4
"""Of three means the two largest leave one, which has no spread."""
_GRID = 3001
_ANGLES = np.linspace(0.0, np.pi / 2, _GRID)
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(40)


def grubbs_pair(means: NDArray[np.float64], *, largest: bool) -> float:
    """Return the share of the sum of squares that stays when the two largest or smallest means go.

    Parameters
    ----------
    means : ndarray of shape (p,)
    largest : bool
        The two largest; else the two smallest.

    Examples
    --------
    >>> print(f"{grubbs_pair(np.array([1.0, 2.0, 3.0, 2.5, 9.0, 9.5]), largest=True):.4f}")
    0.0312
    """
    ordered = np.sort(np.asarray(means, dtype=float))
    others = ordered[:-2] if largest else ordered[2:]
    return float(((others - others.mean()) ** 2).sum() / ((ordered - ordered.mean()) ** 2).sum())


def grubbs_pair_p(g: float, p: int) -> float:
    """Return the p value of a pair of means that leaves the share g.

    Parameters
    ----------
    g : float
        From `grubbs_pair`, between 0 and 1.
    p : int
        Number of means, at least 4.

    Returns
    -------
    float
        Twice the probability of so small a share for the two largest, as the two smallest were looked at as
        well. About five digits are right.

    Raises
    ------
    ValueError
        If there are fewer than four means.

    Examples
    --------
    >>> print(f"{grubbs_pair_p(0.1101, 8):.4f}")
    0.0500
    """
    if p < FEWEST_MEANS:
        raise ValueError(f"`p` must be {FEWEST_MEANS} at least, got {p}: nothing is left to compare a pair with")
    if g >= 1:
        return 1.0
    share = (p - 3) / 2
    w = g * ((_NODES + 1) / 2) ** (1 / share)
    both_above = float(_WEIGHTS @ _above(w, p)) / 2
    return min(1.0, p * (p - 1) * g**share * both_above)


@lru_cache
def grubbs_pair_critical(p: int, alpha: float) -> float:
    """Return the share below which the null distribution has the probability alpha, largest and smallest together.

    Parameters
    ----------
    p : int
        Number of means, at least 4.
    alpha : float

    Examples
    --------
    >>> print(f"{grubbs_pair_critical(10, 0.01):.4f} {grubbs_pair_critical(10, 0.05):.4f}")
    0.1150 0.1865
    """
    return float(optimize.brentq(lambda g: grubbs_pair_p(g, p) - alpha, 0.0, 1.0, xtol=1e-10))


def _above(w: Floats, p: int) -> Floats:
    """Probability that both of a named pair lie above the largest other, for each share w of the others.

    The pair's mean is above the others' mean by c cos(a), and its lower value below its own mean by
    sin(a) / sqrt(2), both times sqrt(1 - w): together R cos(a + b). The others' largest is M sqrt(w).
    """
    c = np.sqrt(0.5 + 1 / (p - 2))
    reach, turn = np.hypot(c, np.sqrt(0.5)), np.arctan2(np.sqrt(0.5), c)
    largest, mass = _largest(p - 2)
    needed = np.sqrt(w / (1 - w))[:, None] * largest / reach
    room = np.maximum(np.arccos(np.minimum(needed, 1.0)) - turn, 0.0)
    return room @ mass / np.pi


@lru_cache
def _largest(n: int) -> tuple[Floats, Floats]:
    """Values of the largest of n residuals whose squares sum to one, and the probability of each."""
    if n == 2:
        return np.array([np.sqrt(0.5)]), np.array([1.0])
    angles = (_ANGLES[1:] + _ANGLES[:-1]) / 2
    return np.sin(angles) * np.sqrt((n - 1) / n), np.diff(_largest_cdf(n))


@lru_cache
def _largest_cdf(n: int) -> Floats:
    """Distribution function, on the grid of angles, of the largest residual sqrt((n - 1) / n) sin(angle).

    If a residual at angle t is the largest, the largest of the others lies at the angle whose sine is
    sqrt(n / (n - 2)) tan(t), or below.
    """
    if n == 3:
        return np.maximum(3 / np.pi * (_ANGLES - np.pi / 6), 0.0)
    sine = np.minimum(np.sqrt(n / (n - 2)) * np.tan(_ANGLES[:-1]), 1.0)
    below = np.append(np.interp(np.arcsin(sine), _ANGLES, _largest_cdf(n - 1)), 1.0)
    density = n / special.beta(0.5, (n - 2) / 2) * np.cos(_ANGLES) ** (n - 3) * below
    found = integrate.cumulative_simpson(density, x=_ANGLES, initial=0.0)
    return found / found[-1]  # the last is 1 but for the error of the grid
