"""The distributions that a contribution to a budget may have: their spread, and how to draw from them.

Divisors and recipes are those of JCGM 100:2008 (GUM), 4.3.7 and 4.3.9, and JCGM 101:2008, 6.4.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Distribution = Literal["normal", "t", "rectangular", "triangular", "trapezoid", "u-shaped"]


@dataclass(frozen=True, slots=True)
class Bounded:
    """A symmetric distribution between two limits.

    Attributes
    ----------
    divisor : float
        Half-width / standard deviation.
    draw : callable
        Takes a generator and a number, gives so many draws between -1 and 1.
    """

    divisor: float
    draw: Callable[[np.random.Generator, int], Floats]


def _rectangular(rng: np.random.Generator, number: int) -> Floats:
    return 2 * rng.random(number) - 1


def _triangular(rng: np.random.Generator, number: int) -> Floats:
    return rng.random(number) - rng.random(number)


def _trapezoid(rng: np.random.Generator, number: int) -> Floats:
    """Draw the sum of two rectangulars, three times as wide the one as the other: the top is half the base."""
    return 0.75 * _rectangular(rng, number) + 0.25 * _rectangular(rng, number)


def _u_shaped(rng: np.random.Generator, number: int) -> Floats:
    return np.asarray(np.cos(np.pi * rng.random(number)))


BOUNDED: Mapping[str, Bounded] = {
    "rectangular": Bounded(math.sqrt(3), _rectangular),
    "triangular": Bounded(math.sqrt(6), _triangular),
    "trapezoid": Bounded(math.sqrt(6 / (1 + 0.5**2)), _trapezoid),
    "u-shaped": Bounded(math.sqrt(2), _u_shaped),
}
"""Known by their limits. The trapezoid's top is half as wide as its base; u-shaped is a sine's (arcsine)."""


def draw_one(
    distribution: Distribution, standard: float, df: float, copies: int, rng: np.random.Generator, number: int
) -> Floats:
    """Draw the sum of independent copies of a contribution, around zero.

    Limits that are themselves in doubt (limited degrees of freedom) are drawn first, evenly between half-width minus
    and plus their own uncertainty (JCGM 101, 6.4.3); they are the same for all copies.

    A spread that was estimated once is one estimate however many copies share it: the sum of normal or
    t copies is drawn as one, its scale multiplied by the root of their number.

    Parameters
    ----------
    distribution : str
    standard : float
        Standard uncertainty of one copy.
    df : float
        Degrees of freedom of `standard`; they do not count for normal.
    copies : int
    rng : Generator
    number : int
        How many sums are drawn.

    Returns
    -------
    ndarray of shape (number,)

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> round(float(draw_one("rectangular", 1.0, math.inf, 1, rng, 10_000).max()), 2)
    1.73
    """
    if distribution in BOUNDED:
        shape, total = BOUNDED[distribution], np.zeros(number)
        for _ in range(copies):
            total += shape.draw(rng, number)
        doubt = 0.0 if math.isinf(df) else 1 / math.sqrt(2 * df)
        wider = 1 + doubt * _rectangular(rng, number) if doubt else 1.0
        return standard * shape.divisor * wider * total
    scale = standard * math.sqrt(copies)
    known = distribution == "normal" or math.isinf(df)
    return scale * (rng.standard_normal(number) if known else rng.standard_t(df, number))
