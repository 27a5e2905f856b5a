"""Every cut of a round robin, shop by shop, against the mean of its batch and the spread to expect."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sharpstats.figures.axis import lanes, padded, plain_axis
from sharpstats.figures.frame import MARGIN, ROOM, small_lines, strip, titled
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import (
    GROUND,
    INK,
    INKS,
    NORMAL,
    SMALL,
    SOFT,
    TINT,
    clipped,
    line_height,
    place,
    styled,
    write,
)
from sharpstats.tester.batch import Batch
from sharpstats.tester.labels import called, natural
from sharpstats.tester.precision import Deviation
from sharpstats.tester.roundrobin import RoundRobin
from sharpstats.words.numbers import amount, count, from_scale, unit_on
from sharpstats.words.tester.shopnumbers import batch_mean

TITLE = "Every shop's cuts, by batch"
NAMES = 1.15
HEADING, ROW, GAP = 0.34, 0.18, 0.12
INNER = 0.16
"""How much of the ink covers the inner band."""
SPREAD = 1.96
"""SDs on either side that hold 95 of 100 cuts."""


def round_robin_picture(result: RoundRobin) -> Picture:
    """Draw each cut as its difference from the mean of its batch.

    Parameters
    ----------
    result : RoundRobin

    Returns
    -------
    Picture
        Its data have one row a cut, cell mean or band: percent on the log scale, force otherwise.
    """
    data = pd.concat([part for batch in result.batches for part in _parts(result, batch)], ignore_index=True)
    data["y"] = _heights(result, data)
    with styled():
        figure = _draw(result, data)
    return Picture("round-robin", TITLE, _alt(result), data, figure)


def _parts(result: RoundRobin, batch: Batch) -> list[pd.DataFrame]:
    """Cuts, cell means and bands of one batch."""
    here = result.data[result.data["batch"] == batch.name]
    y = np.log(here["reading"]) if result.scale == "log" else here["reading"]
    cuts = pd.DataFrame({"part": "cut", "shop": here["shop"], "difference": _apart(result, batch, y)})
    means = pd.DataFrame({"part": "mean", "shop": batch.shops, "difference": _apart(result, batch, batch.means),
                          "outlying": np.isin(batch.shops, batch.outlying)})  # fmt: skip
    bands = [_band(result, name, one) for name, one in (("across", batch.whole.across), ("within", batch.whole.within))
             if one is not None]  # fmt: skip
    return [part.assign(batch=batch.name) for part in (cuts, means, pd.DataFrame(bands)) if len(part)]


def _band(result: RoundRobin, name: str, deviation: Deviation) -> dict[str, object]:
    low, high = (from_scale(side * SPREAD * deviation.sd, result.scale) for side in (-1, 1))
    return {"part": name, "low": low, "high": high}


def _apart(result: RoundRobin, batch: Batch, y: Sequence[float] | np.ndarray | pd.Series) -> list[float | None]:
    return [from_scale(float(value) - batch.whole.mean, result.scale) for value in y]


def _top(result: RoundRobin, name: str) -> float:
    """Return where the rows of a batch begin, in inches below the top of the axes."""
    top = 0.0
    for batch in result.batches:
        if batch.name == name:
            break
        top += HEADING + ROW * len(batch.shops) + GAP
    return top + HEADING


def _heights(result: RoundRobin, data: pd.DataFrame) -> list[float]:
    """Return the height of each cut's and mean's row."""
    rows = {(batch.name, shop): _top(result, batch.name) + ROW * (place + 0.5)
            for batch in result.batches for place, shop in enumerate(sorted(batch.shops, key=natural))}  # fmt: skip
    return [rows.get((batch, shop), math.nan) for batch, shop in zip(data["batch"], data["shop"], strict=True)]


def _draw(result: RoundRobin, data: pd.DataFrame) -> Figure:
    last = result.batches[-1]
    height = _top(result, last.name) + ROW * len(last.shops) + GAP / 2
    notes = small_lines(_footnote(result))
    top = 1.12
    figure = titled(TITLE, top + height + 0.6 + line_height(SMALL) * len(notes) + 0.1)
    _key(figure, outliers=any(batch.outlying for batch in result.batches))
    axes = place(figure, MARGIN + NAMES, top, ROOM - NAMES, height)
    lanes(axes, height)
    ends = data[["difference", "low", "high"]].to_numpy(dtype=float).ravel().tolist()
    unit = unit_on(result.scale, result.unit)
    plain_axis(axes, padded(ends), f"difference from the mean of all cuts of the batch, {unit}")
    for batch in result.batches:
        _draw_batch(result, axes, batch, data[data["batch"] == batch.name])
    write(figure, MARGIN, top + height + 0.6, "\n".join(notes), size=SMALL, colour=SOFT)
    return figure


def _key(figure: Figure, *, outliers: bool) -> None:
    """Say below the title what the marks mean, beside the marks themselves."""
    axes = strip(figure, 0.46, 0.6)
    axes.plot([0.05, 0.11, 0.2], [0.14] * 3, "|", color=SOFT, markersize=8)
    axes.text(0.34, 0.14, "one cut", fontsize=SMALL, va="center")
    axes.plot([1.2], [0.14], "o", color=INKS[0], markersize=7, markeredgecolor=GROUND)
    axes.text(1.34, 0.14, "mean of a shop", fontsize=SMALL, va="center")
    if outliers:
        axes.plot([2.95], [0.14], "o", color=GROUND, markersize=7, markeredgecolor=INKS[1], markeredgewidth=1.6)
        axes.text(3.2, 0.14, "called an outlier", fontsize=SMALL, va="center")
    for left, alpha, text in ((0.05, INNER, "95 of 100 cuts, one shop"), (2.9, 0.0, "95 of 100 cuts, any shop")):
        axes.fill_between([left, left + 0.22], 0.38, 0.52, color=TINT, linewidth=0)
        axes.fill_between([left, left + 0.22], 0.38, 0.52, color=INKS[0], alpha=alpha, linewidth=0)
        axes.text(left + 0.3, 0.45, text, fontsize=SMALL, va="center")


def _draw_batch(result: RoundRobin, axes: Axes, batch: Batch, rows: pd.DataFrame) -> None:
    top = _top(result, batch.name)
    bottom = top + ROW * len(batch.shops)
    for part, colour, alpha in (("across", TINT, 1.0), ("within", TINT, 1.0), ("within", INKS[0], INNER)):
        for band in rows[rows["part"] == part].to_dict("records"):
            axes.fill_between([band["low"], band["high"]], top, bottom, color=colour, alpha=alpha, linewidth=0,
                              label=part)  # fmt: skip
    axes.plot([0, 0], [top, bottom], color=SOFT, linewidth=1)
    cuts, means = rows[rows["part"] == "cut"], rows[rows["part"] == "mean"]
    axes.plot(cuts["difference"], cuts["y"], "|", color=INK, markersize=8, alpha=0.6, label="cuts")
    kept, out = means[~means["outlying"].astype(bool)], means[means["outlying"].astype(bool)]
    axes.plot(kept["difference"], kept["y"], "o", color=INKS[0], markersize=7, markeredgecolor=GROUND, label="means")
    axes.plot(out["difference"], out["y"], "o", color=GROUND, markersize=7, markeredgecolor=INKS[1],
              markeredgewidth=1.6, label="outliers")  # fmt: skip
    across = axes.get_yaxis_transform()
    head = f"{called('Batch', batch.name)}: mean {amount(batch_mean(result, batch.whole.mean), result.unit)}"
    axes.text(-NAMES / (ROOM - NAMES), top - 0.13, clipped(head, ROOM), va="center",
              fontsize=NORMAL, transform=across)  # fmt: skip
    names = row_names(result, NAMES - 0.15)
    for row in means.to_dict("records"):
        axes.text(-0.02, row["y"], names[row["shop"]], va="center", ha="right", fontsize=SMALL, color=SOFT,
                  transform=across)  # fmt: skip


def row_names(result: RoundRobin, room: float) -> dict[str, str]:
    """Return what stands before each shop's row: its label, with its number where labels look alike when cut."""
    names = {shop: clipped(shop, room, size=SMALL) for shop in result.shops}
    if len(set(names.values())) == len(names):
        return names
    return {shop: clipped(f"{order}: {shop}", room, size=SMALL) for order, shop in enumerate(result.shops, 1)}


def _footnote(result: RoundRobin) -> str:
    told = "Bands: 1.96 SDs about the mean of the batch, of cuts within a shop (dark) and from shop to shop (light)"
    percent = ", on the log scale" if result.scale == "log" else ""
    return f"{told}{percent}. Cells called outliers are counted: nothing was left out."


def _alt(result: RoundRobin) -> str:
    out = [f"{called('shop', shop)} on {called('batch', batch.name)}"
           for batch in result.batches for shop in batch.outlying]  # fmt: skip
    batches = count(len(result.batches), "batch", "batches")
    cuts = f"{count(len(result.data), 'cut')} of {count(len(result.shops), 'shop')} on {batches}"
    head = f"{cuts}, each as its difference from the mean of its batch."
    return f"{head} Called outliers: {', '.join(out)}." if out else f"{head} No cell is called an outlier."
