"""Last digits: the expected ones, the p values, and habits found where there are some."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from sharpstats.tester.digits import Digits, Places, allowed_digits, expected_counts, look_at_digits, unevenness
from sharpstats.tester.grid import Grid

GRID = Grid(step=1.0, unit="gf", count=1, place=1.0, chance=0.0, coarsest=1.0, coarsest_chance=0.0, informative=99)


def look(steps: np.ndarray, sd: float = 12.0, edges: np.ndarray | None = None, draws: int = 500) -> Digits | None:
    edges = np.zeros(len(steps), dtype=np.intp) if edges is None else edges
    places = Places(steps=steps.astype(np.int64), edges=edges, sds=np.full(int(edges.max()) + 1, sd))
    return look_at_digits(places, GRID, np.random.default_rng(1), draws)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 25])
def test_digits_are_those_of_the_multiples(count: int) -> None:
    found = allowed_digits(count)
    assert sorted(found) == sorted({count * j % 10 for j in range(100)})
    assert [count * j % 10 for j in range(len(found))] == list(found)


def test_statistic_and_p_are_those_of_scipy() -> None:
    steps = np.random.default_rng(2).integers(100, 400, 200)
    found = look(steps)
    assert found and found.method == "chi-square" and found.draws == 0
    statistic, p = stats.chisquare(np.bincount(steps % 10, minlength=10))
    assert (found.statistic, found.p) == (pytest.approx(statistic, rel=1e-12), pytest.approx(p, rel=1e-12))


def test_simulated_p_of_few_cuts_is_that_of_all_tables() -> None:
    """Two digits, so few cuts that every outcome can be listed."""
    grid = Grid(step=5.0, unit="gf", count=5, place=1.0, chance=0.0, coarsest=5.0, coarsest_chance=0.0, informative=9)
    places = Places(steps=np.array([30, 32, 28, 26, 31, 30, 34]), edges=np.zeros(7, dtype=np.intp), sds=np.array([2.0]))
    found = look_at_digits(places, grid, np.random.default_rng(3), 20_000)
    assert found and found.method == "simulated"
    exact = 2 * stats.binom.cdf(1, 7, 0.5)
    assert found.p == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / 20_000))


@pytest.mark.parametrize(("mean", "sd"), [(20.0, 1.0), (23.4, 1.7), (8.5, 4.0)])
def test_expected_counts_integrate_the_normal_density(mean: float, sd: float) -> None:
    """Against direct sums over the steps of all decades; the edge's mean comes from two readings."""
    steps = np.array([round(2 * mean) // 2, round(2 * mean) - round(2 * mean) // 2])
    places = Places(steps=steps, edges=np.zeros(2, dtype=np.intp), sds=np.array([sd]))
    all_steps = np.arange(-200, 300)
    middle = float(steps.mean())
    mass = np.diff(stats.norm.cdf(np.append(all_steps - 0.5, 299.5), middle, sd))
    direct = 2 * np.bincount(all_steps % 10, mass, 10)
    assert expected_counts(places, 10) == pytest.approx(np.maximum(direct, 1e-9), abs=1e-9)


def test_unevenness_bounds_the_difference_from_even_shares() -> None:
    for sd in (3.0, 4.0, 5.0):
        places = Places(steps=np.full(100, 20), edges=np.zeros(100, dtype=np.intp), sds=np.array([sd]))
        largest = float(np.max(np.abs(expected_counts(places, 10) / 10 - 1)))
        assert largest == pytest.approx(unevenness(places, 10) * np.sinc(0.1), rel=0.02)


@pytest.mark.parametrize("every", [2, 5, 10])
def test_a_habit_of_half_the_readings_is_found(every: int) -> None:
    rng = np.random.default_rng(4)
    steps = rng.integers(100, 400, 600)
    lazy = rng.random(600) < 0.5
    found = look(np.where(lazy, every * np.rint(steps / every), steps))
    assert found and found.p < 1e-6
    assert found.favoured == every
    assert found.leaning == pytest.approx(0.5, abs=0.1)
    assert all(digit % every == 0 for digit in found.overused) and found.overused
    assert found.leaning_low < 0.5 < found.leaning_high
    exact = stats.binomtest(round(found.share(every)[0] * 600), 600).proportion_ci(0.95)
    assert found.leaning_low == pytest.approx((exact.low - 1 / every) / (1 - 1 / every))
    assert found.leaning_high == pytest.approx((exact.high - 1 / every) / (1 - 1 / every))
    seen, expected = found.share(every)
    assert seen > expected == pytest.approx(1 / every)


def test_a_preferred_seven_is_named_and_leans_to_no_round_step() -> None:
    rng = np.random.default_rng(5)
    steps = rng.integers(100, 400, 600)
    found = look(np.where(rng.random(600) < 0.3, 10 * (steps // 10) + 7, steps))
    assert found and found.overused == (7,)
    assert found.favoured is None


def test_without_a_habit_nothing_is_named() -> None:
    found = look(np.random.default_rng(6).integers(100, 400, 300))
    assert found and found.p > 0.05
    assert (found.overused, found.favoured, found.leaning) == ((), None, 0.0)


def test_a_narrow_edge_is_no_habit() -> None:
    """Forty cuts about 152 with an SD of 2: digits 0 to 4 prevail, as they must."""
    steps = np.rint(np.random.default_rng(7).normal(152, 2, 40))
    found = look(steps, sd=2.0)
    assert found and found.method == "simulated from edges" and found.p > 0.05
    assert stats.chisquare(np.bincount(steps.astype(int) % 10, minlength=10)).pvalue < 0.01


def test_a_habit_on_narrow_edges_is_found() -> None:
    rng = np.random.default_rng(8)
    edges = np.repeat(np.arange(20), 6)
    steps = np.rint(rng.normal(150, 20, 20)[edges] + rng.normal(0, 3, 120))
    lazy = rng.random(120) < 0.7
    found = look(np.where(lazy, 5 * np.rint(steps / 5), steps), sd=3.0, edges=edges)
    assert found and found.method == "simulated from edges"
    assert found.p < 0.01 and found.favoured == 5


@pytest.mark.parametrize(("cuts", "sd"), [(19, 12.0), (100, 1.4)])
def test_declines(cuts: int, sd: float) -> None:
    """Too few cuts for ten digits; edges so narrow that digits follow from their place."""
    assert look(np.random.default_rng(9).integers(140, 160, cuts), sd=sd) is None
