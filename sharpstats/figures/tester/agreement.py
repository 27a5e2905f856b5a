"""How far two testers or operators read apart: each edge's difference against its mean, and the limits of agreement."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sharpstats.figures.axis import padded, plain_axis, reading_axis
from sharpstats.figures.frame import MARGIN, ROOM, ruled, small_lines
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import (
    GROUND,
    INK,
    INKS,
    LARGE,
    SMALL,
    SOFT,
    WIDTH,
    clipped,
    line_height,
    place,
    sheet,
    styled,
    write,
)
from sharpstats.tester.agreement import Agreement
from sharpstats.tester.pair import Pair
from sharpstats.words.numbers import NBSP, from_scale, level_percent, signed, signed_span, unit_on
from sharpstats.words.tester.agreement import decimals_of, difference_sentence, limits_sentence

LEFT, RIGHT, HEIGHT, FOOT = 0.85, 1.75, 2.9, 0.75
MOST = 6
"""Pairs that are drawn; the table has all."""
BANDS = (("upper limit", INKS[1]), ("mean", INKS[0]), ("lower limit", INKS[1]))
Line = tuple[float, float, float]


def agreement_picture(found: Agreement) -> Picture:
    """Draw every pair: a mark an edge, the mean difference and both limits, each with its interval as a band.

    Parameters
    ----------
    found : Agreement

    Returns
    -------
    Picture
        Its data have one row an edge of a pair: percent on the log scale, force otherwise.
    """
    pairs = found.pairs[:MOST]
    data = pd.concat([_edges(pair, found) for pair in pairs], ignore_index=True)
    with styled():
        figure = _draw(pairs, found, data)
    alt = " ".join(f"{difference_sentence(pair, found)} {limits_sentence(pair, found)}" for pair in pairs)
    return Picture("agreement", f"Do the {found.by}s agree", alt, data, figure)


def _edges(pair: Pair, found: Agreement) -> pd.DataFrame:
    log = found.scale == "log"
    return pd.DataFrame({
        "at": pair.name,
        "edge": pair.edges,
        "reading": np.exp(pair.averages) if log else pair.averages,
        "difference": 100 * np.expm1(pair.differences) if log else pair.differences,
    })  # fmt: skip


def _lines(pair: Pair, found: Agreement) -> list[Line]:
    """Give value and interval of the upper limit, the mean and the lower limit, from above."""
    limits = pair.limits
    lines = ((limits.high, limits.high_from, limits.high_to), (pair.difference, pair.low, pair.high),
             (limits.low, limits.low_from, limits.low_to))  # fmt: skip
    return [_shown(line, found) for line in lines]


def _shown(line: Line, found: Agreement) -> Line:
    one, two, three = (from_scale(value, found.scale) or 0.0 for value in line)
    return one, two, three


def _draw(pairs: Sequence[Pair], found: Agreement, data: pd.DataFrame) -> Figure:
    texts = [_told(pair, found) for pair in pairs]
    heads = [0.3 + line_height(SMALL) * len(text) for text in texts]
    figure = sheet(0.15 + sum(heads) + len(pairs) * (HEIGHT + FOOT))
    top = 0.15
    for pair, text, head in zip(pairs, texts, heads, strict=True):
        write(figure, MARGIN, top, clipped(pair.name, ROOM, size=LARGE, bold=True), size=LARGE, bold=True)
        write(figure, MARGIN, top + 0.33, "\n".join(text), size=SMALL, colour=SOFT)
        axes = place(figure, LEFT, top + head + 0.16, WIDTH - LEFT - RIGHT, HEIGHT - 0.16)
        _panel(axes, pair, found, data[data["at"] == pair.name])
        top += head + HEIGHT + FOOT
    return figure


def _told(pair: Pair, found: Agreement) -> list[str]:
    """Say the difference, and what the marks and lines are."""
    share = f"{100 * pair.limits.share:.3g}{NBSP}of{NBSP}100"
    key = f"Dots: edges. Dashed: limits for {share} edge means. Bands: {level_percent(pair.level)} intervals."
    return small_lines(difference_sentence(pair, found), key, lines=3)


def _panel(axes: Axes, pair: Pair, found: Agreement, data: pd.DataFrame) -> None:
    ruled(axes, "x")
    lines, unit = _lines(pair, found), unit_on(found.scale, found.unit)
    low, high = _range(lines, data["difference"].tolist())
    reading_axis(axes, padded(data["reading"].tolist(), log=found.scale == "log"), found.unit, log=found.scale == "log")
    axes.set_xlabel(f"mean of both, {found.unit}{' (log axis)' if found.scale == 'log' else ''}", parse_math=False)
    plain_axis(axes, (low, high), f"reads higher by, {unit}", down=True)
    axes.axhline(0, color=SOFT, linewidth=0.8, zorder=0.7)
    for (name, colour), (value, least, most) in zip(BANDS, lines, strict=True):
        axes.axhspan(max(least, low), min(most, high), color=colour, alpha=0.16, linewidth=0, label=f"{name} interval")
        style = "-" if name == "mean" else (0, (6, 3))
        axes.axhline(value, color=colour, linewidth=1.8, linestyle=style, label=name)
    axes.plot(data["reading"], data["difference"], "o", color=INK, markersize=6, markeredgecolor=GROUND, label="edges",
              rasterized=len(data) > 3000)  # fmt: skip
    _labels(axes, pair, found, lines)


def _range(lines: Sequence[Line], differences: Sequence[float]) -> tuple[float, float]:
    """Return limits with room for edges and bands; a very wide band may not squeeze the edges."""
    upper, _, lower = (line[0] for line in lines)
    room = upper - lower
    ends = [max(lines[2][1], lower - room), min(lines[0][2], upper + room)]
    return padded([0.0, *ends, *differences])


def _labels(axes: Axes, pair: Pair, found: Agreement, lines: Sequence[Line]) -> None:
    """Name each line at the right, with its interval; labels keep clear of each other."""
    digits, unit = decimals_of(pair, found), unit_on(found.scale, found.unit)
    heights = _apart([line[0] for line in lines], 0.62 * float(np.ptp(axes.get_ylim())) / (HEIGHT - 0.16))
    for (name, colour), (value, least, most), y in zip(BANDS, lines, heights, strict=True):
        text = f"{name} {signed(value, unit, digits)}\n{signed_span(least, most, unit, digits)}"
        axes.annotate(text, (1.02, y), xycoords=("axes fraction", "data"), va="center", fontsize=SMALL, color=INK,
                      linespacing=1.2, annotation_clip=False)  # fmt: skip
        axes.plot([1.0, 1.015], [value, y], color=colour, linewidth=1.2, clip_on=False,
                  transform=axes.get_yaxis_transform(), label="leader")  # fmt: skip


def _apart(values: Sequence[float], least: float) -> list[float]:
    """Move values, which fall, apart about their middle one until they are `least` apart."""
    upper, middle, lower = values
    return [max(upper, middle + least), middle, min(lower, middle - least)]

