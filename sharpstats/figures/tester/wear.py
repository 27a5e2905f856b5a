"""Readings against the cut's place on its own edge: each edge a thin line, the common slope across them."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sharpstats.figures.axis import padded, plain_axis, ticks
from sharpstats.figures.frame import BELOW, headed, ruled, small_lines
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import GROUND, INK, INKS, TINT, WIDTH, place, styled
from sharpstats.tester.wear import Wear
from sharpstats.words.numbers import from_scale, level_percent, unit_on
from sharpstats.words.tester.wear import wear_sentence

TITLE = "What each cut does to its edge"
LEFT, RIGHT, HEIGHT = 0.85, 0.2, 2.9


def wear_picture(found: Wear) -> Picture:
    """Draw how far each cut lies off the mean of its edge, against its place on the edge.

    Parameters
    ----------
    found : Wear

    Returns
    -------
    Picture
        Its data have one row a cut: edge, order, deviation (per cent on the log scale, else in the
        study's unit).
    """
    shown = np.array([from_scale(float(value), found.scale) for value in found.cuts["deviation"]], dtype=float)
    data = found.cuts.assign(deviation=shown).sort_values(["edge", "order"], ignore_index=True)
    with styled():
        figure = _draw(found, data)
    return Picture("tester-wear", TITLE, wear_sentence(found), data, figure)


def _draw(found: Wear, data: pd.DataFrame) -> Figure:
    key = (
        f"Thin line: an edge. Diamond: mean of the edges. Thick line: the common change, with its "
        f"{level_percent(found.level)} interval. What edge and operator add is taken out."
    )
    figure, top = headed(TITLE, small_lines(wear_sentence(found), key), 0.2 + HEIGHT + BELOW)
    axes = place(figure, LEFT, top + 0.2, WIDTH - LEFT - RIGHT, HEIGHT)
    ruled(axes)
    last = float(data["order"].max())
    plain_axis(axes, padded(data["deviation"].tolist(), by=0.08), f"off the mean, {unit_on(found.scale, found.unit)}",
               down=True)  # fmt: skip
    plain_axis(axes, (1 - 0.04 * last, last * 1.04), "place of the cut on its own edge")
    axes.set_xticks([tick for tick in ticks(*axes.get_xlim()) if tick == round(tick) and tick >= 1])
    _slope(axes, found, data)
    for _, edge in data.groupby("edge", sort=False):
        axes.plot(edge["order"], edge["deviation"], "-o", color=INKS[0], linewidth=0.7, markersize=3, alpha=0.45,
                  label="edge")  # fmt: skip
    means = data.groupby("order")["deviation"].agg(["mean", "size"])
    means = means[means["size"] > 1]
    axes.plot(means.index, means["mean"], "D", color=INKS[1], markersize=8, markeredgecolor=GROUND, label="mean")
    return figure


def _slope(axes: Axes, found: Wear, data: pd.DataFrame) -> None:
    """Draw the common slope about the mean place, and how far it may turn."""
    order = np.linspace(float(data["order"].min()), float(data["order"].max()), 60)
    away = order - float(data["order"].mean())
    low, middle, high = (
        np.array([from_scale(value, found.scale) for value in slope * away], dtype=float)
        for slope in (found.slope.low, found.slope.estimate, found.slope.high)
    )
    axes.fill_between(order, low, high, color=TINT, linewidth=0, label="interval")
    axes.plot(order, middle, color=INK, linewidth=2.2, label="slope")
