"""Where the spread of a tester's readings comes from: each part, and sums of parts, with their intervals."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sharpstats.figures.axis import lanes, plain_axis
from sharpstats.figures.frame import BELOW, MARGIN, ROOM, ground, headed, small_lines
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import GROUND, INK, INKS, NORMAL, RULE, SOFT, clipped, place, styled, text_width
from sharpstats.tester.spreads import Spreads
from sharpstats.units import Unit
from sharpstats.words.numbers import NBSP, amount, amounts, decimals_for, fixed, from_scale, level_percent, unit_on
from sharpstats.words.tester.spreads import named, repeatability_sentence

TITLE = "Where the spread of the readings comes from"
NAME, ROW, GAP, HEAD = 0.25, 0.6, 0.12, 0.3
BEYOND = 3.0
"""An interval that ends beyond so many times the largest SD is drawn with an arrow, so as not to squeeze the others."""


def spreads_picture(found: Spreads) -> Picture:
    """Draw the SD of each part and of each sum.

    Parameters
    ----------
    found : Spreads

    Returns
    -------
    Picture
        Its data have one row a part or sum: percent on the log scale, force otherwise; `reml`, `reml_low` and
        `reml_high` are the same by restricted maximum likelihood, for parts alone.
    """
    data = _data(found)
    with styled():
        figure = _draw(found, data)
    unit, level = unit_on(found.scale, found.unit), level_percent(found.level)
    told = "; ".join(_tell(row, unit) for _, row in data.iterrows())
    alt = f"{repeatability_sentence(found)} Standard deviations with {level} intervals: {told}."
    return Picture("tester-spreads", TITLE, alt, data, figure)


def _data(found: Spreads) -> pd.DataFrame:
    reml = found.by_likelihood.rename(columns={"sd": "reml", "low": "reml_low", "high": "reml_high"})
    data = found.table.merge(reml[["term", "reml", "reml_low", "reml_high"]], on="term", how="left")
    names = ["sd", "low", "high", "reml", "reml_low", "reml_high"]
    data[names] = [[from_scale(value, found.scale) for value in row] for row in data[names].to_numpy().tolist()]
    data["part"] = np.where(data["term"].isin(found.terms), "part", "sum")
    data["y"] = HEAD + ROW * np.arange(len(data)) + (HEAD + GAP) * (data["part"] == "sum") + NAME + 0.1
    return data.drop(columns="variance")


def _draw(found: Spreads, data: pd.DataFrame) -> Figure:
    height, unit = float(data["y"].iloc[-1]) + 0.3, unit_on(found.scale, found.unit)
    key = f"thick: {level_percent(found.level)} interval; thin, below it: by restricted maximum likelihood"
    lines = [*small_lines(repeatability_sentence(found), lines=3), key]
    figure, top = headed(TITLE, lines, 0.15 + height + BELOW)
    axes = place(figure, MARGIN, top + 0.15, ROOM, height)
    lanes(axes, height)
    plain_axis(axes, (0.0, 1.06 * _farthest(data)), f"standard deviation, {unit}")
    _head(axes, 0.0, "parts")
    if (data["part"] == "sum").any():
        _head(axes, float(data.loc[data["part"] == "sum", "y"].iloc[0]) - NAME - 0.1 - HEAD, "sums of parts")
    digits = decimals_for(float(data["sd"].median()), unit)
    for i in range(len(data)):
        _row(axes, data.iloc[i], f"SD {amount(float(data['sd'].iloc[i]), unit, digits)}")
    return figure


def _head(axes: Axes, y: float, text: str) -> None:
    across = axes.get_yaxis_transform()
    axes.plot([0, 1], [y + 0.02] * 2, color=RULE, linewidth=1, transform=across)
    axes.text(0, y + 0.07, text, fontsize=NORMAL, fontweight="bold", va="top", transform=across,
              bbox=ground(1.0))  # fmt: skip


def _row(axes: Axes, row: pd.Series, sd: str) -> None:
    y, own = float(row["y"]), row["part"] == "part"
    text = f": {sd}, {fixed(float(row['share']))}{NBSP}% of the variance"
    name = clipped(named(row["term"]), ROOM - text_width(text, NORMAL))
    axes.text(0, y - 0.19, name + text, transform=axes.get_yaxis_transform(), va="center",
              bbox=ground())  # fmt: skip
    _interval(axes, y + 0.02, float(row["low"]), float(row["high"]), 2.4, "interval")
    if own:
        _interval(axes, y + 0.12, float(row["reml_low"]), float(row["reml_high"]), 0.9, "reml interval")
        axes.plot([row["reml"]], [y + 0.12], "|", color=SOFT, markersize=6, clip_on=False, label="reml")
    axes.plot([row["sd"]], [y + 0.02], "o" if own else "s", color=INKS[0] if own else INKS[1], markersize=7,
              markeredgecolor=GROUND, clip_on=False, label="sd", zorder=4)  # fmt: skip


def _interval(axes: Axes, y: float, low: float, high: float, thick: float, name: str) -> None:
    """Draw an interval; one that leaves the picture ends in an arrow."""
    end = axes.get_xlim()[1]
    colour = INK if thick > 1 else SOFT
    axes.plot([low, min(high, end)], [y, y], color=colour, linewidth=thick, solid_capstyle="butt", label=name)
    if high > end:
        axes.plot([end], [y], ">", color=colour, markersize=3 + thick, clip_on=False, label=f"{name} goes on")


def _farthest(data: pd.DataFrame) -> float:
    """End of the axis: the farthest limit, but not far beyond the largest SD."""
    most = float(data["sd"].max())
    ends = [float(value) for value in data[["high", "reml_high"]].to_numpy().ravel() if math.isfinite(value)]
    return min(max([most, *ends]), BEYOND * most) or 1.0


def _tell(row: pd.Series, unit: Unit) -> str:
    digits = decimals_for(float(row["sd"]) or None, unit)
    limits = amounts(float(row["low"]), float(row["high"]), unit, digits)
    return f"{named(row['term'])} {amount(float(row['sd']), unit, digits)} ({limits})"
