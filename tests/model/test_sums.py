"""Sums of units that are alike reduce to what their readings reduce to."""

from __future__ import annotations

import numpy as np
import pytest

from sharpstats.model.reduce import Units, reduce_readings
from sharpstats.model.sums import reduce_sums


def test_the_readings_and_their_sums_reduce_to_the_same() -> None:
    """Twelve edges of four kinds: two blades, two or three cuts."""
    rng = np.random.default_rng(3)
    blade, size = np.tile([0, 1], 6), np.repeat([2, 3], 6)
    unit = np.repeat(np.arange(12), size)
    y = rng.normal(0, 1, unit.size)
    x = np.column_stack([np.ones(12), blade])
    first = np.searchsorted(unit, np.arange(12))
    single = Units(unit, first, size.astype(float), (blade,), (2,), diagonal=True)
    expected, means = reduce_readings(single, x, y)

    kind = 2 * (size - 2) + blade
    alike = np.bincount(kind).astype(float)
    mean = np.bincount(kind, means[:, -1]) / alike
    between = np.bincount(kind, (means[:, -1] - mean[kind]) ** 2)
    within = np.bincount(kind[unit], (y - means[unit, -1]) ** 2)
    kinds = np.arange(4)
    units = Units(kinds, kinds, np.array([2.0, 2, 3, 3]), (kinds % 2,), (2,), diagonal=True, alike=alike)
    found = reduce_sums(units, np.column_stack([np.ones(4), kinds % 2, mean]), between, within)

    assert found.products == pytest.approx(expected.products, rel=1e-12)
    assert found.sizes.tolist() == expected.sizes.tolist()
    assert found.h.tolist() == expected.h.tolist()
    assert found.blocks.tolist() == expected.blocks.tolist()
    assert (found.readings, found.units) == (expected.readings, expected.units)
    assert found.log_sizes == pytest.approx(expected.log_sizes)


def test_without_the_number_alike_there_are_no_sums() -> None:
    units = Units(np.zeros(1, int), np.zeros(1, int), np.ones(1), (), (), diagonal=False)
    with pytest.raises(ValueError, match="must say how many are alike"):
        reduce_sums(units, np.ones((1, 2)), np.zeros(1), np.zeros(1))
