"""Deviations of cuts from their like."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from sharpstats.errors import FitError
from sharpstats.tester.series import cut_series


def crossed(seed: int = 1, cuts: int = 3) -> pd.DataFrame:
    """Four edges by two operators in random order."""
    rng = np.random.default_rng(seed)
    cells = [(f"e{e}", f"op {o}") for e in range(4) for o in range(2) for _ in range(cuts)]
    table = pd.DataFrame(cells, columns=["edge", "operator"]).iloc[rng.permutation(len(cells))]
    return table.assign(reading=rng.uniform(90, 110, len(cells)), turn=np.arange(len(cells)) + 1.0)


def leverages(columns: list[pd.Series]) -> tuple[np.ndarray, np.ndarray]:
    """Residual maker of a plain linear model, by its definition."""
    x = np.hstack([pd.get_dummies(column).to_numpy(float) for column in columns])
    return np.eye(len(x)) - x @ np.linalg.pinv(x)


@pytest.mark.parametrize("cuts", [3, 1])
def test_deviations_are_scaled_residuals(cuts: int) -> None:
    """Cell means where cells have several cuts, else edge and operator one by one; by dense matrices."""
    table = crossed(cuts=cuts) if cuts > 1 else pd.DataFrame({
        "edge": [f"e{k}" for k in range(12)] * 2, "operator": ["p"] * 12 + ["q"] * 12, "turn": np.arange(24.0),
        "reading": np.random.default_rng(2).uniform(90, 110, 24)})  # fmt: skip
    found = cut_series(table, "as read")
    used = table.sort_values("turn")
    marks = [used["edge"] + used["operator"]] if cuts > 1 else [used["edge"], used["operator"]]
    maker = leverages(marks)
    np.testing.assert_allclose(
        found.deviations, maker @ used["reading"].to_numpy() / np.sqrt(maker.diagonal()), atol=1e-10
    )
    scaled = maker / np.sqrt(np.outer(maker.diagonal(), maker.diagonal()))
    np.testing.assert_allclose(found.neighbours**2, 2 - 2 * np.diag(scaled, 1), atol=1e-10)
    assert found.df == pytest.approx(np.trace(maker))
    exog = pd.concat([pd.get_dummies(mark, dtype=float) for mark in marks], axis=1)
    ols = sm.OLS(used["reading"].to_numpy(), exog.to_numpy() if cuts > 1 else exog.to_numpy()[:, :-1]).fit()
    np.testing.assert_allclose(found.deviations * found.own, ols.resid, atol=1e-9)


def test_one_thing_read_again_and_again_keeps_its_readings() -> None:
    table = pd.DataFrame({"reading": np.arange(12.0), "turn": np.arange(12)[::-1]})
    found = cut_series(table, "as read")
    np.testing.assert_allclose(found.deviations, np.arange(12.0)[::-1])
    assert (found.df, found.taken_out) == (11.0, ())
    np.testing.assert_allclose(found.neighbours, np.sqrt(2))


@settings(max_examples=15)
@given(st.integers(0, 10_000))
def test_row_order_and_names_do_not_matter(seed: int) -> None:
    table = crossed()
    mixed = table.sample(frac=1, random_state=seed).replace({"edge": {"e0": "z", "e3": "a"}})
    np.testing.assert_allclose(cut_series(mixed, "log").deviations, cut_series(table, "log").deviations, atol=1e-12)


def test_the_log_scale_knows_no_unit() -> None:
    table = crossed()
    other = table.assign(reading=table["reading"] * 0.00980665)
    np.testing.assert_allclose(cut_series(other, "log").deviations, cut_series(table, "log").deviations, atol=1e-9)


def test_edges_over_the_range_are_left_out_and_said() -> None:
    table = crossed().assign(over_range=lambda t: (t["turn"] == t.loc[t["edge"] == "e2", "turn"].iloc[0]))
    found = cut_series(table, "log")
    assert "e2" not in set(found.cuts["edge"])
    assert [note.code for note in found.notes] == ["over-range-left-out"]
    assert "All 6 of the same edge" in found.notes[0].text


def test_a_cut_without_its_like_is_left_out_and_said() -> None:
    single = pd.DataFrame({"edge": ["e9"], "operator": ["op 0"], "reading": [300.0], "turn": [0.5]})
    table = pd.concat([crossed(), single])
    found = cut_series(table, "log")
    assert "e9" not in set(found.cuts["edge"])
    assert [note.code for note in found.notes] == ["no-like"]


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        (lambda t: t.drop(columns="turn"), "Nothing says in which order"),
        (lambda t: t.assign(turn=np.nan), "Nothing says in which order"),
        (lambda t: t.assign(turn=1.0), "same place \\(1\\)"),
        (lambda t: t.head(9).assign(edge="e0", operator="p"), "9 reading\\(s\\) in order can show no drift"),
        (lambda t: t.assign(reading=100.0), "All readings are equal"),
        (lambda t: t.assign(reading=t.groupby("edge")["turn"].transform("min")), "same edge, operator are equal"),
        (lambda t: t.head(12).assign(edge=list("aabbccddeeff"), operator="p"), "6 degree"),
        (lambda t: t.assign(reading=t["reading"] - 95), "not above zero"),
    ],
)  # fmt: skip
def test_bad_input_is_said(changed, says: str) -> None:
    with pytest.raises(FitError, match=says):
        cut_series(changed(crossed()), "log")
