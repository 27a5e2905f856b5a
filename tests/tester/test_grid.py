"""The step of readings: recovered through dust, conversion and few readings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference.stored import stored_table

from sharpstats.tester.grid import UNLIKELY, find_grid, informative, steps_from
from sharpstats.units import NEWTONS_PER_GF, ForceUnit


def readings(step: float, seed: int = 1, n: int = 60, mean: float = 150.0, sd: float = 20.0) -> np.ndarray:
    return np.rint(np.random.default_rng(seed).normal(mean, sd, n) / step) * step


@pytest.mark.parametrize("step", [0.1, 0.2, 0.5, 1, 2, 2.5, 3, 5, 10, 20])
def test_steps_in_gf_and_the_same_readings_in_newtons(step: float) -> None:
    own = find_grid(readings(step), "gf")
    converted = find_grid(readings(step) * NEWTONS_PER_GF, "N")
    assert own and converted
    assert own.step == pytest.approx(step)
    assert (converted.round_step, converted.unit, converted.sure) == (pytest.approx(step), "gf", True)
    assert converted.step == pytest.approx(step * NEWTONS_PER_GF)
    assert converted.chance == own.chance


@pytest.mark.parametrize(("step", "decimals"), [(1, 3), (2, 3), (5, 2), (5, 3), (5, 4), (10, 2), (0.5, 4)])
def test_gf_written_in_newtons_with_few_decimals(step: float, decimals: int) -> None:
    grid = find_grid(np.round(readings(step) * NEWTONS_PER_GF, decimals), "N")
    assert grid and (grid.round_step, grid.unit) == (step, "gf")


@pytest.mark.parametrize(("step", "decimals"), [(0.05, 0), (0.02, 0), (0.05, 1), (0.01, 2)])
def test_newtons_written_in_gf_with_few_decimals(step: float, decimals: int) -> None:
    values = readings(step, mean=1.5, sd=0.2)
    grid = find_grid(np.round(values / NEWTONS_PER_GF, decimals), "gf")
    assert grid and (grid.round_step, grid.unit) == (step, "N")


def test_whole_gf_are_not_taken_for_newtons() -> None:
    grid = find_grid(np.round(readings(1) * NEWTONS_PER_GF, 2), "N")  # 0.01 N is coarser than 1 gf
    assert grid and (grid.round_step, grid.unit) == (0.01, "N")


@pytest.mark.parametrize("step", [0.01, 0.05, 0.1, 0.3])
def test_dust_of_decimal_arithmetic(step: float) -> None:
    whole = np.random.default_rng(2).integers(300, 1500, 40)
    sums = np.array([sum([step] * int(k), start=0.0) for k in whole])  # 0.1 + 0.2 + ...: not the nearest double
    grid = find_grid(sums, "N")
    assert grid and grid.round_step == pytest.approx(step)
    np.testing.assert_array_equal(steps_from(sums, grid, "N"), whole)


def test_one_reading_off_a_coarser_step_leaves_the_finer_one() -> None:
    grid = find_grid([*readings(5), 151.0], "gf")
    assert grid and grid.step == 1.0


def test_readings_that_were_computed_have_no_step() -> None:
    assert find_grid(np.random.default_rng(3).normal(150, 20, 10), "gf") is None


def test_equal_readings_have_no_step() -> None:
    assert find_grid([150.0] * 20, "gf") is None


def test_the_wafer_readings_of_the_handbook_are_written_to_four_decimals() -> None:
    """NIST/SEMATECH e-Handbook 2.6.1: every average is printed with four decimals."""
    text = stored_table("gauge/nist_mpc61_resistivity")
    grid = find_grid(text["average"], "N", text["wafer"])
    assert grid and grid.sure and grid.step == 0.0001


class TestChance:
    def test_common_divisor_of_random_whole_numbers(self) -> None:
        """How often the divisor of n numbers is g or more, by drawing numbers."""
        drawn = np.random.default_rng(4).integers(1, 10**9, (200_000, 3))
        divisor = np.gcd.reduce(drawn, axis=1)
        for g in (2, 5, 10):
            grid = find_grid(np.array([g, 2 * g, 5 * g]), "gf")
            assert grid and grid.informative == 3
            seen = float(np.mean(divisor >= g))
            assert grid.coarsest_chance == pytest.approx(seen, abs=4 * np.sqrt(seen / len(drawn)))

    @pytest.mark.parametrize(("n", "sure"), [(2, False), (3, False), (4, True)])
    def test_five_needs_four_readings(self, n: int, sure: bool) -> None:
        grid = find_grid([145.0, 155.0, 160.0, 175.0][:n], "gf")
        assert grid and grid.coarsest == 5.0
        assert (grid.coarsest_chance <= UNLIKELY) is sure
        assert (grid.step == 5.0) is sure

    def test_repeats_count_where_edges_are_named(self) -> None:
        """Thirty readings on three values: three different ones say little, the edges say more."""
        values = np.array([150.0, 155.0, 160.0] * 10)
        bare, named = find_grid(values, "gf"), find_grid(values, "gf", np.repeat(np.arange(5), 6))
        assert bare and named
        assert bare.step == 1.0
        assert (named.step, named.sure) == (5.0, True)

    def test_edges_that_always_read_the_same_say_no_more_than_their_number(self) -> None:
        values, edges = np.repeat([150.0, 250.0], 30), np.repeat([0, 1], 30)
        assert informative(values, edges) == 2
        grid = find_grid(values, "gf", edges)
        assert grid and not grid.sure

    @pytest.mark.parametrize("sd", [0.6, 1.0, 3.0])
    def test_a_coarser_step_is_rarely_seen_where_there_is_none(self, sd: float) -> None:
        """Two edges of three cuts, on whole gf: at most one study in a hundred finds more."""
        rng, wrong, studies = np.random.default_rng(5), 0, 500
        for _ in range(studies):
            values = np.rint(rng.normal(150, 20, 2).repeat(3) + rng.normal(0, sd, 6))
            grid = find_grid(values, "gf", [0, 0, 0, 1, 1, 1])
            wrong += grid is not None and grid.sure and grid.step > 1
        assert wrong <= studies * UNLIKELY + 3 * np.sqrt(studies * UNLIKELY)


@given(st.lists(st.integers(1, 500), min_size=4, max_size=40), st.sampled_from([1, 2, 5]), st.randoms())
def test_order_and_unit_do_not_matter(whole: list[int], step: int, shuffler: object) -> None:
    values = np.array(whole) * float(step)
    grid = find_grid(values, "gf")
    assert grid == find_grid(np.sort(values)[::-1], "gf")
    unit: ForceUnit = "N"
    converted = find_grid(values * NEWTONS_PER_GF, unit)
    assert (grid is None) is (converted is None)
    if grid and converted:
        assert (converted.count, converted.place, converted.unit) == (grid.count, grid.place, grid.unit)
        assert converted.chance == grid.chance
