"""The likelihood of edges with cuts over the tester's range, each by itself.

An edge lies at eta + b with b ~ N(0, s1); its cuts scatter about that with variance s0, and of
a cut over the range only its limit c is known. With n cuts in range and their mean m,

    L(eta) = N(m; eta, s1 + s0/n) E[prod_j Phi((theta - c_j) / sqrt(s0))],

where theta is the edge given its cuts in range, normal with variance v = s0 s1 / (s0 + n s1)
and mean mu = (s0 eta + n s1 m) / (s0 + n s1). The expectation is one integral an edge, by the
trapezoidal rule on the whole line: for a function without singularities that falls off like a
normal density its error falls as exp(-constant / step^2) (Trefethen & Weideman 2014, SIAM
Review 56:385-458), so that a few dozen points leave only rounding. It is worth its price beside
Gauss and Hermite's rule: an edge whose cuts are all over the range makes an integrand with a
steep left side, which powers of theta follow slowly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]
Numbers = NDArray[Any]
"""Real, or complex where a derivative is wanted."""

REACH = 8.5
"""Half the width of the integral in standard deviations of theta: exp(-8.5^2 / 2) is below rounding."""
STEP = 0.75
"""Step of the rule, in standard deviations of the sharpest bend: an error of exp(-2 pi^2 / 0.75^2), 6e-16."""
MOST_POINTS = 2000
TINY = 1e-30
"""Step of derivatives by way of an imaginary part (Squire & Trapp 1998, SIAM Review 40:110-112)."""
LEAST_SHARE = 1e-10
"""Derivatives by the spread between edges are taken at no less than this share of the cut error."""


@dataclass(frozen=True, slots=True)
class OverEdges:
    """Edges with at least one cut over the range.

    Attributes
    ----------
    mean : ndarray of shape (E,)
        Mean of the cuts in range; 0 where there is none.
    inside : ndarray of shape (E,)
        Number of cuts in range.
    limits : ndarray of shape (E, L)
        The different limits of each edge, padded with any number.
    beyond : ndarray of shape (E, L)
        Number of cuts over each of them; 0 for padding.
    """

    mean: Floats
    inside: Floats
    limits: Floats
    beyond: Floats


@dataclass(frozen=True, slots=True)
class EdgeTerms:
    """Log likelihood of each edge, its slope and its bend by eta (the bend with a minus sign).

    Attributes
    ----------
    value, score, weight : ndarray of shape (E,)
    """

    value: Floats
    score: Floats
    weight: Floats

    @property
    def imaginary(self) -> EdgeTerms:
        """The derivatives that imaginary steps of `TINY` have made."""
        return EdgeTerms(*(np.imag(part) / TINY for part in (self.value, self.score, self.weight)))


@dataclass(frozen=True, slots=True)
class Points:
    """Points of the integral in standard deviations of theta, and the logs of their weights.

    Attributes
    ----------
    t, log_weight : ndarray of shape (E, T)
    """

    t: Floats
    log_weight: Floats


def edge_terms(edges: OverEdges, eta: Floats, s0: float, s1: Floats) -> EdgeTerms:
    """Log likelihood of each edge with its first two derivatives.

    Parameters
    ----------
    edges : OverEdges
    eta : ndarray of shape (E,)
        Expected reading of each edge.
    s0 : float
        Variance of the cut error, above zero.
    s1 : ndarray of shape (E,)
        Variance between edges; may be zero.

    Returns
    -------
    EdgeTerms

    Examples
    --------
    One cut over 5, no spread between edges, expected at 5: half of such cuts would be over.

    >>> edges = OverEdges(np.zeros(1), np.zeros(1), np.array([[5.0]]), np.ones((1, 1)))
    >>> np.exp(edge_terms(edges, np.array([5.0]), 1.0, np.zeros(1)).value).round(12)
    array([0.5])
    """
    return _terms(edges, place_points(edges, eta, s0, s1), eta, s0, s1)


def edge_slopes(edges: OverEdges, eta: Floats, s0: float, s1: Floats) -> tuple[EdgeTerms, Sequence[EdgeTerms]]:
    """The same, with the derivatives of all three by eta, s0 and s1, to rounding.

    Returns
    -------
    terms : EdgeTerms
    slopes : (EdgeTerms, EdgeTerms, EdgeTerms)
    """
    points = place_points(edges, eta, s0, s1)
    apart = np.maximum(s1, LEAST_SHARE * s0)
    steps = ((eta + 1j * TINY, s0, s1), (eta, s0 + 1j * TINY, s1), (eta, s0, apart + 1j * TINY))
    return _terms(edges, points, eta, s0, s1), [_terms(edges, points, *step).imaginary for step in steps]


def place_points(edges: OverEdges, eta: Floats, s0: float, s1: Floats) -> Points:
    """Put the points about the highest place of each integrand, close enough for its sharpest bend.

    The slope of the log integrand is convex and falls, and it is not negative at t = 0: Newton's
    steps from there never pass the highest place.
    """
    mu, v = _given_cuts(edges, eta, s0, s1)
    root, t = np.sqrt(v), np.zeros_like(mu)
    for _ in range(60):
        _, slope, bend = _log_chance(edges, (mu + root * t)[:, None], s0)
        move = (root * slope[:, 0] - t) / (1 - v * bend[:, 0])
        t = t + move
        if np.abs(move).max(initial=0.0) < 0.05:
            break
    bends = np.sqrt(1 + edges.beyond.sum(axis=1) * v / s0).max(initial=1.0)
    count = int(np.clip(np.ceil(2 * REACH * bends / STEP), 2, MOST_POINTS)) + 1
    grid = np.linspace(-REACH, REACH, count)
    points = t[:, None] + grid
    return Points(points, -(points**2) / 2 + np.log((grid[1] - grid[0]) / np.sqrt(2 * np.pi)))


def _given_cuts(edges: OverEdges, eta: Numbers, s0: complex, s1: Numbers) -> tuple[Numbers, Numbers]:
    """Mean and variance of the edge given its cuts in range."""
    total = s0 + edges.inside * s1
    return (s0 * eta + edges.inside * s1 * edges.mean) / total, s0 * s1 / total


def _log_chance(edges: OverEdges, theta: Numbers, s0: complex) -> tuple[Numbers, Numbers, Numbers]:
    """Log chance that all cuts over the range are over it, with two derivatives by theta (E, T)."""
    root = np.sqrt(s0)
    z = (theta[:, :, None] - edges.limits[:, None, :]) / root
    log_chance = special.log_ndtr(z)
    ratio = np.exp(-z * z / 2 - log_chance) / np.sqrt(2 * np.pi)
    count = edges.beyond[:, None, :]
    return (
        (count * log_chance).sum(axis=2),
        (count * ratio).sum(axis=2) / root,
        -(count * ratio * (z + ratio)).sum(axis=2) / s0,
    )


def _terms(edges: OverEdges, points: Points, eta: Numbers, s0: complex, s1: Numbers) -> EdgeTerms:
    mu, v = _given_cuts(edges, eta, s0, s1)
    log_chance, slope, bend = _log_chance(edges, mu[:, None] + np.sqrt(v)[:, None] * points.t, s0)
    logs = points.log_weight + log_chance
    top = np.real(logs).max(axis=1, keepdims=True)
    shares = np.exp(logs - top)
    whole = shares.sum(axis=1)
    shares = shares / whole[:, None]
    first = (shares * slope).sum(axis=1)
    second = (shares * (bend + (slope - first[:, None]) ** 2)).sum(axis=1)
    precision = edges.inside / (s0 + edges.inside * s1)
    pull = s0 / (s0 + edges.inside * s1)
    left = edges.mean - eta
    normal = np.where(edges.inside > 0, np.log(np.where(edges.inside > 0, precision, 1.0) / (2 * np.pi)), 0.0)
    return EdgeTerms(
        (normal - precision * left**2) / 2 + top[:, 0] + np.log(whole),
        precision * left + pull * first,
        precision - pull**2 * second,
    )
