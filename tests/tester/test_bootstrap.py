"""The study drawn again from its own estimates."""

from __future__ import annotations

import numpy as np
import pytest
from invented import crossed

from sharpstats.tester.arrangement import find_arrangement
from sharpstats.tester.bootstrap import drawn_readings
from sharpstats.tester.spreads import find_spreads


def test_it_agrees_with_the_intervals_where_these_are_exact() -> None:
    found = find_spreads(crossed(), scale="log", pool_above=1)
    check, exact = found.check, found.sds["repeatability"]
    assert check is not None
    row = check.table.set_index("term").loc["repeatability"]
    assert abs(row["low"] - exact.low) < 4 * row["low_error"] + 0.01 * exact.low
    assert abs(row["high"] - exact.high) < 4 * row["high_error"] + 0.01 * exact.high
    assert abs(row["held"] - 95) < 4 * row["held_error"]


def test_intervals_keep_their_level_at_the_estimates() -> None:
    check = find_spreads(crossed(3).drop(index=[0, 1, 2, 3, 50, 60]), scale="log", pool_above=1).check
    assert check is not None
    assert (check.held > 95 - 4 * np.maximum(check.held_error, 0.5)).all()
    assert check.unsettled == 0


def test_the_same_seed_gives_the_same() -> None:
    first, again, other = (find_spreads(crossed(), scale="log", seed=seed, draws=300).check for seed in (5, 5, 6))
    assert first is not None
    assert again is not None
    assert other is not None
    assert (first.seed, first.draws) == (5, 300)
    np.testing.assert_array_equal(first.low, again.low)
    assert (first.low != other.low).any()


def test_a_large_study_is_drawn_less_often() -> None:
    check = find_spreads(crossed(operators=10, edges=20, cuts=10), scale="log", pool_above=1, draws=50_000).check
    assert check is not None
    assert check.draws == 1000


def test_drawn_readings_have_the_variances_asked_for() -> None:
    codes = [part.codes for part in find_arrangement(crossed()).parts]
    variances = np.array([0.5, 2.0, 0.3, 0.1])
    y = drawn_readings(np.random.default_rng(1), codes, variances, 40_000, 96)
    assert y.var(axis=0).mean() == pytest.approx(2.9, rel=0.02)
    same_cell, same_edge, same_operator, none = (float(np.mean(y[:, 0] * y[:, j])) for j in (1, 32, 4, 36))
    assert (same_cell, same_edge, same_operator, none) == pytest.approx((2.8, 2.0, 0.5, 0.0), abs=0.1)
