"""A shop in another unit is named, others are not, and nothing is changed."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from sharpstats.tester.unitslip import FACTORS, unit_slips


def cells(factors: list[float], batches: int = 3, seed: int = 1) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = [{"shop": f"shop {i}", "batch": f"b{j}", "mean": by * 80 * 2**j * rng.lognormal(0, 0.05)}
            for i, by in enumerate(factors, 1) for j in range(batches)]  # fmt: skip
    return pd.DataFrame(rows)


@pytest.mark.parametrize("units", FACTORS)
@pytest.mark.parametrize("up", [1, -1])
def test_each_factor_both_ways(units: str, up: int) -> None:
    slips = unit_slips(cells([1, 1, FACTORS[units] ** up, 1]))
    assert [(slip.shop, slip.units) for slip in slips] == [("shop 3", units)]
    assert slips[0].ratio == pytest.approx(FACTORS[units] ** up, rel=0.2)


def test_differences_between_shops_are_no_slips() -> None:
    assert unit_slips(cells([1, 0.7, 1.5, 2.5, 5.0])) == ()


def test_three_shops_and_two_that_slipped_alike() -> None:
    assert [slip.shop for slip in unit_slips(cells([1, 0.0098, 1]))] == ["shop 2"]
    assert [slip.shop for slip in unit_slips(cells([1, 0.0098, 1, 1, 0.0098]))] == ["shop 2", "shop 5"]


def test_of_two_shops_either_may_be_the_one() -> None:
    assert [slip.shop for slip in unit_slips(cells([1, 102]))] == ["shop 1", "shop 2"]


def test_a_shop_alone_on_its_batch_is_compared_with_nobody() -> None:
    table = cells([1, 1]).assign(batch=lambda frame: frame["shop"])
    assert unit_slips(table.drop_duplicates(["shop", "batch"])) == ()


def test_readings_at_or_below_zero_are_passed_over() -> None:
    table = cells([1, 1, 1]).assign(mean=[0.0, -5.0, 3.0, 3, 4, 5, 3, 4, 5])
    assert unit_slips(table) == ()
