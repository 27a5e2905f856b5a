"""The smallest difference between two edges against the number of cuts on each."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sharpstats.figures.axis import plain_axis
from sharpstats.figures.frame import BELOW, ground, headed, ruled, small_lines, strip
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import GROUND, INK, SMALL, WIDTH, clipped, ink, line_height, mark, place, styled
from sharpstats.tester.smallest import Smallest
from sharpstats.words.numbers import amount, from_scale, level_percent, unit_on
from sharpstats.words.tester.smallest import TOLD, WAYS, smallest_sentence

TITLE = "Smallest difference between two edges"
LEFT, RIGHT, HEIGHT = 0.75, 0.2, 3.0
ABOVE = 2.0
"""The picture ends so many times above the largest of the smallest differences; intervals may go on."""


def smallest_picture(found: Smallest, wanted: float | None = None) -> Picture:
    """Draw the smallest difference by number of cuts, for each way of cutting.

    Parameters
    ----------
    found : Smallest
    wanted : float, optional
        A difference that is wanted, on the scale of the study: drawn as a line.

    Returns
    -------
    Picture
        Its data have one row a way and number of cuts: percent on the log scale, force otherwise.
    """
    data = found.table.copy()
    for name in ("smallest", "by_standard", "low", "high", "found"):
        data[name] = [from_scale(value, found.scale) for value in data[name]]
    line = from_scale(wanted, found.scale)
    with styled():
        figure = _draw(found, data, line)
    unit = unit_on(found.scale, found.unit)
    goal = "" if line is None else f" A line marks the wanted difference of {amount(line, unit)}."
    alt = " ".join(smallest_sentence(found, way) for way in found.ways) + goal
    return Picture("tester-smallest", TITLE, alt, data, figure)


def _draw(found: Smallest, data: pd.DataFrame, wanted: float | None) -> Figure:
    unit = unit_on(found.scale, found.unit)
    keys = line_height(SMALL) * len(found.ways)
    figure, top = headed(TITLE, small_lines(_about(found)), keys + 0.2 + HEIGHT + BELOW)
    _key(figure, found, top + 0.1)
    axes = place(figure, LEFT, top + keys + 0.2, WIDTH - LEFT - RIGHT, HEIGHT)
    ruled(axes)
    most = ABOVE * max(float(data["smallest"].max()), wanted or 0.0)
    plain_axis(axes, (0.0, most), f"difference, {unit}", down=True)
    first, last = float(data["cuts"].min()), float(data["cuts"].max())
    plain_axis(axes, (first - 0.5, last + 0.5), "cuts on each of the two edges")
    axes.set_xticks([tick for tick in axes.get_xticks() if tick == round(tick) and tick >= first] or [first])
    for at, way in enumerate(found.ways):
        _way(axes, data[data["at"] == way], at)
    if wanted is not None:
        axes.axhline(wanted, color=INK, linewidth=1, dashes=(4, 2), label="wanted")
        text = clipped(f"wanted: {amount(wanted, unit)}", 2.5, size=SMALL)
        axes.annotate(text, (last + 0.5, wanted), (-3, 3), textcoords="offset points", ha="right", fontsize=SMALL,
                      bbox=ground(0.85))  # fmt: skip
    return figure


def _about(found: Smallest) -> str:
    return (
        "Marks: two equal edges differ by more only 5 times in 100. Dashed: a true difference that comes out above "
        f"the mark 9 times in 10. Bars at some marks: {level_percent(found.level)} interval, from how well the spreads "
        "are known; an arrow goes on."
    )


def _key(figure: Figure, found: Smallest, top: float) -> None:
    axes = strip(figure, top, line_height(SMALL) * len(found.ways))
    for at, way in enumerate(found.ways):
        y = line_height(SMALL) * (at + 0.5)
        axes.plot([0.0, 0.3], [y, y], "-", color=ink(at), linewidth=1.4)
        axes.plot([0.15], [y], mark(at), color=ink(at), markersize=6, markeredgecolor=GROUND)
        axes.text(0.4, y, WAYS[way], fontsize=SMALL, va="center")


def _way(axes: Axes, data: pd.DataFrame, at: int) -> None:
    top = axes.get_ylim()[1]
    x = data["cuts"].to_numpy(float) + 0.12 * (at - 0.5)
    barred = data["cuts"].isin(TOLD).to_numpy()
    axes.vlines(x[barred], data["low"][barred], np.minimum(data["high"], top)[barred], color=ink(at), linewidth=1.2,
                alpha=0.6, label="interval")  # fmt: skip
    beyond = barred & (data["high"].to_numpy() > top)
    axes.plot(x[beyond], np.full(beyond.sum(), top), "^", color=ink(at), markersize=3.5, alpha=0.6, clip_on=False,
              label="interval goes on")  # fmt: skip
    axes.plot(x, data["found"], color=ink(at), linewidth=1, dashes=(3, 2), label="found")
    axes.plot(x, data["smallest"], "-", color=ink(at), linewidth=1.4)
    axes.plot(x, data["smallest"], mark(at), color=ink(at), markersize=6, markeredgecolor=GROUND, label="smallest")
