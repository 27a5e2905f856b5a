"""An uncertainty budget as a picture: what each contribution adds, the largest first, and the whole."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sharpstats.figures.axis import lanes, plain_axis
from sharpstats.figures.frame import BELOW, MARGIN, ROOM, ground, headed, small_lines
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import INK, INKS, NORMAL, clipped, place, styled, text_width
from sharpstats.tester.budget import Budget
from sharpstats.words.labels import clip
from sharpstats.words.numbers import NBSP, fixed, level_percent
from sharpstats.words.tester.budget import WHOLE, digits_of, part_digits, uncertainty_sentence, with_unit, with_whole

TITLE = "What the uncertainty is made of"
NAME, LANE, BAR = 0.18, 0.56, 0.075


def budget_picture(found: Budget) -> Picture:
    """Draw what each contribution adds to the uncertainty of a result.

    Parameters
    ----------
    found : Budget

    Returns
    -------
    Picture
        Its data have one row a contribution and one for the whole: what it adds, and its share of the variance.
    """
    data = with_whole(found)[["term", "contribution", "share"]].copy()
    data["y"] = [LANE * i + NAME + 0.16 for i in range(len(data))]
    with styled():
        figure = _draw(found, data)
    told = "; ".join(_tell(found, row) for row in data.to_dict("records")[:-1])
    alt = f"{uncertainty_sentence(found)} By size: {told}."
    return Picture("budget", TITLE, alt, data, figure)


def _draw(found: Budget, data: pd.DataFrame) -> Figure:
    height = LANE * len(data) + 0.05
    figure, top = headed(TITLE, small_lines(uncertainty_sentence(found), lines=2), 0.12 + height + BELOW)
    axes = place(figure, MARGIN, top + 0.12, ROOM, height)
    lanes(axes, height)
    unit = f", {found.unit}" if found.unit else ""
    plain_axis(
        axes, (0.0, 1.04 * max(found.expanded, float(data["contribution"].max()))), f"standard uncertainty{unit}"
    )
    for row in data.to_dict("records"):
        _draw_row(axes, found, row)
    return figure


def _draw_row(axes: Axes, found: Budget, row: dict[Hashable, Any]) -> None:
    """Draw a bar for the standard uncertainty; the whole goes on to the expanded uncertainty."""
    size, y = float(row["contribution"]), float(row["y"])
    whole = row["term"] == WHOLE
    text = _whole_text(found) if whole else _text(found, row)
    name = clipped(row["term"], ROOM - text_width(text, NORMAL, whole), bold=whole)
    axes.text(0, y - 0.21, name + text, transform=axes.get_yaxis_transform(), va="center",
              fontweight="bold" if whole else "normal",
              bbox=ground())  # fmt: skip
    axes.fill_between([0, size], y - BAR, y + BAR, color=INK if whole else INKS[0], linewidth=0,
                      label="whole" if whole else "part")  # fmt: skip
    if whole:
        axes.plot([size, found.expanded], [y, y], color=INK, linewidth=1.6, solid_capstyle="butt", label="expanded")
        axes.plot([found.expanded], [y], "|", color=INK, markersize=13, markeredgewidth=1.8, label="expanded end")


def _text(found: Budget, row: dict[Hashable, Any]) -> str:
    size, share = float(row["contribution"]), float(row["share"])
    return f": {with_unit(size, found.unit, part_digits(found))}, {fixed(share)}{NBSP}% of the variance"


def _whole_text(found: Budget) -> str:
    combined = with_unit(found.combined, found.unit, part_digits(found))
    expanded = with_unit(found.expanded, found.unit, digits_of(found))
    return f": {combined}; the line to {expanded} for {level_percent(found.level)}"


def _tell(found: Budget, row: dict[Hashable, Any]) -> str:
    return clip(row["term"]) + _text(found, row).removeprefix(":")
