"""Does the model fit: what is left of each edge, against its prediction and against the normal."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from scipy import special

from sharpstats.figures.axis import padded, plain_axis, reading_axis
from sharpstats.figures.frame import MARGIN, ruled, titled
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import GROUND, INK, INKS, SMALL, SOFT, WIDTH, clipped, place, styled, write
from sharpstats.model.trialfit import TrialFit
from sharpstats.words.labels import clip, listing
from sharpstats.words.numbers import amount, count, difference, p_value, unit_on

TITLE = "What the model leaves"
LEFT, RIGHT, HEIGHT = 0.85, 0.2, 2.35
NONE = "This fit keeps no residuals of single edges."
NAMED = 2
"""So many of the farthest edges are named."""


def residuals_picture(fit: TrialFit) -> Picture:
    """Draw the residuals of edges against their predictions, and against normal quantiles.

    Parameters
    ----------
    fit : TrialFit

    Returns
    -------
    Picture
        Its data have one row an edge.
    """
    data = _data(fit)
    with styled():
        figure = _draw(fit, data)
    return Picture("residuals", TITLE, _alt(fit, data), data, figure)


def _data(fit: TrialFit) -> pd.DataFrame:
    edges = fit.edges.dropna(subset=["residual"]).sort_values(["residual", "edge"])
    data = edges[["edge", "medium"]].reset_index(drop=True)
    data["fitted"] = fit.as_reading(edges["fitted"].to_numpy())
    left = edges["residual"].to_numpy()
    data["residual"] = 100 * np.expm1(left) if fit.scale == "log" else left
    data["quantile"] = special.ndtri((np.arange(len(data)) + 0.625) / (len(data) + 0.25))
    return data


def _draw(fit: TrialFit, data: pd.DataFrame) -> Figure:
    figure = titled(TITLE, 0.75 + 2 * (HEIGHT + 1.05) - 0.35)
    label = f"residual, {unit_on(fit.scale, fit.unit)}"
    if data.empty:
        write(figure, MARGIN, 0.6, NONE, colour=SOFT)
        return figure
    reach = 1.15 * float(data["residual"].abs().max()) or 1.0
    axes = _panel(figure, 0.75, "Each mark is one edge. Is the spread the same along the axis?")
    log = fit.scale == "log"
    reading_axis(axes, padded(data["fitted"].tolist(), log=log), fit.unit, log=log)
    axes.set_xlabel(f"predicted reading, {fit.unit}{' (log axis)' if log else ''}")
    plain_axis(axes, (-reach, reach), label, down=True)
    axes.axhline(0, color=INK, linewidth=1, zorder=0.8)
    _points(axes, data["fitted"], data)
    _names(axes, data["fitted"], data)
    axes = _panel(figure, 0.75 + HEIGHT + 1.05, "Do the marks follow the line of a normal distribution?")
    plain_axis(axes, padded(data["quantile"].tolist(), by=0.12), "normal quantile, standard deviations")
    plain_axis(axes, (-reach, reach), label, down=True)
    _line(axes, data)
    _points(axes, data["quantile"], data)
    _names(axes, data["quantile"], data, beneath=True)
    return figure


def _panel(figure: Figure, top: float, text: str) -> Axes:
    write(figure, MARGIN, top - 0.26, text, size=SMALL, colour=SOFT)
    axes = place(figure, LEFT, top + 0.06, WIDTH - LEFT - RIGHT, HEIGHT)
    ruled(axes, "both")
    return axes


def _line(axes: Axes, data: pd.DataFrame) -> None:
    """Draw the line through the quarters, which far edges do not tilt."""
    quarters = special.ndtri([0.25, 0.75])
    low, high = np.quantile(data["residual"], [0.25, 0.75])
    slope = (high - low) / (quarters[1] - quarters[0])
    ends = np.array(axes.get_xlim())
    axes.plot(ends, low + slope * (ends - quarters[0]), color=INK, linewidth=1, zorder=0.8, label="normal")


def _points(axes: Axes, across: pd.Series, data: pd.DataFrame) -> None:
    axes.plot(across, data["residual"], "o", color=INKS[0], markersize=5, markeredgecolor=GROUND, markeredgewidth=0.5,
              label="edges", rasterized=len(data) > 3000)  # fmt: skip


def _names(axes: Axes, across: pd.Series, data: pd.DataFrame, *, beneath: bool = False) -> None:
    """Name the farthest edges beside their marks, or beneath them (above, where they lie low)."""
    middle = float(across.median())
    for i in data["residual"].abs().nlargest(NAMED).index:
        right, low = across[i] > middle, data["residual"][i] < 0
        offset = (0, 11 if low else -11) if beneath else (-6 if right else 6, 0)
        side = "center" if beneath else "right" if right else "left"
        axes.annotate(clipped(data["edge"][i], 1.0, size=SMALL), (across[i], data["residual"][i]), offset,
                      textcoords="offset points", fontsize=SMALL, va="center", ha=side, color=SOFT)  # fmt: skip


def _alt(fit: TrialFit, data: pd.DataFrame) -> str:
    if data.empty:
        return NONE
    unit = unit_on(fit.scale, fit.unit)
    far = data.loc[data["residual"].abs().nlargest(NAMED).index]
    told = [f"{clip(row['edge'])} {difference(row['residual'], unit)}" for row in far.to_dict("records")]
    normality = fit.diagnostics.normality
    test = f" Shapiro and Wilk's test of normality gives {p_value(normality.p)}." if normality is not None else ""
    typical = amount(float(data["residual"].abs().median()), unit)
    return (
        f"Residuals of {count(len(data), 'edge')} against predictions and against normal quantiles: half of them "
        f"within {typical}; farthest {listing(told)} than predicted.{test}"
    )
