"""Where the spread comes from: the standard deviation of each component with its interval."""

from __future__ import annotations

import math

import pandas as pd
from matplotlib.figure import Figure

from sharpstats.figures.axis import lanes, plain_axis
from sharpstats.figures.frame import BELOW, MARGIN, ROOM, ground, titled
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import GROUND, INK, INKS, NORMAL, SMALL, SOFT, clipped, place, styled, text_width, write
from sharpstats.model.trialfit import TrialFit
from sharpstats.units import Unit
from sharpstats.words.labels import clip
from sharpstats.words.numbers import NBSP, amount, amounts, decimals_for, fixed, from_scale, level_percent, unit_on

TITLE = "Where the spread comes from"
NAME, ROW = 0.25, 0.62
ABOUT = {"edge": "edge (one sharpening and the next)", "cut": "cut (one spot on an edge and the next)"}


def spread_picture(fit: TrialFit) -> Picture:
    """Draw the standard deviation of each component.

    Parameters
    ----------
    fit : TrialFit

    Returns
    -------
    Picture
        Its data have one row a component: percent on the log scale, force otherwise.
    """
    table = fit.components.table
    data = table[["term", "level", "share"]].copy()
    for name in ("sd", "low", "high"):
        data[name] = [from_scale(value, fit.scale) for value in table[name]]
    data["y"] = [ROW * i + NAME + 0.13 for i in range(len(data))]
    unit = unit_on(fit.scale, fit.unit)
    with styled():
        figure = _draw(data, unit)
    told = "; ".join(_tell(data, i, unit) for i in range(len(data)))
    alt = f"Standard deviations with {level_percent(fit.components.level)} intervals. {told}."
    return Picture("spread", TITLE, alt, data, figure)


def _draw(data: pd.DataFrame, unit: Unit) -> Figure:
    height = ROW * len(data) + 0.05
    figure = titled(TITLE, 0.8 + height + BELOW)
    level = level_percent(float(data["level"].iloc[0]))
    write(figure, MARGIN, 0.47, f"standard deviation with its {level} interval", size=SMALL, colour=SOFT)
    axes = place(figure, MARGIN, 0.8, ROOM, height)
    lanes(axes, height)
    plain_axis(axes, (0.0, _farthest(data)), f"standard deviation, {unit}")
    for i in range(len(data)):
        row = data.iloc[i]
        sd, low, high, y = (float(row[name]) for name in ("sd", "low", "high", "y"))
        name = ABOUT.get(row["term"], row["term"])
        share = f"{fixed(float(row['share']))}{NBSP}% of the variance"
        text = f": SD {amount(sd, unit, _digits(data, unit))}, {share}"
        text = clipped(name, ROOM - text_width(text, NORMAL)) + text
        axes.text(0, y - 0.2, text, transform=axes.get_yaxis_transform(), va="center",
                  bbox=ground())  # fmt: skip
        right = high if math.isfinite(high) else axes.get_xlim()[1]
        axes.plot([low, right], [y + 0.03] * 2, color=INK, linewidth=2.2, solid_capstyle="butt", label="interval")
        axes.plot([sd], [y + 0.03], "o", color=INKS[0], markersize=9, markeredgecolor=GROUND, clip_on=False, label="sd")
    return figure


def _farthest(data: pd.DataFrame) -> float:
    """Return the end of the axis; one endless or very wide interval must not squeeze the others."""
    known = [float(value) for value in data["high"] if math.isfinite(value)]
    most = max([*known, float(data["sd"].max())], default=1.0)
    return 1.05 * min(most, 6 * float(data["sd"].max()) or most or 1.0) or 1.0


def _digits(data: pd.DataFrame, unit: Unit) -> int:
    return decimals_for(float(data["sd"].median()), unit)


def _tell(data: pd.DataFrame, i: int, unit: Unit) -> str:
    row, digits = data.iloc[i], _digits(data, unit)
    limits = amounts(float(row["low"]), float(row["high"]), unit, digits)
    return f"{clip(row['term'])} {amount(float(row['sd']), unit, digits)}, {limits}"
