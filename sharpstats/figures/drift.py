"""Control edges in the order in which they were made, to see whether anything drifts."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from sharpstats.figures.axis import plain_axis, ticks
from sharpstats.figures.frame import BELOW, headed, ruled, small_lines
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import GROUND, INKS, SMALL, SOFT, WIDTH, clipped, place, styled
from sharpstats.model.trialfit import TrialFit
from sharpstats.words.drift import drift_sentence

TITLE = "Control edges over the trial"
LEFT, RIGHT, HEIGHT = 0.85, 0.2, 2.6


def drift_picture(fit: TrialFit) -> Picture | None:
    """Draw the control edges in run order, each with its cuts.

    Parameters
    ----------
    fit : TrialFit

    Returns
    -------
    Picture or None
        None where the trial has too few control edges to tell. Its data have one row a cut or edge.
    """
    if fit.drift is None:
        return None
    edges = fit.drift.table[["edge", "order", "reading"]].assign(part="edge")
    readings = fit.trial.readings
    readings = readings.loc[readings["edge"].isin(edges["edge"]), ["edge", "reading"]]
    cuts = readings.merge(edges[["edge", "order"]], on="edge").assign(part="cut")
    data = pd.concat([cuts, edges], ignore_index=True)[["part", "edge", "order", "reading"]]
    with styled():
        figure = _draw(fit, data)
    return Picture("drift", TITLE, drift_sentence(fit), data, figure)


def _draw(fit: TrialFit, data: pd.DataFrame) -> Figure:
    figure, top = headed(TITLE, small_lines(drift_sentence(fit)), 0.25 + HEIGHT + BELOW)
    axes = place(figure, LEFT, top + 0.25, WIDTH - LEFT - RIGHT, HEIGHT)
    ruled(axes)
    cuts, edges = data[data["part"] == "cut"], data[data["part"] == "edge"]
    orders, reach = data["order"].astype(float), 0.07 * float(np.ptp(data["order"].astype(float))) or 1.0
    low, high = float(data["reading"].min()), float(data["reading"].max())
    room = 0.12 * (high - low) or 0.05 * abs(high) or 1.0
    plain_axis(axes, (low - room, high + room), f"reading, {fit.unit}", down=True)
    plain_axis(axes, (float(orders.min()) - reach, float(orders.max()) + reach), "place in the order of all edges")
    axes.set_xticks([tick for tick in ticks(*axes.get_xlim()) if tick >= 1 and tick == round(tick)])
    axes.plot(cuts["order"], cuts["reading"], "_", color=INKS[0], markersize=9, alpha=0.55, label="cuts")
    axes.plot(edges["order"], edges["reading"], "o", color=INKS[0], markersize=8, markeredgecolor=GROUND, label="edges")
    for row in edges.to_dict("records"):
        left = float(row["order"]) > float(orders.mean())  # names stay on the sheet
        axes.annotate(clipped(row["edge"], 1.2, size=SMALL), (row["order"], row["reading"]), (-8 if left else 8, 0),
                      textcoords="offset points", va="center", ha="right" if left else "left", fontsize=SMALL,
                      color=SOFT)  # fmt: skip
    return figure
