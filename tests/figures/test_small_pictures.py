"""Spread, residuals, drift, and the album of all."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from scipy import stats

from sharpstats.claims.finding import Findings
from sharpstats.figures import album, claim_pictures, drift_picture, residuals_picture, spread_picture


def points(axes: Axes, label: str) -> np.ndarray:
    return np.concatenate([np.column_stack(line.get_data()) for line in axes.get_lines() if line.get_label() == label])


def test_spread_draws_the_components_as_percentages(judged: Findings) -> None:
    picture, table = spread_picture(judged.fit), judged.fit.components.table
    axes = picture.figure.axes[0]
    np.testing.assert_allclose(picture.data["sd"], 100 * np.expm1(table["sd"]))
    np.testing.assert_allclose(points(axes, "sd")[:, 0], picture.data["sd"])
    np.testing.assert_allclose(points(axes, "interval")[::2, 0], picture.data["low"])
    np.testing.assert_allclose(points(axes, "interval")[1::2, 0], picture.data["high"])
    assert axes.get_xlabel() == "standard deviation, %"
    assert "standard deviation with its 95\u00a0% interval" in [text.get_text() for text in picture.figure.texts]
    for term in table["term"]:
        assert any(text.get_text().startswith(term) for text in axes.texts)


def test_spread_in_newtons(tiny: Findings) -> None:
    picture = spread_picture(tiny.fit)
    np.testing.assert_allclose(picture.data["sd"], tiny.fit.components.table["sd"])
    assert picture.figure.axes[0].get_xlabel() == "standard deviation, N"


def test_an_endless_interval_does_not_squeeze_the_others() -> None:
    table = pd.DataFrame({"term": ["edge", "cut"], "sd": [0.05, 0.08], "low": [0.0, 0.07], "high": [math.inf, 0.09],
                          "level": [0.95, 0.95], "share": [30.0, 70.0]})  # fmt: skip
    fit: Any = SimpleNamespace(scale="as read", unit="N", components=SimpleNamespace(table=table, level=0.95))
    picture = spread_picture(fit)
    assert picture.figure.axes[0].get_xlim()[1] == pytest.approx(1.05 * 0.09)
    assert "edge 0.05\u00a0N, 0.00\u00a0N or more" in picture.alt


def test_residuals_against_predictions_and_normal_quantiles(judged: Findings) -> None:
    picture, edges = residuals_picture(judged.fit), judged.fit.edges.sort_values(["residual", "edge"])
    first, second = picture.figure.axes
    np.testing.assert_allclose(picture.data["residual"], 100 * np.expm1(edges["residual"]))
    np.testing.assert_allclose(picture.data["fitted"], np.exp(edges["fitted"]))
    np.testing.assert_allclose(points(first, "edges"), picture.data[["fitted", "residual"]])
    np.testing.assert_allclose(points(second, "edges"), picture.data[["quantile", "residual"]])
    blom = stats.norm.ppf((np.arange(1, len(edges) + 1) - 0.375) / (len(edges) + 0.25))
    np.testing.assert_allclose(picture.data["quantile"], blom)
    assert [axes.get_ylabel() for axes in (first, second)] == ["residual, %", "residual, %"]
    assert [axes.get_xlabel() for axes in (first, second)] == [
        "predicted reading, gf (log axis)",
        "normal quantile, standard deviations",
    ]


def test_the_farthest_edges_are_named(judged: Findings) -> None:
    picture = residuals_picture(judged.fit)
    far = picture.data.loc[picture.data["residual"].abs().nlargest(2).index, "edge"].tolist()
    for axes in picture.figure.axes:
        assert sorted(text.get_text() for text in axes.texts) == sorted(far)
    assert all(edge in picture.alt for edge in far)


def test_a_fit_without_residuals_says_so(judged: Findings) -> None:
    edges = judged.fit.edges.assign(residual=math.nan, fitted=math.nan)
    fit: Any = SimpleNamespace(edges=edges, scale="log", unit="gf", as_reading=np.exp)
    picture = residuals_picture(fit)
    assert picture.alt == "This fit keeps no residuals of single edges."
    assert picture.alt in [text.get_text() for text in picture.figure.texts]


def test_drift_draws_control_edges_in_their_order(judged: Findings) -> None:
    picture, table = drift_picture(judged.fit), judged.fit.drift.table
    assert picture is not None
    axes = picture.figure.axes[0]
    np.testing.assert_allclose(points(axes, "edges"), table[["order", "reading"]])
    cuts = judged.trial.readings[judged.trial.readings["edge"].isin(table["edge"])]
    assert sorted(points(axes, "cuts")[:, 1]) == sorted(cuts["reading"])
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("place in the order of all edges", "reading, gf")
    assert "control edges read" in picture.alt
    assert sorted(text.get_text() for text in axes.texts) == sorted(table["edge"])


def test_no_control_edges_no_picture(tiny: Findings) -> None:
    assert drift_picture(tiny.fit) is None


def test_the_album_has_each_picture_once(judged: Findings, tiny: Findings) -> None:
    assert [picture.name for picture in album(judged)] == [
        "claims", "fragility", "edges", "spread", "residuals", "drift"
    ]  # fmt: skip
    assert [picture.name for picture in album(tiny)] == [
        "claims", "fragility", "edges", "spread", "residuals"
    ]  # fmt: skip
    assert [picture.name for picture in claim_pictures(judged)] == [f"claim-{f.claim}" for f in judged.findings]


def test_hostile_labels_are_letters(hostile: Findings) -> None:
    for picture in album(hostile):
        assert "<script" not in picture.svg_text
        assert picture.png_bytes.startswith(b"\x89PNG")
