"""One claim on a picture of 16 to 9, for a slide or a video: the sentence, the edges, the interval."""

from __future__ import annotations

import math
import re
from itertools import product

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from sharpstats.claims.finding import Finding
from sharpstats.figures.axis import lanes, padded, plain_axis, reading_axis
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import (
    GROUND,
    INK,
    SOFT,
    clipped,
    ink,
    line_height,
    mark,
    place,
    sheet,
    styled,
    wrapped,
    write,
)
from sharpstats.figures.track import (
    INKS_OF,
    MARKS_OF,
    difference_label,
    difference_limits,
    draw_interval,
    draw_part,
    draw_region,
    span_of,
)
from sharpstats.model.trialfit import MEDIUM, TrialFit
from sharpstats.trial.plan import Gap
from sharpstats.words.findings import answered, edges_behind, tell
from sharpstats.words.kinds.gap import in_short
from sharpstats.words.kinds.gap import place as place_of
from sharpstats.words.labels import clip, one_line, sentence
from sharpstats.words.numbers import level_percent

ACROSS, DOWN, MARGIN = 12.8, 7.2, 0.6
ROOM = ACROSS - 2 * MARGIN
FINE = 150
"""1920 by 1080 pixels."""
SIZES = (31.0, 27.0, 23.0)
CROWD = 40
"""More edges of a medium than this are drawn smaller."""
WORDS, LABELS = 21.0, 17.0


def claim_picture(finding: Finding, fit: TrialFit | None = None) -> Picture:
    """Draw one claim for a slide.

    Parameters
    ----------
    finding : Finding
    fit : TrialFit, optional
        With it the edges behind the finding are drawn as well.

    Returns
    -------
    Picture
        Named after the claim. Its data have one row an edge, and one for the interval.
    """
    edges = _edges(finding, fit)
    with styled():
        figure = _draw(finding, edges)
    told = tell(finding)
    alt = f"{told.headline}: {told.finding}. {sentence(told.verdict)} {edges_behind(finding)}"
    tracks = [("interval", "", finding.estimate, finding.low, finding.high)]
    tracks += [("difference", part.at, part.estimate, part.low, part.high) for part in finding.parts]
    found = pd.DataFrame(tracks, columns=["part", "at", "estimate", "low", "high"])
    found = found.assign(reading=math.nan, level=finding.level)
    data = pd.concat([edges.assign(part="edge"), found], ignore_index=True)
    return Picture(f"claim-{_file_name(finding.claim)}", one_line(finding.says), alt, data, figure, fine=FINE)


def _file_name(claim: str) -> str:
    return re.sub(r"[^A-Za-z0-9]+", "-", claim).strip("-").lower()[:60] or "unnamed"


def _edges(finding: Finding, fit: TrialFit | None) -> pd.DataFrame:
    """Return the edges behind a finding, with the place of their medium in the plan and, for a gap, their level."""
    columns = ["edge", MEDIUM, "reading", "over_range", "place", "unit", "at"]
    if fit is None:
        return pd.DataFrame(columns=columns)
    rows = fit.edges[fit.edges[MEDIUM].isin(list(finding.edges))]
    for name, level in finding.where.items():
        rows = rows[rows[name] == level] if name in rows else rows
    declared = finding.declared
    across = rows[declared.across].astype(str) if isinstance(declared, Gap) else pd.Series("", rows.index)
    rows = rows.assign(at=across)[across.isin([part.at for part in finding.parts] or [""])]
    order = {medium: i for i, medium in enumerate(fit.trial.plan.factors[MEDIUM])}
    rows = rows.assign(place=rows[MEDIUM].map(order), unit=fit.unit).sort_values(["reading", "edge"])
    return rows[columns].reset_index(drop=True)


def _draw(finding: Finding, edges: pd.DataFrame) -> Figure:
    figure = sheet(DOWN, ACROSS)
    top = _words(figure, finding)
    height = DOWN - top - 1.45
    if finding.than is None:
        _reaches(figure, finding, edges, top, height)
    elif len(edges):
        half = (ROOM - 0.6) / 2
        axes = _panel(figure, MARGIN, top, half, height, _every_edge(edges))
        log, unit = finding.scale == "log", edges["unit"].iloc[0]
        reading_axis(axes, padded(edges["reading"].tolist(), log=log), unit, log=log)
        _strips(axes, finding, edges, half, height)
        _difference(figure, finding, MARGIN + half + 0.6, top, half, height)
    else:
        _difference(figure, finding, MARGIN, top, ROOM, height)
    return figure


def _every_edge(edges: pd.DataFrame) -> str:
    """Say what the marks are."""
    over = (edges["over_range"].to_numpy(float) > 0).any()
    return f"Every edge{' (hollow: some cuts over range)' if over else ': the mean of its cuts'}"


def _words(figure: Figure, finding: Finding) -> float:
    """Write claim, finding and verdict; return where the drawing may begin."""
    size, title = _title(finding)
    write(figure, MARGIN, 0.5, "\n".join(title), size=size, bold=True)
    top = 0.5 + line_height(size) * len(title) + 0.25
    told = tell(finding)
    said = in_short(finding) if finding.parts and answered(finding) else told.verdict
    lines = wrapped(sentence(said), ROOM - 3.1, size=WORDS, lines=4)
    write(figure, MARGIN + 0.5, top, told.finding, size=WORDS, bold=True, colour=INKS_OF[finding.finding])
    write(figure, MARGIN, DOWN - 0.55, clipped(edges_behind(finding), ROOM, size=LABELS), size=LABELS, colour=SOFT)
    _badge(figure, finding, top)
    write(figure, MARGIN + 3.1, top, "\n".join(lines), size=WORDS)
    return top + line_height(WORDS) * max(len(lines), 2) + 0.65


def _title(finding: Finding) -> tuple[float, list[str]]:
    """Return the largest size at which the claim fits on two lines, and the lines."""
    for size in SIZES:
        lines = wrapped(finding.says, ROOM, size=size, bold=True)
        if not lines[-1].endswith("…"):
            break
    return size, lines


def _badge(figure: Figure, finding: Finding, top: float) -> None:
    colour = INKS_OF[finding.finding]
    spot = [(MARGIN + 0.18) / ACROSS], [1 - (top + 0.18) / DOWN]
    face = GROUND if finding.finding == "open" else colour
    figure.add_artist(Line2D(*spot, marker=MARKS_OF[finding.finding], markersize=19, markerfacecolor=face, color=colour,
                             markeredgewidth=3, transform=figure.transFigure))  # fmt: skip


def _panel(figure: Figure, left: float, top: float, width: float, height: float, title: str) -> Axes:
    write(figure, left, top - 0.38, title, size=LABELS, colour=SOFT)
    axes = place(figure, left, top, width, height)
    lanes(axes, height)
    axes.tick_params(axis="x", labelsize=LABELS)
    axes.xaxis.label.set_fontsize(LABELS)
    return axes


def _strips(axes: Axes, finding: Finding, edges: pd.DataFrame, width: float, height: float) -> None:
    """Draw the edges of each medium as a strip with its name above."""
    places = [part.at for part in finding.parts] or [""]
    lane = height / max(len(finding.edges) * len(places), 1)
    for row, (at, medium) in enumerate(product(places, finding.edges)):
        own = edges[(edges[MEDIUM] == medium) & (edges["at"] == at)]
        _strip(axes, own, f"{clip(medium, 20)}, {clip(at, 20)}" if at else medium, row * lane, lane, width)


def _strip(axes: Axes, own: pd.DataFrame, name_of: str, top: float, lane: float, width: float) -> None:
    order = int(own["place"].iloc[0]) if len(own) else 0
    name = 0.42
    axes.text(0.005, top + name / 2, clipped(name_of, width, size=LABELS), va="center", fontsize=LABELS,
              color=ink(order), transform=axes.get_yaxis_transform())  # fmt: skip
    y = top + name + (lane - name - 0.1) * (np.arange(len(own)) + 0.5) / max(len(own), 1)
    crowded, over = len(own) > CROWD, own["over_range"].to_numpy(float) > 0
    size = 5 if crowded else 10
    axes.plot(own["reading"][~over], y[~over], mark(order), color=ink(order), markersize=size, label="edges",
              markeredgecolor=ink(order) if crowded else GROUND, rasterized=len(own) > 1000)  # fmt: skip
    if over.any():
        axes.plot(own["reading"][over], y[over], mark(order), color=ink(order), markersize=size, markerfacecolor=GROUND,
                  label="edges with a cut over the range", rasterized=len(own) > 1000)  # fmt: skip


def _difference(figure: Figure, finding: Finding, left: float, top: float, width: float, height: float) -> None:
    short = width < ROOM
    title = f"{clip(finding.medium, 30)} minus {clip(finding.than, 30)}"
    title = "Shaded: where the claim is true" if short else f"Shaded: where the claim is true, for {title}"
    axes = _panel(figure, left, top, width, height, clipped(title, width, size=LABELS))
    text = difference_label(finding, short=short)
    text = f"differences and their gap, {finding.unit}" if finding.parts else text
    ends = [end for part in finding.parts for end in (part.low, part.high)]
    limits = difference_limits(finding, [*span_of(finding), *ends], by=0.12)
    plain_axis(axes, limits, text, most=6 if short else 9)
    axes.axvline(0, color=INK, linewidth=1.2, zorder=0.8)
    if finding.parts:
        _gap(axes, finding, width, height)
    else:
        _track(axes, finding, height / 2, height)


def _gap(axes: Axes, finding: Finding, width: float, height: float) -> None:
    """Draw the two differences one above the other, and below them the gap between them on its track."""
    names = [f"difference {place_of(finding, which)}" for which in range(len(finding.parts))]
    names.append(f"their gap; each with its {level_percent(finding.level)} interval")
    lane = height / len(names)
    for row, name in enumerate(names):
        axes.text(0.005, row * lane + 0.2, clipped(name, width, size=LABELS), va="center", fontsize=LABELS, color=SOFT,
                  bbox={"facecolor": GROUND, "edgecolor": "none", "pad": 1.5, "alpha": 0.8},
                  transform=axes.get_yaxis_transform())  # fmt: skip
    for row, part in enumerate(finding.parts):
        draw_part(axes, part, row * lane + 0.4 + (lane - 0.4) / 2)
    if answered(finding):
        middle = height - (lane - 0.4) / 2
        draw_region(axes, finding, middle, 0.8 * (lane - 0.4))
        draw_interval(axes, finding, middle, scale=1.5)


def _track(axes: Axes, finding: Finding, y: float, height: float) -> None:
    if not answered(finding):
        return
    draw_region(axes, finding, y, min(height * 0.8, 1.6))
    draw_interval(axes, finding, y, scale=2.0)
    _name_interval(axes, finding, y)


def _name_interval(axes: Axes, finding: Finding, y: float) -> None:
    text = f"{level_percent(finding.level)} interval"
    axes.annotate(text, (_middle(axes, finding), y), (0, -16), textcoords="offset points", ha="center", va="top",
                  fontsize=LABELS, color=INKS_OF[finding.finding],
                  bbox={"facecolor": GROUND, "edgecolor": "none", "pad": 1.5, "alpha": 0.8})  # fmt: skip


def _middle(axes: Axes, finding: Finding) -> float:
    """Return the middle of what is drawn of the interval."""
    ends = zip((finding.low, finding.high), axes.get_xlim(), strict=True)
    return sum(value if math.isfinite(value) else edge for value, edge in ends) / 2


def _reaches(figure: Figure, finding: Finding, edges: pd.DataFrame, top: float, height: float) -> None:
    """Draw edges, the level, and the reading below which the share falls, on one axis."""
    title = f"Shaded: below the level. {_every_edge(edges)}"
    axes = _panel(figure, MARGIN, top, ROOM, height, title)
    log = finding.scale == "log"
    reading_axis(axes, padded([*edges["reading"].tolist(), *span_of(finding)], log=log), finding.unit, log=log)
    lane = height * 0.55 if len(edges) else 0.0
    if len(edges):
        _strip(axes, edges, finding.medium, 0.0, lane, ROOM)
    if not answered(finding):
        return
    draw_region(axes, finding, height / 2, height)
    rest = height - lane
    y = lane + rest * 0.35
    draw_interval(axes, finding, y, scale=2.0)
    _name_interval(axes, finding, y)
