"""How far the tester is off under each load: every reading, and the line through them."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sharpstats.figures.axis import padded, plain_axis
from sharpstats.figures.frame import BELOW, headed, ruled, small_lines
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import GROUND, INK, INKS, SOFT, TINT, WIDTH, place, styled
from sharpstats.tester.masses import Calibration
from sharpstats.words.numbers import level_percent
from sharpstats.words.tester.masses import bias_sentence

TITLE = "What the tester shows under known loads"
LEFT, RIGHT, HEIGHT = 0.85, 0.2, 3.1
SIDES = {
    "up": ("^", INKS[0], "on the way up"),
    "down": ("v", INKS[1], "on the way down"),
    "": ("o", INKS[2], "no load, or not recorded"),
}
"""Mark, ink and name of the way in which a load was reached."""
POINTS = 80


def masses_picture(found: Calibration) -> Picture:
    """Draw the deviation of every reading from its load, against the load.

    Parameters
    ----------
    found : Calibration

    Returns
    -------
    Picture
        Its data have one row a reading: applied, deviation (in the study's unit), direction, series.
    """
    used = found.readings
    direction = used["direction"] if "direction" in used else pd.Series("", index=used.index)
    data = pd.DataFrame({"applied": used["applied"], "deviation": used["deviation"], "direction": direction,
                         "series": used["series"]})  # fmt: skip
    with styled():
        figure = _draw(found, data)
    return Picture("tester-masses", TITLE, bias_sentence(found), data, figure)


def _draw(found: Calibration, data: pd.DataFrame) -> Figure:
    figure, top = headed(TITLE, small_lines(bias_sentence(found), _key(found, data)), 0.2 + HEIGHT + BELOW)
    axes = place(figure, LEFT, top + 0.2, WIDTH - LEFT - RIGHT, HEIGHT)
    ruled(axes)
    loads = np.linspace(float(data["applied"].min()), float(data["applied"].max()), POINTS)
    low, high = (ends - loads for ends in found.line.band(loads))
    plain_axis(axes, padded([0.0, *data["deviation"], low.min(), high.max()], by=0.06),
               f"shown minus applied, {found.unit}", down=True)  # fmt: skip
    plain_axis(axes, padded(loads.tolist(), by=0.04), f"load applied, {found.unit}")
    axes.fill_between(loads, low, high, color=TINT, linewidth=0, label="band")
    axes.plot(loads, found.line.at(loads) - loads, color=INK, linewidth=2, label="line")
    axes.axhline(0, color=SOFT, linewidth=1, linestyle=(0, (4, 3)), label="right")
    _marks(axes, data)
    return figure


def _marks(axes: Axes, data: pd.DataFrame) -> None:
    """Draw the readings, those of one load a little apart from each other by the way they were reached."""
    apart = {"up": -1.0, "down": 1.0, "": 0.0}
    step = 0.006 * float(np.ptp(data["applied"]))
    for direction, rows in data.groupby("direction"):
        shape, ink, name = SIDES[str(direction)]
        axes.plot(rows["applied"] + apart[str(direction)] * step, rows["deviation"], shape, color=ink, markersize=6,
                  markeredgecolor=GROUND, markeredgewidth=0.5, alpha=0.85, label=name)  # fmt: skip


def _key(found: Calibration, data: pd.DataFrame) -> str:
    marks = {"up": "triangle up", "down": "triangle down", "": "circle"}
    named = [f"{marks[side].capitalize()}: {SIDES[side][2]}." for side in SIDES if (data["direction"] == side).any()]
    ways = [] if len(named) == 1 and not data["direction"].any() else named
    return " ".join([
        "Each mark is a reading.", *ways, "Dashed: what it should show. Line: what it shows on average; shaded: where "
        f"{level_percent(found.level)} of new readings fall.",
    ])  # fmt: skip
