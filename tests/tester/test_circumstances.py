"""What changed along with what."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from sharpstats.tester.circumstances import Model, Slope, beside, circumstances, fit_slopes, linked, slope_of


def test_levels_are_linked_over_a_third() -> None:
    groups, counts = linked(pd.Series(list("AABBC")), pd.Series([1, 2, 2, 3, 9]))
    assert groups.tolist() == [0, 0, 1]
    assert counts == {0: 3, 1: 1}


class TestModel:
    table = pd.DataFrame({"edge": list("abcdef") * 4, "operator": list("p" * 12 + "q" * 12)})

    def test_many_levels_are_a_sample_and_few_are_not(self) -> None:
        assert circumstances(self.table) == Model((("operator",),), (("edge",), ("operator", "edge")))
        assert circumstances(self.table).names == ("operator", "edge", "operator on edge")

    def test_few_edges_in_few_hands_are_taken_out_hand_by_hand(self) -> None:
        table = pd.DataFrame({"edge": list("aabb") * 3, "operator": list("pqpq") * 3})
        assert circumstances(table) == Model((("edge",), ("operator",), ("operator", "edge")), ())

    def test_what_goes_with_another_is_not_taken_twice(self) -> None:
        assert circumstances(self.table.assign(day=self.table["operator"], tester="T")).fixed == (("operator",),)

    def test_a_level_for_each_cut_is_left_out(self) -> None:
        assert circumstances(pd.DataFrame({"edge": list("abcdef")})) == Model((), ())

    def test_days_that_hold_one_lot_each_are_a_sample(self) -> None:
        table = pd.DataFrame({"day": list("112233441122"), "filament_lot": list("AABBAABBAABB")})
        assert circumstances(table, "filament_lot") == Model((), (("day",),))

    def test_a_lot_with_one_day_leaves_the_day_out(self) -> None:
        table = pd.DataFrame({"day": list("111222"), "filament_lot": list("AAABBB")})
        assert circumstances(table, "filament_lot") == Model((), ())

    def test_days_that_link_the_lots_are_fixed(self) -> None:
        table = pd.DataFrame({"day": list("112211"), "filament_lot": list("ABABAB")})
        assert circumstances(table, "filament_lot") == Model((("day",),), ())


def test_a_plain_slope_is_that_of_least_squares() -> None:
    """statsmodels, 10 digits."""
    rng = np.random.default_rng(2)
    turn, y = np.arange(1.0, 41.0), rng.standard_normal(40)
    table = pd.DataFrame({"reading": y, "turn": turn})
    found = slope_of(fit_slopes(table, y, {"turn": (turn, 100.0)}), "turn", 100.0)
    ols = sm.OLS(y, sm.add_constant(turn)).fit()
    assert found is not None
    assert found.estimate == pytest.approx(100 * ols.params[1], rel=1e-10)
    assert (found.low, found.high) == pytest.approx(tuple(100 * ols.conf_int()[1]), rel=1e-8)
    assert found.p == pytest.approx(ols.pvalues[1], rel=1e-8)


def test_a_slope_that_is_not_told_is_none() -> None:
    table = pd.DataFrame({"reading": np.random.default_rng(3).standard_normal(12)})
    one = np.arange(12.0)
    fit = fit_slopes(table, table["reading"].to_numpy(), {"turn": (one, 100.0), "order": (one, 1.0)})
    assert slope_of(fit, "turn", 100.0) is None
    assert slope_of(fit, "order", 1.0) is None


def test_tangled_slopes_are_not_told_apart() -> None:
    def slope(se: float) -> Slope:
        return Slope(estimate=1.0, se=se, low=0.0, high=2.0, df=9.0, p=0.1, level=0.95, per=1.0)

    assert beside(slope(1.0), slope(3.1)) is not None
    assert beside(slope(1.0), slope(3.2)) is None
    assert beside(slope(1.0), None) is None
