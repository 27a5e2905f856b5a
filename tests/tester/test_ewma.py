"""The average that forgets, and how often it cries wolf."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ndtr

from sharpstats.tester.ewma import alarm_rate, averaged, moving_average, reach_for, run_length, standardised

# NIST/SEMATECH e-Handbook 6.3.2.4: weight 0.3, target 50, standard deviation 2.0539; from memory.
HANDBOOK = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4,
            53.6, 52.1]  # fmt: skip
AVERAGES = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38,
            49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip
# Lucas & Saccucci (1990), mean number of values to a signal with constant limits; from memory.
LUCAS = [(1.0, 3.090, 0.0, 500), (0.75, 3.087, 0.0, 500), (0.5, 3.071, 0.0, 500), (0.4, 3.054, 0.0, 500),
         (0.25, 2.998, 0.0, 500), (0.1, 2.814, 0.0, 500), (0.05, 2.615, 0.0, 500),
         (0.5, 3.071, 1.0, 17.5), (0.25, 2.998, 1.0, 11.1), (0.1, 2.814, 1.0, 10.3),
         (0.05, 2.615, 1.0, 11.4)]  # fmt: skip


def test_the_handbook_example() -> None:
    found = moving_average(np.array(HANDBOOK), centre=50.0, sd=2.0539, weight=0.3, reach=3.0)
    np.testing.assert_allclose(found.path, AVERAGES, atol=0.0051)
    assert (found.low[-1], found.high[-1]) == pytest.approx((47.4115, 52.5884), abs=2e-4)
    assert not np.any((found.path < found.low) | (found.path > found.high))


@pytest.mark.parametrize(("weight", "reach", "shift", "published"), LUCAS)
def test_published_run_lengths(weight: float, reach: float, shift: float, published: float) -> None:
    found = run_length(weight, reach, shift=shift, widening=False)
    assert found == pytest.approx(published, abs=0.05 if published < 100 else 1.0)


@pytest.mark.parametrize(("weight", "reach"), [(0.2, 2.86), (0.1, 2.7), (0.6, 3.0)])
def test_run_length_by_a_markov_chain(weight: float, reach: float) -> None:
    """Brook & Evans (1972): the interval cut in 401 states; 4 digits."""
    half, cells = reach * math.sqrt(weight / (2 - weight)), 401
    width = 2 * half / cells
    middle = -half + width * (np.arange(cells) + 0.5)
    gap = (middle - (1 - weight) * middle[:, None]) / weight
    step = ndtr(gap + width / 2 / weight) - ndtr(gap - width / 2 / weight)
    chain = np.linalg.solve(np.eye(cells) - step, np.ones(cells))[cells // 2]
    assert run_length(weight, reach, widening=False) == pytest.approx(chain, rel=2e-4)


@pytest.mark.parametrize(("weight", "reach", "n"), [(0.2, 2.5, 40), (0.05, 2.0, 100), (1.0, 2.5, 30)])
def test_rate_and_length_against_simulation(weight: float, reach: float, n: int) -> None:
    """20,000 steady series: within four Monte-Carlo errors."""
    draws = 20_000
    signals = np.abs(standardised(np.random.default_rng(7).standard_normal((draws, n)), weight)).max(axis=1) > reach
    rate = alarm_rate(weight, reach, n)
    assert abs(signals.mean() - rate) < 4 * math.sqrt(rate * (1 - rate) / draws)


def test_run_length_is_the_sum_of_quiet_series() -> None:
    quiet = sum(1 - alarm_rate(0.2, 1.0, n) for n in range(1, 120))
    assert run_length(0.2, 1.0) == pytest.approx(1 + quiet, rel=1e-6)


def test_widening_limits_cry_wolf_sooner() -> None:
    assert run_length(0.05, 2.615) < run_length(0.05, 2.615, widening=False)


@pytest.mark.parametrize("weight", [0.05, 0.2, 1.0])
def test_reach_for_gives_its_length_back(weight: float) -> None:
    assert run_length(weight, reach_for(weight, 370.0)) == pytest.approx(370.0, rel=1e-6)


def test_the_average_by_its_definition() -> None:
    values, last = np.array([3.0, -1.0, 2.0]), 0.0
    for value, found in zip(values, averaged(values, 0.3), strict=True):
        last = 0.3 * value + 0.7 * last
        assert found == pytest.approx(last)


@pytest.mark.parametrize(
    ("weight", "reach", "named"), [(0.0, 3.0, "weight"), (1.1, 3.0, "weight"), (0.2, 0.0, "reach")]
)
def test_wrong_arguments(weight: float, reach: float, named: str) -> None:
    with pytest.raises(ValueError, match=f"`{named}`"):
        moving_average(np.zeros(3), centre=0.0, sd=1.0, weight=weight, reach=reach)
