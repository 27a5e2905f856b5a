"""What each cut does to its edge."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from sharpstats.columns import RESULTS
from sharpstats.errors import FitError
from sharpstats.tester.circumstances import fit_slopes, slope_of
from sharpstats.tester.wear import Wear, find_wear


def study(seed: int = 1, *, wear: float = 0.0, differ: float = 0.0, places: str = "shuffled", edges: int = 6,
          cuts: int = 8) -> pd.DataFrame:  # fmt: skip
    """Edges cut one after another, each at `cuts` places."""
    rng = np.random.default_rng(seed)
    rows = []
    for edge in range(edges):
        place = np.arange(cuts) if places == "in order" else rng.permutation(cuts)
        slope = wear + differ * rng.standard_normal()
        logs = 5 + 0.2 * rng.standard_normal() + slope * np.arange(cuts) + 0.05 * rng.standard_normal(cuts)
        rows.append(pd.DataFrame({"edge": f"e{edge}", "order": np.arange(cuts) + 1.0, "reading": np.exp(logs),
                                  "position_mm": 10.0 + 5 * place}))  # fmt: skip
    return pd.concat(rows, ignore_index=True)


def wear(table: pd.DataFrame) -> Wear:
    return find_wear(table, scale="log")


class TestSlope:
    def test_found_within_its_interval(self) -> None:
        found = wear(study(wear=0.02))
        assert 0 < found.slope.low < 0.02 < found.slope.high
        assert found.most == 8

    def test_by_least_squares_where_all_is_balanced(self) -> None:
        """With the same orders on every edge, edges fixed and random agree: statsmodels, 7 digits."""
        table = study(wear=0.02).drop(columns="position_mm")
        found = wear(table)
        x = np.column_stack([pd.get_dummies(table["edge"]), table["order"]]).astype(float)
        ols = sm.OLS(np.log(table["reading"].to_numpy()), x).fit()
        assert found.slope.estimate == pytest.approx(ols.params[-1], rel=1e-9)
        assert (found.slope.low, found.slope.high) == pytest.approx(tuple(ols.conf_int()[-1]), rel=1e-6)
        assert found.slope_removed.sd == pytest.approx(math.sqrt(ols.mse_resid), rel=1e-6)

    def test_slopes_that_differ(self) -> None:
        """The F test of one slope against one for each edge: statsmodels, 8 digits."""
        table = study(differ=0.03)
        found = wear(table)
        edges = pd.get_dummies(table["edge"]).to_numpy(float)
        y, order = np.log(table["reading"].to_numpy()), table["order"].to_numpy()[:, None]
        one = sm.OLS(y, np.hstack([edges, order])).fit()
        each = sm.OLS(y, np.hstack([edges, edges * order])).fit()
        assert found.by_edge.differ == pytest.approx(each.compare_f_test(one)[1], rel=1e-8)
        np.testing.assert_allclose(found.by_edge.slopes, each.params[6:], rtol=1e-8)
        assert found.by_edge.mean.se > 1.5 * found.slope.se

    def test_removing_it_tightens_repeatability(self) -> None:
        found = wear(study(wear=0.04))
        assert found.slope_removed.sd < 0.75 * found.as_it_is.sd
        assert found.slope_removed.low < 0.05 < found.slope_removed.high

    def test_unit_names_and_order_of_rows(self) -> None:
        table = study(wear=0.02)
        one = wear(table)
        other = wear(table.assign(reading=table["reading"] * 0.00980665, edge="x" + table["edge"].str[::-1])
                     .sample(frac=1, random_state=2))  # fmt: skip
        assert other.slope.estimate == pytest.approx(one.slope.estimate, rel=1e-7)
        assert other.along.slope.estimate == pytest.approx(one.along.slope.estimate, rel=1e-6)

    def test_reversed_order_flips_it(self) -> None:
        table = study(wear=0.02)
        other = wear(table.assign(order=9 - table["order"]))
        assert other.slope.estimate == pytest.approx(-wear(table).slope.estimate, rel=1e-7)


class TestPlace:
    def test_order_and_place_that_go_together(self) -> None:
        found = wear(study(places="in order"))
        assert found.like_place
        assert found.along is None

    def test_a_change_along_the_edge(self) -> None:
        table = study()
        table["reading"] *= np.exp(0.04 * (table["position_mm"] - 10) / 10)
        found = wear(table)
        assert not found.like_place
        assert found.along.slope.low < 0.04 < found.along.slope.high
        assert found.along.span == 35

    def test_a_bent_profile(self) -> None:
        table = study()
        place = (table["position_mm"] - 10) / 35
        table["reading"] *= np.exp(-0.2 * (1 - (2 * place - 1) ** 2))
        found = wear(table)
        assert found.along.bow.low < -0.2 < found.along.bow.high

    def test_some_places_missing_is_said(self) -> None:
        table = study()
        table.loc[3, "position_mm"] = np.nan
        found = wear(table)
        assert found.along is None
        assert [note.code for note in found.notes] == ["places-missing"]


class TestDrift:
    def test_all_edges_cut_round_and_round(self) -> None:
        table = study(wear=0.02).sort_values(["order", "edge"]).assign(turn=np.arange(48.0))
        found = wear(table)
        assert found.like_drift
        assert found.without_drift is None

    def test_order_of_all_cuts_unknown(self) -> None:
        found = wear(study())
        assert not found.like_drift


def test_table() -> None:
    table = wear(study().assign(turn=lambda t: t.sample(frac=1, random_state=1).index.argsort() * 1.0)).table
    assert set(table.columns) <= {column.name for column in RESULTS}
    assert table["term"].iloc[0] == "each cut"


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        (lambda t: t.drop(columns="order"), "Nothing says in which order"),
        (lambda t: t.assign(order=np.nan), "Nothing says in which order"),
        (lambda t: t.head(9), "9 cut\\(s\\) cannot show"),
        (lambda t: t.assign(edge=[f"x{k}" for k in range(48)], order=1.0), "Each edge has one cut"),
        (lambda t: t.assign(reading=100.0), "equal"),
        (lambda t: t.assign(over_range=True), "0 cut\\(s\\)"),
    ],
)
def test_bad_input_is_said(changed, says: str) -> None:
    with pytest.raises(FitError, match=says):
        wear(changed(study()))


def false_wear(trials: int) -> float:
    def p_of(seed: int) -> float:
        table = study(seed, cuts=4)
        fit = fit_slopes(table, np.log(table["reading"].to_numpy()), {"order": (table["order"].to_numpy(), 1.0)})
        slope = slope_of(fit, "order", 1.0)
        assert slope is not None
        return slope.p

    return float(np.mean([p_of(seed) < 0.05 for seed in range(trials)]))


def test_false_wear() -> None:
    """80 studies without wear: within four Monte-Carlo errors of 5 %."""
    assert false_wear(80) <= 0.05 + 4 * math.sqrt(0.05 * 0.95 / 80)


@pytest.mark.slow
def test_false_wear_long_run() -> None:
    """2,000 studies without wear: within three Monte-Carlo errors of 5 %."""
    assert abs(false_wear(2000) - 0.05) < 3 * math.sqrt(0.05 * 0.95 / 2000)
