"""Limits of sums and ratios of parts: from mean squares, and from the curvature of the likelihood."""

from __future__ import annotations

import numpy as np
import pytest
from invented import crossed
from scipy import stats

from sharpstats.model.meansquares import MeanSquares
from sharpstats.tester.known import FromCurvature, FromSquares
from sharpstats.tester.spreads import _from_curvature, find_spreads

ONE = MeanSquares(("edge", "repeatability"), np.array([5.0, 24.0]), np.array([11271.5, 2451.25]),
                  np.array([[5.0, 1.0], [0.0, 1.0]]), 0.95)  # fmt: skip
"""Six batches of five (Davies & Goldsmith 1972)."""


class TestFromSquares:
    def test_one_mean_square_is_exact(self) -> None:
        found = FromSquares(ONE).of_sum(np.array([0.0, 1.0]), 0.95)
        assert found == pytest.approx(24 * 2451.25 / stats.chi2.ppf([0.975, 0.025], 24), rel=1e-9)

    def test_the_ratio_of_two_is_that_of_the_f_distribution(self) -> None:
        """Searle, Casella & McCulloch 1992, section 3.5: exact limits of the ratio of variances, one way."""
        f, quantiles = 11271.5 / 2451.25, stats.f.ppf([0.975, 0.025], 5, 24)
        found = FromSquares(ONE).of_ratio(np.array([1.0, 0.0]), np.array([0.0, 1.0]), 0.95)
        assert found == pytest.approx((f / quantiles - 1) / 5, rel=1e-7)

    def test_weights_that_cancel_are_nought_and_not_rounding(self) -> None:
        """Five times the edge plus repeatability is one mean square, so its limits are exact."""
        found = FromSquares(ONE).of_sum(np.array([5.0, 1.0]), 0.95)
        assert found == pytest.approx(5 * 11271.5 / stats.chi2.ppf([0.975, 0.025], 5), rel=1e-9)

    def test_nothing_below_tells_nothing(self) -> None:
        low = MeanSquares(ONE.terms, ONE.df, np.array([1000.0, 2451.25]), ONE.expected, 0.95)
        assert FromSquares(low).of_ratio(np.array([0.0, 1.0]), np.array([1.0, 0.0]), 0.95) == (0.0, np.inf)


class TestFromCurvature:
    def test_many_degrees_of_freedom_agree_with_mean_squares(self) -> None:
        found = find_spreads(crossed(operators=12, edges=16, cuts=3, both=0.1), scale="log", pool_above=1)
        near = _from_curvature(found.fit)
        for weights in found.sums.values():
            assert near.of_sum(weights, 0.95) == pytest.approx(found.known.of_sum(weights, 0.95), rel=0.15)
        above, below = found.sums["edge"], found.sums["reproducibility"]
        assert near.of_ratio(above, below, 0.95) == pytest.approx(found.known.of_ratio(above, below, 0.95), rel=0.15)

    def test_nothing_is_known_of_what_is_nought(self) -> None:
        none = FromCurvature(np.array([0.0, 0.0, 1.0]), np.zeros((3, 3)), np.zeros((2, 3)))
        assert none.of_sum(np.array([1.0, 1.0, 0.0]), 0.95) == (0.0, np.inf)
        assert none.of_ratio(np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0]), 0.95) == (0.0, np.inf)
