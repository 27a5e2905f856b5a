"""The likelihood of one edge with cuts over the range, against adaptive quadrature and SciPy's censored normal."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy import integrate, special, stats

from sharpstats.model.overedge import OverEdges, edge_slopes, edge_terms, place_points

CASES = [  # cut error, spread between edges, cuts in range, their mean, limits, cuts over each, expected
    (1.0, 1.0, 2, 0.3, [1.0, 2.0], [1, 2], 0.5),
    (0.02, 1.0, 0, 0.0, [1.0], [5], 0.0),
    (1.0, 0.5, 0, 0.0, [1.0], [5], 6.0),
    (1.0, 0.04, 1, 0.1, [1.0, 0.5], [2, 3], -1.0),
    (0.3, 0.0, 3, 0.2, [1.0], [2], 0.4),
]


def one_edge(inside: float, mean: float, limits: list[float], beyond: list[int]) -> OverEdges:
    return OverEdges(np.array([mean]), np.array([float(inside)]), np.array([limits]), np.array([beyond], dtype=float))


def likelihood(s0: float, s1: float, inside: int, mean: float, limits: list[float], beyond: list[int],
               eta: float) -> float:  # fmt: skip
    """By adaptive quadrature over the edge's place, as the model reads."""

    def there(place: float) -> float:
        cuts = stats.norm.pdf(mean, place, np.sqrt(s0 / inside)) if inside else 1.0
        return cuts * np.prod([special.ndtr((place - c) / np.sqrt(s0)) ** k for c, k in zip(limits, beyond,
                                                                                        strict=True)])  # fmt: skip

    if s1 == 0:
        return float(there(eta))
    ends = eta + np.sqrt(s1) * np.linspace(-12, 12, 25)
    parts = [integrate.quad(lambda b: there(b) * stats.norm.pdf(b, eta, np.sqrt(s1)), a, b, epsabs=0, epsrel=1e-12)[0]
             for a, b in pairwise(ends)]  # fmt: skip
    return float(sum(parts))


@pytest.mark.parametrize("case", CASES)
@pytest.mark.filterwarnings("ignore::scipy.integrate.IntegrationWarning")
def test_likelihood_is_the_integral(case: tuple) -> None:
    s0, s1, inside, mean, limits, beyond, eta = case
    found = edge_terms(one_edge(inside, mean, limits, beyond), np.array([eta]), s0, np.array([s1]))
    expected = np.log(likelihood(s0, s1, inside, mean, limits, beyond, eta))
    assert found.value == pytest.approx([expected], rel=1e-11)


@pytest.mark.parametrize("case", CASES)
def test_derivatives_are_those_of_the_value(case: tuple) -> None:
    """Central differences of the value, five points: about ten digits of the first, seven of the second."""
    s0, s1, inside, mean, limits, beyond, eta = case
    edge = one_edge(inside, mean, limits, beyond)

    def value(eta: float, s0: float, s1: float) -> float:
        return float(edge_terms(edge, np.array([eta]), s0, np.array([s1])).value[0])

    def slope(at: int, h: float) -> float:
        place = np.array([eta, s0, s1])
        weights = {-2: 1, -1: -8, 1: 8, 2: -1}
        return sum(w * value(*(place + k * h * np.eye(3)[at])) for k, w in weights.items()) / (12 * h)

    terms, (by_eta, by_cut, by_spread) = edge_slopes(edge, np.array([eta]), s0, np.array([s1]))
    assert terms.score == pytest.approx(slope(0, 1e-3), rel=1e-8)
    assert by_eta.value == pytest.approx(terms.score, rel=1e-12)
    assert by_eta.score == pytest.approx(-terms.weight, rel=1e-10)
    assert by_cut.value == pytest.approx(slope(1, 1e-3 * s0), rel=1e-8)
    if s1 > 0:
        assert by_spread.value == pytest.approx(slope(2, 1e-3 * s1), rel=1e-7, abs=1e-9)
    else:  # forwards only
        h = 1e-5
        ahead = (-3 * value(eta, s0, 0.0) + 4 * value(eta, s0, h) - value(eta, s0, 2 * h)) / (2 * h)
        assert by_spread.value == pytest.approx(ahead, rel=1e-6)


def test_one_cut_has_the_closed_form() -> None:
    """One cut over the range, none in it: a probit with both variances."""
    eta = np.linspace(-6, 6, 25)
    edges = OverEdges(np.zeros(25), np.zeros(25), np.full((25, 1), 0.7), np.ones((25, 1)))
    found = edge_terms(edges, eta, 0.3, np.full(25, 2.0))
    z = (eta - 0.7) / np.sqrt(2.3)
    ratio = np.exp(stats.norm.logpdf(z) - special.log_ndtr(z))
    assert found.value == pytest.approx(special.log_ndtr(z), rel=1e-12)
    assert found.score == pytest.approx(ratio / np.sqrt(2.3), rel=1e-11)
    assert found.weight == pytest.approx(ratio * (z + ratio) / 2.3, rel=1e-9)


def test_weights_lie_between_none_and_all_cuts() -> None:
    """An edge with limits tells less than it would with all cuts in range, and more than nothing."""
    rng = np.random.default_rng(2)
    count = 200
    inside, beyond = rng.integers(0, 4, count).astype(float), rng.integers(1, 4, (count, 1)).astype(float)
    edges = OverEdges(rng.normal(0, 1, count) * (inside > 0), inside, rng.normal(0, 1, (count, 1)), beyond)
    s0, s1 = 0.4, np.full(count, 0.9)
    weight = edge_terms(edges, rng.normal(0, 2, count), s0, s1).weight
    worth = s0 / (1 / weight - s1)
    assert np.all(worth > inside)
    assert np.all(worth < inside + beyond[:, 0])


def test_far_limits() -> None:
    """A limit far below says nothing; one far above pulls the edge to it, without overflow."""
    low, high = (one_edge(2, 0.1, [c], [3]) for c in (-60.0, 60.0))
    nothing = edge_terms(low, np.zeros(1), 1.0, np.ones(1))
    assert nothing.value == pytest.approx(stats.norm.logpdf(0.1, 0, np.sqrt(1.5)), rel=1e-12)
    assert (nothing.score, nothing.weight) == (pytest.approx(0.1 / 1.5, rel=1e-12), pytest.approx(1 / 1.5, rel=1e-12))
    pulled = edge_terms(high, np.zeros(1), 1.0, np.ones(1))
    assert np.isfinite([pulled.value, pulled.score, pulled.weight]).all()
    assert pulled.score[0] > 9


def test_points_follow_the_sharpest_bend() -> None:
    blunt = place_points(one_edge(4, 0.0, [1.0], [1]), np.zeros(1), 1.0, np.ones(1))
    sharp = place_points(one_edge(0, 0.0, [1.0], [5]), np.zeros(1), 0.01, np.ones(1))
    assert blunt.t.shape[1] < 40 < 200 < sharp.t.shape[1]
