"""The tester over the order of its cuts."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from reference.stored import stored_table

from sharpstats.columns import MASSES, RESULTS, TESTED
from sharpstats.errors import FitError
from sharpstats.tester.circumstances import fit_slopes, slope_of
from sharpstats.tester.drift import Stability, find_stability, mass_stability


def study(seed: int = 1, *, trend: float = 0.0, step: float = 0.0, wear: float = 0.0, cuts: int = 4) -> pd.DataFrame:
    """Six edges, two operators, `cuts` each, in random order; the second half with a new lot."""
    rng = np.random.default_rng(seed)
    cells = [(f"e{e}", f"op {o}") for e in range(6) for o in range(2) for _ in range(cuts)]
    table = pd.DataFrame(cells, columns=["edge", "operator"]).iloc[rng.permutation(len(cells))].reset_index(drop=True)
    n = len(table)
    table["turn"] = np.arange(n) + 1.0
    table["order"] = table.groupby("edge").cumcount() + 1.0
    table["filament_lot"] = np.where(np.arange(n) < n // 2, "A", "B")
    high = table["edge"].map(dict(zip([f"e{k}" for k in range(6)], rng.normal(0, 0.2, 6), strict=True)))
    logs = 5 + high + trend * table["turn"] / 100 + step * (table["filament_lot"] == "B") + wear * table["order"]
    return table.assign(reading=np.exp(logs + rng.normal(0, 0.05, n)), over_range=False)


def stability(table: pd.DataFrame, **options: Any) -> Stability:
    return find_stability(table, **({"scale": "log"} | options))


class TestSteady:
    def test_a_steady_tester(self) -> None:
        found = stability(study())
        assert found.alarms.steady
        assert found.trend is not None
        assert found.trend.slope.low < 0 < found.trend.slope.high
        assert found.lots is not None
        assert found.lots.differences.low[0] < 0 < found.lots.differences.high[0]
        assert found.limits.sd_neighbours == pytest.approx(0.05, rel=0.3)
        assert found.notes == ()

    def test_the_table_has_one_row_a_cut(self) -> None:
        table = stability(study()).table
        assert list(table["turn"]) == sorted(table["turn"])
        assert set(table.columns) <= {column.name for column in RESULTS} | set(TESTED.names)
        assert len(table) == 48

    def test_nothing_depends_on_the_unit_or_the_order_of_rows(self) -> None:
        table = study(step=0.1)
        one = stability(table)
        other = stability(table.assign(reading=table["reading"] * 0.00980665).sample(frac=1, random_state=2), unit="N")
        np.testing.assert_allclose(other.series.deviations, one.series.deviations, atol=1e-9)
        assert other.alarms.signals == one.alarms.signals
        assert other.trend.slope.estimate == pytest.approx(one.trend.slope.estimate, rel=1e-6)


class TestDrifting:
    def test_a_step_is_seen_and_put_down_to_the_lot(self) -> None:
        found = stability(study(step=0.2))
        assert not found.alarms.steady
        assert found.lots.differences.low[0] > 0
        assert found.trend.lots_held
        assert found.trend.slope.low < 0 < found.trend.slope.high
        assert found.limits.sd_all > 1.3 * found.limits.sd_neighbours

    def test_a_trend_within_one_lot(self) -> None:
        found = stability(study(trend=0.4).drop(columns="filament_lot"))
        assert found.trend.slope.low > 0
        assert found.trend.slope.low < 0.4 < found.trend.slope.high
        assert not found.trend.lots_held
        assert found.lots is None

    def test_reversed_order_flips_the_trend(self) -> None:
        table = study(trend=0.4).drop(columns=["filament_lot", "order"])
        one = stability(table)
        other = stability(table.assign(turn=table["turn"].max() + 1 - table["turn"]))
        assert other.trend.slope.estimate == pytest.approx(-one.trend.slope.estimate, rel=1e-6)
        assert other.trend.slope.high == pytest.approx(-one.trend.slope.low, rel=1e-5)
        assert other.limits.sd_neighbours == pytest.approx(one.limits.sd_neighbours)

    def test_wear_that_goes_with_the_order_is_not_told_from_it(self) -> None:
        """Edges cut round and round: every edge's third cut comes in the third round."""
        table = study(wear=0.01).drop(columns="filament_lot")
        table = table.sort_values(["order", "edge"]).assign(turn=np.arange(48) + 1.0)
        found = stability(table)
        assert found.trend.like_wear
        assert found.trend.without_wear is None

    def test_wear_beside_a_trend(self) -> None:
        """Edges cut one after another: their wear starts anew with each."""
        table = study(wear=0.02).drop(columns=["filament_lot", "operator"])
        table = table.sort_values(["edge", "order"]).assign(turn=np.arange(48) + 1.0)
        found = stability(table)
        assert found.trend.without_wear is not None
        assert not found.trend.like_wear


class TestOneReference:
    def test_the_check_standard_of_the_handbook(self) -> None:
        """NIST/SEMATECH e-Handbook 2.6.2: mean 97.0698, SD 0.02680 of 25 days (recalled), moving ranges by hand."""
        table = stored_table("gauge/nist_mpc62_check_standard")
        found = find_stability(
            pd.DataFrame({"reading": table["average"], "turn": np.arange(25.0)}), scale="as read", unit="N"
        )
        assert found.limits.centre == pytest.approx(97.0698, abs=5e-5)
        assert found.limits.sd_all * 0.98964 == pytest.approx(0.02680, abs=2e-5)
        moving = np.abs(np.diff(table["average"].to_numpy()))
        assert found.limits.sd_neighbours == pytest.approx(moving.mean() * math.sqrt(math.pi) / 2, rel=1e-12)
        assert found.alarms.steady
        assert found.series.taken_out == ()

    def test_its_trend_is_least_squares(self) -> None:
        """statsmodels, 8 digits."""
        table = stored_table("gauge/nist_mpc62_check_standard")
        turn = np.arange(25.0)
        found = find_stability(pd.DataFrame({"reading": table["average"], "turn": turn}), scale="as read")
        ols = sm.OLS(table["average"].to_numpy(), sm.add_constant(turn)).fit()
        assert found.trend.slope.estimate == pytest.approx(100 * ols.params[1], rel=1e-8)
        assert found.trend.slope.high == pytest.approx(100 * ols.conf_int()[1][1], rel=1e-7)


class TestKnownLoads:
    def loads(self) -> pd.DataFrame:
        rng = np.random.default_rng(8)
        table = pd.DataFrame({"applied": [200.0, 500.0, 1000.0, 500.0] * 10, "run": range(1, 41),
                              "direction": ["up", "up", "up", "down"] * 10})  # fmt: skip
        reading = 1.02 * table["applied"] + 3.0 * (table["direction"] == "down") + 0.05 * table["run"]
        return table.assign(reading=reading + rng.standard_normal(40))

    def test_scale_and_hysteresis_are_no_drift(self) -> None:
        table = self.loads()
        found = mass_stability(table)
        level = table["reading"] + 0.1 * table["applied"] - 7 * (table["direction"] == "down")
        other = mass_stability(table.assign(reading=level))
        assert found.series.taken_out == ("load", "direction")
        np.testing.assert_allclose(other.series.deviations, found.series.deviations, atol=1e-9)
        assert other.trend.slope.estimate == pytest.approx(found.trend.slope.estimate, rel=1e-8)
        assert found.limits.sd_neighbours == pytest.approx(1.0, rel=0.3)

    def test_a_drift_of_five_in_a_hundred_readings(self) -> None:
        found = mass_stability(self.loads())
        assert 0 < found.trend.slope.low < 5 < found.trend.slope.high
        assert set(found.table.columns) <= {column.name for column in (*RESULTS, *MASSES)}

    def test_loads_without_their_order(self) -> None:
        with pytest.raises(FitError, match="Nothing says in which order the readings"):
            mass_stability(self.loads().drop(columns="run"))


class TestSaid:
    def test_what_cannot_be_told_is_a_note(self) -> None:
        table = study()
        table.loc[table["turn"] > 40, "over_range"] = True
        table["edge"] = np.where(table["turn"] > 40, "late", table["edge"])
        table["filament_lot"] = np.where(table["turn"] > 40, "B", "A")
        found = stability(table)
        assert [note.code for note in found.notes] == ["over-range-left-out", "no-lot-step"]
        assert found.lots is None

    def test_an_unknown_order(self) -> None:
        with pytest.raises(FitError, match="Nothing says in which order"):
            stability(study().drop(columns="turn"))


def false_trends(trials: int) -> float:
    def p_of(seed: int) -> float:
        table = study(seed, cuts=2)
        values = np.log(table["reading"].to_numpy())
        fit = fit_slopes(table, values, {"turn": (table["turn"].to_numpy(), 100.0)}, fixed=["filament_lot"])
        slope = slope_of(fit, "turn", 100.0)
        assert slope is not None
        return slope.p

    return float(np.mean([p_of(seed) < 0.05 for seed in range(trials)]))


def test_false_trends() -> None:
    """40 steady studies: within four Monte-Carlo errors of 5 %."""
    assert false_trends(40) <= 0.05 + 4 * math.sqrt(0.05 * 0.95 / 40)


@pytest.mark.slow
def test_false_trends_long_run() -> None:
    """2,000 steady studies: within three Monte-Carlo errors of 5 %."""
    assert abs(false_trends(2000) - 0.05) < 3 * math.sqrt(0.05 * 0.95 / 2000)


def test_what_changed_is_told_among_all_that_was_looked_at() -> None:
    """Holm by hand: the smallest p times the number of things, the next times one less, and so on."""
    rng = np.random.default_rng(12)
    told = 0
    for _ in range(20):
        table = pd.DataFrame({
            "reading": 100 + rng.standard_normal(40) + np.linspace(0, rng.uniform(0, 2), 40),
            "turn": np.arange(40.0), "filament_lot": np.repeat(["a", "b", "a", "b"], 10),
        })  # fmt: skip
        found = find_stability(table, scale="as read")
        ordered = sorted(found.looked_at.items(), key=lambda item: item[1])
        by_hand = set()
        for place, (name, p) in enumerate(ordered):
            if p * (len(ordered) - place) >= 0.05:
                break
            by_hand.add(name)
        assert found.changed == by_hand
        assert set(found.looked_at) == {"pattern", "trend", "lots"}
        told += bool(by_hand)
    assert 0 < told < 20
