"""Every reading of a tester study, edge by edge and operator by operator."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sharpstats.figures.axis import lanes, padded, reading_axis
from sharpstats.figures.frame import BELOW, MARGIN, ROOM, strip, titled
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import (
    GROUND,
    INK,
    RULE,
    SMALL,
    SOFT,
    clipped,
    drawable,
    ink,
    mark,
    place,
    styled,
    text_width,
    write,
)
from sharpstats.tester.spreads import Spreads
from sharpstats.words.labels import clip
from sharpstats.words.numbers import amount, count

TITLE = "Every cut, by edge and operator"
ROW, GAP, WIDEST_NAME = 0.13, 0.1, 1.3
MOST_HEIGHT = 11.0
"""Inches; with more rows than fit they stand closer."""
OVER_MARK = ">"


def cells_picture(found: Spreads) -> Picture:
    """Draw every reading; edges from keenest to dullest, each operator with ink and mark of his own.

    Parameters
    ----------
    found : Spreads

    Returns
    -------
    Picture
        Its data have one row a cut: edge, operator, reading, over_range, y.
    """
    data = _data(found)
    with styled():
        figure = _draw(found, data)
    return Picture("tester-cells", TITLE, _alt(found, data), data, figure)


def _data(found: Spreads) -> pd.DataFrame:
    used = found.readings
    data = used[["edge", "reading", "over_range"]].astype({"edge": str})
    data["operator"] = used["operator"].astype(str) if "operator" in used else ""
    mean = found.readings.groupby(data["edge"])["value"].mean()
    order = mean.reset_index().sort_values(["value", "edge"])["edge"].tolist()
    cells = data[["edge", "operator"]].drop_duplicates()
    cells = cells.assign(at=cells["edge"].map(order.index)).sort_values(["at", "operator"]).reset_index(drop=True)
    cells["y"] = GAP / 2 + ROW * (np.arange(len(cells)) + 0.5) + GAP * cells["at"]
    return data.merge(cells.drop(columns="at"), on=["edge", "operator"])


def _draw(found: Spreads, data: pd.DataFrame) -> Figure:
    inner = float(data["y"].max()) + (ROW + GAP) / 2
    height = min(inner, MOST_HEIGHT)
    operators = sorted(data["operator"].unique())
    keyed = len(operators) > 1
    top = 0.85 + (0.22 if keyed else 0.0)
    figure = titled(TITLE, top + height + BELOW)
    write(figure, MARGIN, 0.47, "edges from keenest to dullest; a bar is the mean of a cell", size=SMALL, colour=SOFT)
    if keyed:
        _key(figure, operators)
    names = min(WIDEST_NAME, max(text_width(drawable(edge), SMALL) for edge in data["edge"].unique()) + 0.1)
    axes = place(figure, MARGIN + names, top, ROOM - names, height)
    lanes(axes, inner)
    log = found.scale == "log"
    reading_axis(axes, padded(data["reading"].tolist(), log=log), found.unit, log=log)
    for at, operator in enumerate(operators):
        _points(axes, data[data["operator"] == operator], at)
    _means(axes, found, data)
    _names(axes, data, names)
    return figure


def _key(figure: Figure, operators: list[str]) -> None:
    """Say which operator has which mark; on one line, as many as fit."""
    axes = strip(figure, 0.75, 0.2)
    left = 0.06
    for at, operator in enumerate(operators):
        name = clipped(operator, 1.2, size=SMALL)
        if left + 0.15 + text_width(name, SMALL) > ROOM - 0.2:
            axes.text(left, 0.1, "…", fontsize=SMALL, va="center")
            break
        axes.plot([left], [0.1], mark(at), color=ink(at), markersize=6)
        axes.text(left + 0.12, 0.1, name, fontsize=SMALL, va="center")
        left += 0.12 + text_width(name, SMALL) + 0.28


def _points(axes: Axes, data: pd.DataFrame, at: int) -> None:
    over = data["over_range"].to_numpy(bool)
    many = len(data) > 2000
    axes.plot(data["reading"][~over], data["y"][~over], mark(at), color=ink(at), markersize=4.5, alpha=0.75,
              markeredgecolor=GROUND, markeredgewidth=0.4, label="cuts", rasterized=many)  # fmt: skip
    if over.any():
        axes.plot(data["reading"][over], data["y"][over], OVER_MARK, color=ink(at), markersize=6,
                  label="cuts over the range")  # fmt: skip


def _means(axes: Axes, found: Spreads, data: pd.DataFrame) -> None:
    """Mark the mean of each cell with several cuts, none of them over the range: geometric on the log scale."""
    log = found.scale == "log"
    values = np.log(data["reading"]) if log else data["reading"]
    whole = data.assign(value=values).groupby("y").agg(value=("value", "mean"), cuts=("value", "size"),
                                                       over=("over_range", "any"))  # fmt: skip
    whole = whole[(whole["cuts"] > 1) & ~whole["over"]]
    means = np.exp(whole["value"]) if log else whole["value"]
    axes.plot(means, whole.index, "|", color=INK, markersize=9, markeredgewidth=1.6, label="means", zorder=4)


def _names(axes: Axes, data: pd.DataFrame, room: float) -> None:
    across = axes.get_yaxis_transform()
    spans = data.groupby("edge")["y"].agg(["min", "max"]).sort_values("min")
    for edge, low, high in spans.itertuples():
        axes.annotate(clipped(edge, room - 0.05, size=SMALL), (0, (low + high) / 2), (-5, 0), xycoords=across,
                      textcoords="offset points", fontsize=SMALL, va="center", ha="right")  # fmt: skip
    for y in (spans["max"] + ROW / 2 + GAP / 2).iloc[:-1]:
        axes.plot([0, 1], [y, y], color=RULE, linewidth=0.6, transform=across)


def _alt(found: Spreads, data: pd.DataFrame) -> str:
    edges = data.groupby("edge")["reading"].median().sort_values()
    operators = data["operator"].nunique()
    by = f" by {count(operators, 'operator')}" if "operator" in found.readings else ""
    over = int(data["over_range"].sum())
    beyond = f" {count(over, 'cut')} over the tester's range, drawn as arrows at the limit." if over else ""
    return (
        f"{count(len(data), 'cut')} on {count(len(edges), 'edge')}{by}, each drawn on an axis of readings in "
        f"{found.unit}. Median of the cuts from {amount(float(edges.iloc[0]), found.unit)} ({clip(edges.index[0])}) to "
        f"{amount(float(edges.iloc[-1]), found.unit)} ({clip(edges.index[-1])}).{beyond}"
    )
