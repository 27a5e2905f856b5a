"""Steps between lots of filament."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from sharpstats.errors import FitError
from sharpstats.tester.lots import lot_steps


def study(seed: int = 1, *, step: float = 0.0, lots: str = "AABB", edges: int = 6, days: str = "") -> pd.DataFrame:
    """Edges cut with each lot in turn, one block a lot, by two operators."""
    rng = np.random.default_rng(seed)
    blocks = [
        pd.DataFrame({"edge": [f"e{k}" for k in rng.permutation(edges)], "filament_lot": lot, "block": place})
        for place, lot in enumerate(lots)
    ]
    table = pd.concat(blocks, ignore_index=True)
    table["turn"] = np.arange(len(table)) + 1.0
    table["operator"] = np.where(np.arange(len(table)) % 2, "p", "q")
    if days:
        table["day"] = [days[block] for block in table["block"]]
    high = table["edge"].map(dict(zip(sorted(table["edge"].unique()), rng.normal(0, 0.2, edges), strict=True)))
    logs = 5 + high + step * (table["filament_lot"] != lots[0]) + rng.normal(0, 0.05, len(table))
    return table.assign(reading=np.exp(logs))


class TestTwoLots:
    def test_later_minus_earlier(self) -> None:
        found = lot_steps(study(step=0.3), scale="log")
        assert (found.lots, found.cuts, found.pairs) == (("A", "B"), (12, 12), [("B", "A")])
        assert found.table["term"].tolist() == ["B minus A"]
        assert found.differences.low[0] < 0.3 < found.differences.high[0]
        assert found.shared == ((),)
        assert found.in_turn

    def test_by_least_squares_where_all_is_balanced(self) -> None:
        """Edges fixed and random give the same difference in a balanced layout: statsmodels, 8 digits."""
        table = study(step=0.1).drop(columns="operator")
        found = lot_steps(table, scale="log")
        x = np.column_stack([pd.get_dummies(table["edge"]), table["filament_lot"] == "B"]).astype(float)
        ols = sm.OLS(np.log(table["reading"].to_numpy()), x).fit()
        assert found.differences.estimate[0] == pytest.approx(ols.params[-1], rel=1e-8)
        assert found.differences.se[0] == pytest.approx(ols.bse[-1], rel=1e-6)
        assert found.differences.df[0] == pytest.approx(ols.df_resid, rel=1e-6)

    def test_other_names_and_another_unit(self) -> None:
        table = study(step=0.1)
        one = lot_steps(table, scale="log")
        other = lot_steps(table.replace({"filament_lot": {"A": "z", "B": "a"}}).assign(
            reading=table["reading"] * 0.00980665).sample(frac=1, random_state=3), scale="log")  # fmt: skip
        assert other.lots == ("z", "a")
        np.testing.assert_allclose(other.differences.estimate, one.differences.estimate, rtol=1e-7)
        np.testing.assert_allclose(other.differences.high, one.differences.high, rtol=1e-6)

    def test_a_reversed_order_flips_the_step(self) -> None:
        table = study(step=0.1)
        one = lot_steps(table, scale="log")
        other = lot_steps(table.assign(turn=table["turn"].max() + 1 - table["turn"]), scale="log")
        np.testing.assert_allclose(other.differences.estimate, -one.differences.estimate, rtol=1e-7)
        np.testing.assert_allclose(other.differences.low, -one.differences.high, rtol=1e-6)

    def test_a_slow_change_looks_like_a_step(self) -> None:
        table = study()
        table["reading"] *= np.exp(0.02 * table["turn"])
        found = lot_steps(table, scale="log")
        assert found.differences.p[0] < 0.001
        assert found.without_trend is not None
        assert found.without_trend.low[0] < 0 < found.without_trend.high[0]

    def test_lots_by_turns_are_no_block(self) -> None:
        assert not lot_steps(study(lots="ABAB"), scale="log").in_turn

    def test_an_unknown_order_is_no_hindrance(self) -> None:
        found = lot_steps(study(step=0.1).drop(columns="turn"), scale="log")
        assert found.without_trend is None
        assert not found.in_turn


class TestWhatChangedAlong:
    def test_two_lots_and_two_days(self) -> None:
        found = lot_steps(study(days="1122"), scale="log")
        assert found.shared == (("day",),)
        assert "day" not in found.allowed_for

    def test_days_that_met_both_lots(self) -> None:
        found = lot_steps(study(lots="AABB", days="1212"), scale="log")
        assert found.shared == ((),)
        assert "day" in found.allowed_for

    def test_several_days_each_make_the_interval_wide(self) -> None:
        """Four days, two a lot: judged by the spread between days, with about 2 degrees of freedom."""
        table = study(lots="AABB", days="1234", edges=8)
        table["reading"] *= table["day"].map({"1": 1.1, "2": 0.9, "3": 1.05, "4": 0.92})
        found = lot_steps(table, scale="log")
        assert found.shared == ((),)
        assert found.differences.df[0] < 3
        assert found.differences.high[0] - found.differences.low[0] > 0.3

    def test_each_lot_in_its_own_hand(self) -> None:
        table = study().assign(operator=lambda t: t["filament_lot"].map({"A": "Ann", "B": "Bo"}))
        assert lot_steps(table, scale="log").shared == (("operator",),)

    def test_each_lot_on_its_own_edge(self) -> None:
        table = study(edges=6).assign(edge=lambda t: t["filament_lot"].map({"A": "x", "B": "y"}))
        assert lot_steps(table, scale="log").shared == (("edge",),)

    def test_only_the_third_lot_has_a_day_to_itself(self) -> None:
        found = lot_steps(study(lots="ABABC", days="11223"), scale="log")
        named = dict(zip(found.pairs, found.shared, strict=True))
        assert named == {("C", "B"): ("day",), ("C", "A"): ("day",), ("B", "A"): ()}


class TestSeveralLots:
    def test_holm_over_all_pairs(self) -> None:
        found = lot_steps(study(lots="AABBCC"), scale="log")
        assert found.table["term"].tolist() == ["C minus B", "C minus A", "B minus A"]
        assert found.differences.adjust == "holm"
        assert found.table["shared"].tolist() == ["", "", ""]


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        (lambda t: t.drop(columns="filament_lot"), "one lot of filament"),
        (lambda t: t.assign(filament_lot="A"), "one lot of filament"),
        (lambda t: t.assign(over_range=(t["filament_lot"] == "A") & (t["turn"] < 7)), "over the range"),
        (lambda t: t.assign(reading=100.0), "equal"),
    ],
)
def test_bad_input_is_said(changed, says: str) -> None:
    with pytest.raises(FitError, match=says):
        lot_steps(changed(study()), scale="log")


def rejections(trials: int) -> float:
    return float(np.mean([lot_steps(study(seed), scale="log").differences.p[0] < 0.05 for seed in range(trials)]))


def test_false_steps() -> None:
    """30 studies without a step: within four Monte-Carlo errors of 5 %."""
    assert rejections(30) <= 0.05 + 4 * math.sqrt(0.05 * 0.95 / 30)


@pytest.mark.slow
def test_false_steps_long_run() -> None:
    """1,000 studies without a step: within three Monte-Carlo errors of 5 %."""
    assert abs(rejections(1000) - 0.05) < 3 * math.sqrt(0.05 * 0.95 / 1000)
