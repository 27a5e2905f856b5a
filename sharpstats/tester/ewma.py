"""An average that forgets: each value counts less the longer ago it was read.

It sees a small lasting change sooner than single values do. How often it cries wolf is computed
from the integral equation of its run length, for the limits that widen as the average fills.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, signal

Floats = NDArray[np.float64]

_NODES = 64
_SETTLED = 1e-12
"""Share of its final width that limits may lack before they are taken as constant."""


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Average:
    """The exponentially weighted moving average of values in their order.

    Attributes
    ----------
    weight : float
        Weight of the newest value (λ of the standard), between 0 and 1.
    reach : float
        Limits in standard deviations of the average (L of the standard).
    path, low, high : ndarray of shape (n,)
        The average after each value and its limits there, in the values' unit.
    run_length : float
        Mean number of values between two false alarms, were centre and spread known.
    """

    weight: float
    reach: float
    path: Floats
    low: Floats
    high: Floats
    run_length: float


def moving_average(values: Floats, *, centre: float, sd: float, weight: float = 0.2, reach: float = 3.0) -> Average:
    """Average values in their order with exact limits, which widen as the average fills.

    Parameters
    ----------
    values : ndarray of shape (n,)
        In the order in which they were read, any unit.
    centre, sd : float
        What a steady tester would read, and its standard deviation, in the same unit.
    weight : float
        Weight of the newest value, above 0 and at most 1; dimensionless.
    reach : float
        Limits in standard deviations of the average; dimensionless.

    Returns
    -------
    Average

    Notes
    -----
    z_i = λ x_i + (1 − λ) z_(i−1), z_0 the centre; its variance is σ² λ/(2 − λ) [1 − (1 − λ)^(2i)].

    References
    ----------
    Roberts, S. W. (1959). Technometrics 1:239-250. ISO 7870-6.

    Examples
    --------
    >>> found = moving_average(np.array([52.0, 47.0, 53.0]), centre=50.0, sd=2.0, weight=0.3)
    >>> found.path.round(2), found.high.round(2)
    (array([50.6 , 49.52, 50.56]), array([51.8 , 52.2 , 52.37]))
    """
    _check(weight, reach)
    half = reach * sd * _spread(np.arange(1, values.size + 1), weight)
    return Average(
        weight=weight, reach=reach, path=centre + averaged(values - centre, weight), low=centre - half,
        high=centre + half, run_length=run_length(weight, reach),
    )  # fmt: skip


def averaged(deviations: Floats, weight: float) -> Floats:
    """Return the average of deviations from the centre, along the last axis.

    Examples
    --------
    >>> averaged(np.array([1.0, 1.0]), 0.5)
    array([0.5 , 0.75])
    """
    found: Floats = signal.lfilter([weight], [1.0, weight - 1.0], deviations, axis=-1)
    return found


def standardised(deviations: Floats, weight: float) -> Floats:
    """Return the average in its own standard deviations, for values of standard deviation 1.

    Examples
    --------
    >>> standardised(np.array([2.0, 0.0]), 1.0)
    array([2., 0.])
    """
    return averaged(deviations, weight) / _spread(np.arange(1, deviations.shape[-1] + 1), weight)


def _spread(place: NDArray[np.intp], weight: float) -> Floats:
    """Standard deviation of the average after each value, for values of standard deviation 1."""
    return np.sqrt(weight / (2 - weight) * -np.expm1(2 * place * np.log1p(-min(weight, 1 - 1e-16))))


def _check(weight: float, reach: float) -> None:
    if not 0 < weight <= 1:
        raise ValueError(f"`weight` must be above 0 and at most 1, got {weight}")
    if reach <= 0:
        raise ValueError(f"`reach` must be above 0, got {reach}")


@lru_cache
def run_length(weight: float, reach: float, *, shift: float = 0.0, widening: bool = True) -> float:
    """Mean number of values until the average leaves its limits.

    Parameters
    ----------
    weight, reach : float
        As for `moving_average`.
    shift : float
        How far the values lie off the centre, in their standard deviations.
    widening : bool
        Whether limits widen as the average fills, or are as wide from the first value on.

    Returns
    -------
    float
        Number of values, the one that leaves included.

    Notes
    -----
    The density of the average while inside its limits is carried on at Gauss-Legendre nodes; from
    where the limits no longer widen, the rest is the solution of the integral equation.

    References
    ----------
    Crowder, S. V. (1987). Technometrics 29:401-407. Lucas, J. M. & Saccucci, M. S. (1990).
    Technometrics 32:1-12.

    Examples
    --------
    >>> round(run_length(1.0, 3.0), 1), round(run_length(0.25, 2.998, widening=False))
    (370.4, 500)
    """
    _check(weight, reach)
    inside, nodes, half = _started(weight, reach, shift, widening)
    total, place = 1.0, 1
    final = reach * math.sqrt(weight / (2 - weight))
    while half < final * (1 - _SETTLED):
        total += inside.sum()
        place += 1
        inside, nodes, half = _carried(inside, nodes, place, weight, reach, shift)
    kernel = _kernel(nodes, nodes, weight, shift) * _weights(half)[:, None]
    return float(total + np.linalg.solve(np.eye(_NODES) - kernel, inside).sum())


@lru_cache
def alarm_rate(weight: float, reach: float, n: int) -> float:
    """Share of steady series of n values in which the average leaves its (widening) limits.

    Parameters
    ----------
    weight, reach : float
        As for `moving_average`.
    n : int
        Number of values.

    Returns
    -------
    float
        Between 0 and 1, for a centre and a spread that are known.

    Examples
    --------
    >>> round(alarm_rate(1.0, 3.0, 96), 4), round(1 - (1 - 0.0026998) ** 96, 4)
    (0.2286, 0.2286)
    """
    _check(weight, reach)
    inside, nodes, _ = _started(weight, reach, 0.0, True)
    for place in range(2, n + 1):
        inside, nodes, _ = _carried(inside, nodes, place, weight, reach, 0.0)
    return float(1 - inside.sum())


@lru_cache
def reach_for(weight: float, length: float) -> float:
    """Limits whose false alarms are that many values apart on average.

    Parameters
    ----------
    weight : float
        As for `moving_average`.
    length : float
        Mean number of values between two false alarms.

    Returns
    -------
    float
        In standard deviations of the average.

    Examples
    --------
    >>> round(reach_for(1.0, 370.398), 3)
    3.0
    """
    return float(optimize.brentq(lambda reach: math.log(run_length(weight, reach) / length), 0.5, 6.0, xtol=1e-9))


_NODE, _WEIGHT = np.polynomial.legendre.leggauss(_NODES)


def _weights(half: float) -> Floats:
    return half * _WEIGHT


def _half(place: int, weight: float, reach: float) -> float:
    return reach * float(_spread(np.array([place]), weight)[0])


def _kernel(to: Floats, start: Floats, weight: float, shift: float) -> Floats:
    """Density of the next average at `to` (rows), given the one before at `start` (columns)."""
    value = (to[:, None] - (1 - weight) * start) / weight - shift
    return np.exp(-value * value / 2) / (weight * math.sqrt(2 * math.pi))


def _started(weight: float, reach: float, shift: float, widening: bool) -> tuple[Floats, Floats, float]:
    """Probability of the first average at each node, the nodes, and half the width of the limits."""
    half = _half(1, weight, reach) if widening else reach * math.sqrt(weight / (2 - weight))
    nodes = half * _NODE
    return _kernel(nodes, np.zeros(1), weight, shift)[:, 0] * _weights(half), nodes, half


def _carried(
    inside: Floats, nodes: Floats, place: int, weight: float, reach: float, shift: float
) -> tuple[Floats, Floats, float]:
    """The same after one more value."""
    half = _half(place, weight, reach)
    new = half * _NODE
    return _weights(half) * (_kernel(new, nodes, weight, shift) @ inside), new, half
