"""How far each shop's means and spreads lie from the others': Mandel's h and k, a row a shop."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sharpstats.figures.axis import lanes, padded, plain_axis
from sharpstats.figures.frame import BELOW, MARGIN, ROOM, small_lines, strip, titled
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import (
    GROUND,
    INK,
    RULE,
    SMALL,
    SOFT,
    clipped,
    ink,
    line_height,
    mark,
    place,
    styled,
    text_width,
    write,
)
from sharpstats.figures.tester.roundrobin import row_names
from sharpstats.tester.batch import Batch
from sharpstats.tester.labels import called
from sharpstats.tester.roundrobin import RoundRobin
from sharpstats.words.labels import listing
from sharpstats.words.numbers import NBSP, fixed

TITLE = "Shops against one another"
NAMES, BETWEEN = 1.05, 0.25
ROW = 0.34
LEVELS = ((0.05, "5", (0, (4, 2))), (0.01, "1", "solid"))
"""Of the limits: probability, percent, line."""
HEADS = {"h": "means: h", "k": "spreads: k"}
LABELS = {"h": "SDs of the means", "k": "SD, divided by that of all shops"}


def consistency_picture(result: RoundRobin) -> Picture | None:
    """Draw h and k of every shop on every batch, with their limits at 5 % and 1 %.

    Parameters
    ----------
    result : RoundRobin

    Returns
    -------
    Picture or None
        None where neither is defined. Its data have one row a mark or limit.
    """
    marks = pd.concat([_marks(result, batch, place) for place, batch in enumerate(result.batches)], ignore_index=True)
    if marks.empty:
        return None
    limits = pd.DataFrame([{"part": f"limit {percent}{NBSP}%", "statistic": name, "value": value}
                           for name in ("h", "k") for alpha, percent, _ in LEVELS
                           for value in _limits(result, name, alpha)])  # fmt: skip
    data = pd.concat([marks, limits], ignore_index=True)
    with styled():
        figure = _draw(result, data)
    return Picture("consistency", TITLE, _alt(marks), data, figure)


def _marks(result: RoundRobin, batch: Batch, place: int) -> pd.DataFrame:
    """Rows of one batch; its marks lie a little apart within a shop's row."""
    shift = 0.0 if len(result.batches) == 1 else 0.5 * (place / (len(result.batches) - 1) - 0.5)
    rows = [result.shops.index(shop) for shop in batch.shops]
    parts = [pd.DataFrame({"part": "mark", "statistic": name, "batch": batch.name, "place": place, "shop": batch.shops,
                           "value": value, "p": p, "y": ROW * (np.array(rows) + 0.5 + shift)})
             for name, value, p in (("h", batch.h, batch.h_p), ("k", batch.k, batch.k_p))]  # fmt: skip
    return pd.concat(parts).dropna(subset=["value"])


def _limits(result: RoundRobin, name: str, alpha: float) -> list[float]:
    """Limits of the most common kind of batch; h has one on either side."""
    found = [batch.h_critical(alpha) if name == "h" else batch.k_critical(alpha) for batch in result.batches]
    known = [round(value, 9) for value in found if not math.isnan(value)]
    if not known:
        return []
    limit = max(known, key=known.count)
    return [-limit, limit] if name == "h" else [limit]


def _varied(result: RoundRobin) -> bool:
    """Whether batches have limits of their own."""
    kinds = {tuple(np.round([batch.h_critical(0.01), batch.k_critical(0.01)], 9)) for batch in result.batches}
    return len({tuple(map(str, kind)) for kind in kinds}) > 1 or any(np.ptp(batch.n) for batch in result.batches)


def _draw(result: RoundRobin, data: pd.DataFrame) -> Figure:
    height = ROW * len(result.shops)
    notes = small_lines(_footnote(result), lines=7)
    key = _key_lines(result)
    top = 0.55 + line_height(SMALL) * len(key) + 0.55
    figure = titled(TITLE, top + height + BELOW + line_height(SMALL) * len(notes) + 0.1)
    _key(figure, key)
    shown = [name for name in ("h", "k") if (data["statistic"] == name).any()]
    room = ROOM - NAMES
    width = (room - BETWEEN * (len(shown) - 1)) / len(shown)
    for order, name in enumerate(shown):
        axes = place(figure, MARGIN + NAMES + order * (width + BETWEEN), top, width, height)
        _draw_side(axes, name, data[data["statistic"] == name], height, len(result.shops))
        if not order:
            _name_rows(axes, result, width)
    write(figure, MARGIN, top + height + BELOW, "\n".join(notes), size=SMALL, colour=SOFT)
    return figure


def _key_lines(result: RoundRobin) -> list[list[tuple[int, str, float]]]:
    """Batches with their marks, in as many lines as they need: place, name, inches from the left."""
    lines: list[list[tuple[int, str, float]]] = [[]]
    left = 0.1
    for order, batch in enumerate(result.batches):
        name = clipped(batch.name, 2.2, size=SMALL)
        wide = text_width(name, SMALL) + 0.45
        if lines[-1] and left + wide > ROOM:
            lines.append([])
            left = 0.1
        lines[-1].append((order, name, left))
        left += wide
    return lines


def _key(figure: Figure, lines: list[list[tuple[int, str, float]]]) -> None:
    axes = strip(figure, 0.45, line_height(SMALL) * len(lines) + 0.1)
    for row, line in enumerate(lines):
        y = line_height(SMALL) * (row + 0.5) + 0.05
        for order, name, left in line:
            axes.plot([left], [y], mark(order), color=ink(order), markersize=7, markeredgecolor=GROUND)
            axes.text(left + 0.13, y, name, fontsize=SMALL, va="center")


def _draw_side(axes: Axes, name: str, rows: pd.DataFrame, height: float, shops: int) -> None:
    lanes(axes, height)
    values = rows["value"].tolist()
    plain_axis(axes, padded([*values, 0.0], by=0.08), LABELS[name], most=5)
    for row in range(shops + 1):
        axes.axhline(ROW * row, color=RULE, linewidth=0.5)
    for _, percent, line in LEVELS:
        for limit in rows.loc[rows["part"] == f"limit {percent}{NBSP}%", "value"]:
            axes.axvline(limit, color=INK, linewidth=1, linestyle=line, label=f"limit {percent}")
            axes.text(limit, -0.05, f"{percent}{NBSP}%", ha="left" if (percent == "1") == (limit > 0) else "right",
                      va="bottom", fontsize=SMALL, color=SOFT)  # fmt: skip
    axes.text(0.0 if name == "k" else 0.5, 1 + 0.28 / height, HEADS[name], transform=axes.transAxes, fontsize=SMALL,
              ha="left" if name == "k" else "center", va="bottom")  # fmt: skip
    marks = rows[rows["part"] == "mark"]
    for order in sorted(marks["place"].astype(int).unique()):
        one = marks[marks["place"] == order]
        axes.plot(one["value"], one["y"], mark(order), color=ink(order), markersize=7, markeredgecolor=GROUND,
                  label="marks")  # fmt: skip
    far = marks[marks["p"] < LEVELS[1][0]]
    axes.plot(far["value"], far["y"], "o", color="none", markersize=13, markeredgecolor=INK, label="beyond")


def _name_rows(axes: Axes, result: RoundRobin, width: float) -> None:
    for row, name in enumerate(row_names(result, NAMES - 0.1).values()):
        axes.text(-0.08 / width, ROW * (row + 0.5), name, va="center", ha="right", fontsize=SMALL,
                  transform=axes.get_yaxis_transform())  # fmt: skip


def _footnote(result: RoundRobin) -> str:
    told = (
        "h: a shop's mean minus the mean of all shops, in SDs of the means. k: a shop's SD against that of all shops. "
        f"Chance takes a shop named beforehand beyond the broken lines in 5{NBSP}% of batches, and beyond the full "
        f"lines in 1{NBSP}%; a ring marks what is beyond the full ones."
    )
    varied = " Not all batches have as many shops and cuts: the lines are those of most, the rings go by each's own."
    return told + (varied if _varied(result) else "")


def _alt(marks: pd.DataFrame) -> str:
    far = marks[marks["p"] < LEVELS[1][0]]
    told = [f"{row['statistic']} of {called('shop', row['shop'])} on {called('batch', row['batch'])}, "
            f"{fixed(row['value'], 2)}" for row in far.to_dict("records")]  # fmt: skip
    head = f"h and k of every shop on every batch, with limits at 5{NBSP}% and 1{NBSP}%."
    beyond = f"Beyond the limit at 1{NBSP}%: {listing(told)}." if told else f"None is beyond that at 1{NBSP}%."
    return f"{head} {beyond}"
