"""Runs rules: what they see, and their false alarms."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from sharpstats.tester.runs import (
    FAR,
    FOUR_OF_FIVE,
    ONE_SIDE,
    ONE_WAY,
    TWO_OF_THREE,
    alarm_rate,
    beyond,
    one_side,
    one_way,
    one_way_rate,
    run_length,
    watch,
)

ONE, TWO, THREE, FOUR = (watch(rule, rule.usual) for rule in (FAR, TWO_OF_THREE, FOUR_OF_FIVE, ONE_SIDE))
# Champ & Woodall (1987): mean number of values to a signal, steady and one standard deviation off; from memory.
CHAMP = [((ONE,), 370.40, 43.89), ((ONE, TWO), 225.44, 20.01), ((ONE, THREE), 166.05, 12.66),
         ((ONE, FOUR), 152.73, 14.58), ((ONE, TWO, THREE), 132.89, 10.95), ((ONE, TWO, FOUR), 122.05, 11.73),
         ((ONE, THREE, FOUR), 105.78, 10.19), ((ONE, TWO, THREE, FOUR), 91.75, 9.22)]  # fmt: skip
STEADY = np.random.default_rng(11).standard_normal((20_000, 60))


@pytest.mark.parametrize(("watches", "steady", "off"), CHAMP)
def test_published_run_lengths(watches: tuple, steady: float, off: float) -> None:
    assert run_length(watches) == pytest.approx(steady, abs=0.0051)
    assert run_length(watches, shift=1.0) == pytest.approx(off, abs=0.0051)
    assert run_length(watches, shift=-1.0) == pytest.approx(off, abs=0.0051)


@pytest.mark.parametrize(
    ("rule", "limit"),
    [(FAR, 3.0), (TWO_OF_THREE, 2.0), (FOUR_OF_FIVE, 1.0), (ONE_SIDE, 8), (TWO_OF_THREE, 2.6), (ONE_SIDE, 11)],
    ids=lambda given: getattr(given, "code", given),
)
def test_rate_against_simulation(rule: object, limit: float) -> None:
    """20,000 steady series of 60: within four Monte-Carlo errors."""
    rate = alarm_rate((watch(rule, limit),), 60)
    signals = rule.trace(STEADY).max(axis=1) >= limit
    assert abs(signals.mean() - rate) < 4 * math.sqrt(rate * (1 - rate) / len(STEADY))


def test_joint_rate_against_simulation() -> None:
    rate = alarm_rate((ONE, TWO, THREE, FOUR), 60)
    signals = np.zeros(len(STEADY), dtype=bool)
    for rule in (FAR, TWO_OF_THREE, FOUR_OF_FIVE, ONE_SIDE):
        signals |= rule.trace(STEADY).max(axis=1) >= rule.usual
    assert abs(signals.mean() - rate) < 4 * math.sqrt(rate * (1 - rate) / len(STEADY))


def test_run_length_is_the_sum_of_quiet_series() -> None:
    watches = (watch(FAR, 2.0), watch(TWO_OF_THREE, 1.2), watch(ONE_SIDE, 5))
    quiet = sum(1 - alarm_rate(watches, n) for n in range(1, 200))
    assert run_length(watches) == pytest.approx(1 + quiet, rel=1e-6)


@pytest.mark.parametrize(("length", "n"), [(2, 2), (2, 5), (3, 3), (3, 6), (4, 7), (6, 5), (6, 7)])
def test_rising_runs_by_all_orders(length: int, n: int) -> None:
    orders = np.array(list(itertools.permutations(range(n))), dtype=float)
    assert one_way_rate(length, n) == pytest.approx(np.mean(one_way(orders).max(axis=1) >= length), abs=1e-12)


def test_rising_runs_against_simulation() -> None:
    rate = one_way_rate(6, 60)
    assert abs((one_way(STEADY).max(axis=1) >= 6).mean() - rate) < 4 * math.sqrt(rate * (1 - rate) / len(STEADY))


class TestTraces:
    def test_two_of_three_needs_one_side(self) -> None:
        assert beyond(np.array([2.5, -2.5, 0.0, 0.1]), 2, 3).max() < 2
        np.testing.assert_allclose(beyond(np.array([0.0, -2.5, 0.0, -2.2]), 2, 3)[-1], 2.2)

    def test_four_of_five(self) -> None:
        trace = beyond(np.array([1.1, 1.2, -3.0, 1.3, 1.4]), 4, 5)
        assert list(trace >= 1) == [False, False, False, False, True]

    def test_one_far_value_is_its_own_distance(self) -> None:
        np.testing.assert_allclose(beyond(np.array([-3.5, 0.2]), 1, 1), [3.5, 0.2])

    def test_a_value_on_the_centre_breaks_a_run(self) -> None:
        np.testing.assert_allclose(one_side(np.array([1.0, 1.0, 0.0, 1.0])), [1, 2, 0, 1])

    def test_a_tie_breaks_a_rise(self) -> None:
        np.testing.assert_allclose(one_way(np.array([1.0, 2.0, 2.0, 3.0, 4.0])), [1, 2, 1, 2, 3])

    @pytest.mark.parametrize("rule", [FAR, TWO_OF_THREE, FOUR_OF_FIVE, ONE_SIDE, ONE_WAY], ids=lambda rule: rule.code)
    def test_mirrored_values_and_many_series(self, rule: object) -> None:
        some = STEADY[:7]
        np.testing.assert_allclose(rule.trace(-some), rule.trace(some))
        np.testing.assert_allclose(rule.trace(some)[3], rule.trace(some[3]))


def test_a_rule_without_a_line_cannot_be_watched() -> None:
    with pytest.raises(ValueError, match="one-way"):
        watch(ONE_WAY, 6)
