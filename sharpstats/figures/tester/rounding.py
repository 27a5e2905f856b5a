"""How often each last digit occurs, against how often it should: for all cuts and for each operator."""

from __future__ import annotations

import math

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sharpstats.figures.axis import plain_axis
from sharpstats.figures.frame import MARGIN, headed, ruled, small_lines
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import GROUND, INK, INKS, SMALL, SOFT, WIDTH, clipped, place, styled, write
from sharpstats.tester.digits import Digits
from sharpstats.tester.grid import Grid
from sharpstats.tester.rounding import Rounding
from sharpstats.words.numbers import NBSP, count, p_value
from sharpstats.words.tester.rounding import digits_sentence

TITLE = "Last digits of the readings"
LEFT, RIGHT, HEIGHT, BETWEEN = 0.75, 0.2, 1.35, 0.62
KEY = "Numbers: cuts. Black lines: what to expect. Hatched: too often."
MOST = 6
"""Operators that have a panel of their own; the table has all."""


def rounding_picture(found: Rounding) -> Picture | None:
    """Draw the last digits.

    Parameters
    ----------
    found : Rounding

    Returns
    -------
    Picture or None
        None where last digits cannot tell. Its data have one row a digit, for all cuts and each operator.
    """
    if found.digits is None or found.grid is None:
        return None
    sentence = digits_sentence(found.digits, found.grid, found)
    data = _data(found)
    with styled():
        figure = _draw(found, found.grid, data, sentence)
    return Picture("rounding", TITLE, sentence, data, figure)


def _data(found: Rounding) -> pd.DataFrame:
    """Return percentages: ``at`` is empty for all cuts, else an operator."""
    table = found.table
    total = table.groupby("at")["cuts"].transform("sum")
    table["seen"], table["should"] = 100 * table["cuts"] / total, 100 * table["expected"] / total
    return table[["at", "term", "cuts", "seen", "should"]]


def _draw(found: Rounding, grid: Grid, data: pd.DataFrame, sentence: str) -> Figure:
    panels = _panels(found)
    figure, top = headed(TITLE, small_lines(sentence, KEY), 0.54 + len(panels) * (HEIGHT + BETWEEN))
    highest = 1.28 * float(data[["seen", "should"]].to_numpy().max())
    for row, (name, digits, p) in enumerate(panels):
        above = top + 0.42 + row * (HEIGHT + BETWEEN)
        text = f"{name or 'all operators' if len(panels) > 1 else 'all cuts'}: {count(digits.cuts, 'cut')}"
        text = clipped(text, WIDTH - 2.0, size=SMALL, bold=True)
        write(figure, MARGIN, above - 0.25, text, size=SMALL, bold=True)
        write(figure, WIDTH - RIGHT, above - 0.25, p_value(p), size=SMALL, colour=SOFT, side="right")
        axes = place(figure, LEFT, above, WIDTH - LEFT - RIGHT, HEIGHT)
        _panel(axes, data[data["at"] == name], digits, highest, last=row == len(panels) - 1, grid=grid)
    return figure


def _panels(found: Rounding) -> list[tuple[str, Digits, float]]:
    """Give name, digits and p value of each panel; those of operators are adjusted for their number."""
    told = [(one.name, one.digits, one.p) for one in found.operators if one.digits is not None]
    assert found.digits is not None
    return [("", found.digits, found.digits.p), *(told[:MOST] if len(found.operators) > 1 else [])]


def _panel(axes: Axes, data: pd.DataFrame, digits: Digits, highest: float, *, last: bool, grid: Grid) -> None:
    places = range(len(data))
    ruled(axes)
    for over in (False, True):
        some = [i for i in places if (digits.digits[i] in digits.overused) == over]
        axes.bar(some, data["seen"].iloc[some], width=0.62, color=INKS[1] if over else INKS[0], linewidth=0,
                 hatch="///" if over else None, edgecolor=GROUND, label="too often" if over else "seen")  # fmt: skip
    for i in places:
        should = float(data["should"].iloc[i])
        axes.plot([i - 0.44, i + 0.44], [should] * 2, color=GROUND, linewidth=4, solid_capstyle="butt")
        axes.plot([i - 0.44, i + 0.44], [should] * 2, color=INK, linewidth=2, solid_capstyle="butt", label="should")
        higher = max(should, float(data["seen"].iloc[i]))
        axes.annotate(f"{int(data['cuts'].iloc[i])}", (i, higher), (0, 3), textcoords="offset points", ha="center",
                      fontsize=SMALL, color=SOFT)  # fmt: skip
    plain_axis(axes, (0.0, highest), "cuts, %", down=True, most=4)
    axes.set_xlim(-0.6, len(data) - 0.4)
    axes.set_xticks(list(places), [_ending(digit, grid) for digit in digits.digits])
    axes.tick_params(axis="x", length=0)
    if last:
        place = "" if grid.place >= 1 else f", at the place of {grid.place:.6g}{NBSP}{grid.unit}"
        axes.set_xlabel(f"last digits of the reading in {grid.unit}{place}", parse_math=False)


def _ending(digit: int, grid: Grid) -> str:
    """Return what a reading ends in: 5, or 50 where the step is in tens."""
    return f"{digit}{'0' * max(round(math.log10(grid.place)), 0)}"
