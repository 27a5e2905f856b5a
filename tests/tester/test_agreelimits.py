"""Limits of agreement and their intervals: published numbers, exactness, and how often they hold the truth."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from sharpstats.tester.agreelimits import exact_limits, summed_limits, z_of


def test_the_interval_of_a_limit_is_a_one_sided_tolerance_bound() -> None:
    """ISO 16269-6: k for n = 10, content 0.95, confidence 0.95 is 2.911; here by share 0.90 and level 0.90."""
    found = exact_limits(0.0, 1.0, 10, 0.90, 0.90)
    assert found.high_to == pytest.approx(2.911, abs=0.0005)
    assert found.low_from == pytest.approx(-2.911, abs=0.0005)


@pytest.mark.parametrize("n", [3, 6, 17, 100])
def test_exact_intervals_hold_the_limit(n: int) -> None:
    rng, studies = np.random.default_rng(n), 20_000
    d = rng.normal(0, 1, (studies, n))
    unit = exact_limits(0.0, 1.0, n, 0.95, 0.95)
    mean, sd = d.mean(axis=1), d.std(axis=1, ddof=1)
    for truth, low, high in ((z_of(0.95), unit.high_from, unit.high_to), (-z_of(0.95), unit.low_from, unit.low_to)):
        inside = np.mean((mean + low * sd <= truth) & (truth <= mean + high * sd))
        assert abs(inside - 0.95) <= 4 * math.sqrt(0.95 * 0.05 / studies)


def test_three_readings_each_by_two_methods() -> None:
    """Bland & Altman 1999, section 5.1: blood pressure of 85 persons (printed numbers, from memory)."""
    found = summed_limits(-15.62, [358.493, 37.408, 83.141], [84, 170, 170], [1, 2 / 3, 2 / 3], 85, 0.95, 0.95)
    assert found.sd == pytest.approx(20.95, abs=0.005)
    assert (found.low, found.high) == (pytest.approx(-56.68, abs=0.02), pytest.approx(25.44, abs=0.02))


def test_the_rough_interval_nears_the_exact_one() -> None:
    few, many = exact_limits(0.0, 1.0, 8, 0.95, 0.95), exact_limits(0.0, 1.0, 2000, 0.95, 0.95)
    assert many.high_to - many.high == pytest.approx(many.rough, rel=0.05)
    assert few.high_to - few.high > 1.3 * few.rough  # too short upwards with eight edges


def test_a_sum_of_one_is_close_to_exact() -> None:
    exact, summed = exact_limits(2.0, 3.0, 15, 0.95, 0.95), summed_limits(2.0, [9.0], [14], [1.0], 15, 0.95, 0.95)
    assert (summed.low, summed.high) == (pytest.approx(exact.low), pytest.approx(exact.high))
    assert summed.high_to == pytest.approx(exact.high_to, rel=0.05)
    assert summed.high_from == pytest.approx(exact.high_from, rel=0.1)


@pytest.mark.parametrize(("n", "cuts", "within", "between"), [(6, 2, 1.0, 0.5), (8, 4, 1.0, 0.0), (15, 3, 1.0, 1.0)])
def test_limits_of_single_cuts_hold_the_truth(n: int, cuts: int, within: float, between: float) -> None:
    """Edge means of several cuts; the truth is the quantile of a difference of two single cuts."""
    rng, studies = np.random.default_rng(7), 1500
    single = between**2 + 2 * within**2
    truth, hits = z_of(0.95) * math.sqrt(single), np.zeros(2)
    for _ in range(studies):
        d = rng.normal(0, math.sqrt(between**2 + 2 * within**2 / cuts), n)
        squares = [float(d.var(ddof=1)), *(within**2 * rng.chisquare(n * (cuts - 1), 2) / (n * (cuts - 1)))]
        found = summed_limits(float(d.mean()), squares, [n - 1] + 2 * [n * (cuts - 1)], [1.0] + 2 * [1 - 1 / cuts],
                              n, 0.95, 0.95)  # fmt: skip
        hits += [found.high_from <= truth <= found.high_to, found.low_from <= -truth <= found.low_to]
    margin = 4 * math.sqrt(0.95 * 0.05 / studies)
    assert np.all(hits / studies >= 0.935 - margin) and np.all(hits / studies <= 0.985 + margin)


def test_z() -> None:
    assert z_of(0.95) == pytest.approx(stats.norm.ppf(0.975), rel=1e-12)
