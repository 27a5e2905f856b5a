"""Drift of the control edges: least squares by an outside program, and what cannot be told."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sharpstats.model.controls import control_drift


def controls(means: list[float], orders: list[float], kinds: list[str] | None = None) -> pd.DataFrame:
    count = len(means)
    return pd.DataFrame({"edge": [f"c{i}" for i in range(count)], "kind": kinds or ["stone on C1"] * count,
                         "order": orders, "mean": means, "reading": np.exp(means)})  # fmt: skip


class TestAgainstScipy:
    @given(st.lists(st.floats(4, 6), min_size=4, max_size=9, unique=True))
    def test_one_kind_is_a_straight_line(self, means: list[float]) -> None:
        orders = [1.0 + 3 * i for i in range(len(means))]
        found = control_drift(controls(means, orders), 1, 40, 0.95)
        line = stats.linregress(orders, means)
        assert found is not None
        assert found.df == len(means) - 2
        assert found.estimate == pytest.approx(39 * line.slope, rel=1e-8, abs=1e-10)
        assert found.se == pytest.approx(39 * line.stderr, rel=1e-6, abs=1e-10)
        reach = stats.t.isf(0.025, found.df) * found.se
        assert (found.low, found.high) == pytest.approx((found.estimate - reach, found.estimate + reach))


class TestTheory:
    def test_a_straight_rise_is_its_whole_height(self) -> None:
        found = control_drift(controls([5.0, 5.1, 5.2], [1, 11, 21], None), 1, 21, 0.9)
        assert found is not None
        assert (found.estimate, found.df, found.level, found.edges) == pytest.approx((0.2, 1, 0.9, 3))
        assert found.p < 1e-6

    def test_kinds_have_levels_of_their_own(self) -> None:
        """Two kinds far apart, each rising by 0.2 in 20 runs: the gap between them is no drift."""
        found = control_drift(
            controls([5.0, 5.2, 7.01, 7.19], [1, 21, 1, 21], ["slate", "slate", "film", "film"]), 1, 21, 0.95
        )
        assert found is not None
        assert found.estimate == pytest.approx(0.19)
        assert found.df == 1

    def test_no_change_at_all(self) -> None:
        found = control_drift(controls([5.0, 5.0, 5.0], [1, 2, 3]), 1, 3, 0.95)
        assert found is not None
        assert (found.estimate, found.se, found.p) == (0.0, 0.0, 1.0)

    def test_the_table_tells_each_control_edge(self) -> None:
        found = control_drift(controls([5.0, 5.1, 5.3], [1, 2, 3]), 1, 3, 0.95)
        assert found is not None
        assert found.table.columns.tolist() == ["edge", "order", "mean", "reading"]
        assert found.table["edge"].tolist() == ["c0", "c1", "c2"]


class TestNothingToTest:
    @pytest.mark.parametrize(("means", "orders", "kinds"), [
        ([5.0, 5.1], [1, 2], None),  # two control edges
        ([5.0, 5.1, 5.2], [4, 4, 4], None),  # all made at one place
        ([5.0, 5.1, 5.2], [1, 2, 3], ["a", "b", "c"]),  # each made once
        ([5.0, 5.1, 5.2], [1, 2, 3], ["a", "a", "b"]),  # no df left
    ])  # fmt: skip
    def test_none(self, means: list[float], orders: list[float], kinds: list[str] | None) -> None:
        assert control_drift(controls(means, orders, kinds), 1, 10, 0.95) is None

    def test_a_trial_of_one_place(self) -> None:
        assert control_drift(controls([5.0, 5.1, 5.2], [1, 1, 1]), 1, 1, 0.95) is None
