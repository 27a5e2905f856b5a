"""Sums of readings: against sums written out, for any mixture of sizes, and safe against cancellation."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.layouts import unbalanced

from sharpstats.model.mixed import fit_mixed
from sharpstats.model.reduce import (
    Units,
    combine,
    compress,
    constant_within,
    find_units,
    first_of_each,
    reduce_readings,
)

codes = st.lists(st.integers(0, 6), min_size=1, max_size=25).map(lambda values: np.array(values, dtype=np.intp))


class TestCodes:
    @given(st.lists(st.integers(0, 10**7), min_size=1, max_size=25))
    def test_compress_keeps_order_and_leaves_no_gap(self, values: list[int]) -> None:
        renumbered, count = compress(np.array(values, dtype=np.intp))
        levels = sorted(set(values))
        assert count == len(levels)
        assert [levels[code] for code in renumbered] == values

    def test_compress_of_nothing(self) -> None:
        assert compress(np.array([], dtype=np.intp))[1] == 0

    @given(st.integers(1, 3).flatmap(lambda k: st.lists(st.tuples(*[st.integers(0, 4)] * k), min_size=1, max_size=25)))
    def test_combine_numbers_the_combinations_that_occur(self, rows: list[tuple[int, ...]]) -> None:
        parts = [np.array(column, dtype=np.intp) for column in zip(*rows, strict=True)]
        numbers, count = combine(parts)
        assert count == len(set(rows)) == numbers.max() + 1
        assert len({(row, int(number)) for row, number in zip(rows, numbers, strict=True)}) == count

    @given(codes)
    def test_first_of_each_is_a_row_of_each(self, values: np.ndarray) -> None:
        numbers, count = compress(values)
        assert np.array_equal(numbers[first_of_each(numbers, count)], np.arange(count))


class TestUnits:
    def test_without_random_terms_all_readings_are_one_unit(self) -> None:
        unit, count = find_units([], [], 4)
        assert unit.tolist() == [0, 0, 0, 0]
        assert count == 1

    def test_the_finest_term_is_the_unit_where_it_lies_within_the_others(self) -> None:
        edge, blade = np.array([0, 0, 1, 2, 2]), np.array([0, 0, 0, 1, 1])
        unit, count = find_units([blade, edge], [2, 3], 5)
        assert unit is edge
        assert count == 3

    def test_crossed_terms_make_their_combinations_the_unit(self) -> None:
        blade, day = np.array([0, 0, 1, 1, 1]), np.array([0, 1, 0, 1, 1])
        unit, count = find_units([blade, day], [2, 2], 5)
        assert unit.tolist() == [0, 1, 2, 3, 3]
        assert count == 4

    def test_constant_within(self) -> None:
        unit = np.array([0, 0, 1, 1])
        first = first_of_each(unit, 2)
        assert constant_within(np.array([5, 5, 7, 7]), unit, first)
        assert not constant_within(np.array([5, 5, 7, 5]), unit, first)


@st.composite
def layouts(draw: st.DrawFn) -> tuple[Units, np.ndarray, np.ndarray]:
    """A few units of uneven size under two upper terms, with an X and a response."""
    size = draw(st.lists(st.integers(1, 4), min_size=2, max_size=7))
    count = len(size)
    unit = np.repeat(np.arange(count), size)
    upper, levels = [], []
    for _ in range(draw(st.integers(0, 2))):
        drawn = draw(st.lists(st.integers(0, 2), min_size=count, max_size=count))
        numbers, k = compress(np.array(drawn, dtype=np.intp))
        upper.append(numbers)
        levels.append(k)
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    rows = count if draw(st.booleans()) else unit.size
    shuffled = rng.permutation(unit.size)
    unit = unit[shuffled]
    units = Units(unit=unit, first=first_of_each(unit, count), size=np.array(size, float), upper=tuple(upper),
                  levels=tuple(levels), diagonal=True)  # fmt: skip
    return units, np.column_stack([np.ones(rows), rng.normal(size=rows)]), rng.normal(size=unit.size)


class TestProducts:
    @settings(max_examples=60)
    @given(layouts())
    def test_weighted_sums_are_those_of_the_dense_matrices(self, layout: tuple[Units, np.ndarray, np.ndarray]) -> None:
        """For any two variances: [Z X y]' D^-1 [Z X y] reading by reading."""
        units, x, y = layout
        r, _ = reduce_readings(units, x, y)
        full = x[units.unit] if len(x) == units.size.size else x
        z = [np.eye(k)[codes][units.unit] for codes, k in zip(units.upper, units.levels, strict=True)]
        columns = np.column_stack([*z, full, y])
        same_unit = (units.unit[:, None] == units.unit[None, :]).astype(float)
        for cut, edge in ((1.0, 0.0), (0.3, 2.0), (2.0, 0.01)):
            dense = columns.T @ np.linalg.solve(cut * np.eye(y.size) + edge * same_unit, columns)
            variance = r.h @ [cut, edge]
            ours = np.tensordot(1 / variance, r.products, 1)
            assert ours == pytest.approx(dense, rel=1e-10, abs=1e-10)
            log_det = np.linalg.slogdet(cut * np.eye(y.size) + edge * same_unit)[1]
            assert r.sizes @ np.log(variance) + r.log_sizes == pytest.approx(log_det, rel=1e-10, abs=1e-10)

    @given(layouts())
    def test_counts_add_up(self, layout: tuple[Units, np.ndarray, np.ndarray]) -> None:
        units, x, y = layout
        r, means = reduce_readings(units, x, y)
        assert (r.readings, r.units, r.p, r.q) == (y.size, units.size.size, 2, sum(units.levels))
        assert r.sizes.sum() == y.size
        assert r.blocks.sum(axis=1).tolist() == list(units.levels)
        assert means.shape == (units.size.size, 3)

    def test_keep_columns_is_the_reduction_of_fewer_columns(self) -> None:
        rng = np.random.default_rng(5)
        unit = np.repeat(np.arange(6), 3)
        blade = np.array([0, 0, 1, 1, 2, 2])
        units = Units(unit, first_of_each(unit, 6), np.full(6, 3.0), (blade,), (3,), True)
        x, y = rng.normal(size=(18, 4)), rng.normal(size=18)
        kept, _ = reduce_readings(units, x[:, [0, 3]], y)
        assert reduce_readings(units, x, y)[0].keep_columns([0, 3]).products == pytest.approx(kept.products, abs=1e-13)

    def test_the_size_of_the_sums_does_not_depend_on_the_number_of_readings(self) -> None:
        table = unbalanced(3)
        many = table.loc[np.repeat(table.index, 50)].reset_index(drop=True)
        many["y"] += np.random.default_rng(0).normal(0, 0.1, len(many))
        few, lots = (fit_mixed(t, response="y", fixed=["medium"], random=["blade", "edge"]).reduced.products.shape
                     for t in (table, many))  # fmt: skip
        assert few == lots


class TestCancellation:
    def test_twelve_constant_leading_digits_cost_nothing(self) -> None:
        """The sum of squares within units is the exact one of the numbers as stored."""
        rng = np.random.default_rng(7)
        unit = np.repeat(np.arange(5), 40)
        y = 1e12 + np.round(rng.normal(size=200), 1)
        units = Units(unit, first_of_each(unit, 5), np.full(5, 40.0), (), (), True)
        centred = y - y[0]
        r, _ = reduce_readings(units, np.ones((5, 1)), centred - centred.mean())
        groups = [[Fraction(value) for value in y[unit == k]] for k in range(5)]
        exact = sum((value - sum(group) / 40) ** 2 for group in groups for value in group)
        assert r.products[-1, -1, -1] == pytest.approx(float(exact), rel=1e-14)
