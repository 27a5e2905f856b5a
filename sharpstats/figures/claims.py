"""All claims in one picture: each as its interval against where it is true."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sharpstats.claims.finding import Finding, Findings
from sharpstats.figures.axis import lanes, padded, plain_axis, reading_axis
from sharpstats.figures.frame import BELOW, MARGIN, ROOM, strip, titled
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import (
    GROUND,
    INK,
    NORMAL,
    RULE,
    SMALL,
    SOFT,
    TINT,
    line_height,
    place,
    styled,
    wrapped,
    write,
)
from sharpstats.figures.track import INKS_OF, difference_label, difference_limits, draw_interval, draw_region, span_of
from sharpstats.words.findings import answered
from sharpstats.words.kinds.gap import gap_of
from sharpstats.words.kinds.shared import decimals, unit_of
from sharpstats.words.kinds.steadier import in_short as spread_in_short
from sharpstats.words.labels import clip
from sharpstats.words.numbers import amount, amounts, difference, interval, level_percent

TITLE = "Claims against the readings"
TRACK, GAP = 0.3, 0.16


@dataclass(frozen=True, slots=True)
class Lane:
    """One claim: its words, and where its track is drawn."""

    finding: Finding
    says: tuple[str, ...]
    told: tuple[str, ...]
    top: float

    @property
    def words(self) -> float:
        """Height of the words above the track."""
        return len(self.says) * line_height(NORMAL) + len(self.told) * line_height(SMALL) + 0.04

    @property
    def y(self) -> float:
        """Height of the track's middle."""
        return self.top + self.words + TRACK / 2

    @property
    def bottom(self) -> float:
        """Where the next lane begins."""
        return self.y + TRACK / 2 + GAP


def claims_picture(findings: Findings) -> Picture:
    """Draw every claim as an interval against the region in which it is true.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    Picture
        Its data have one row a claim.
    """
    with styled():
        figure = _draw(findings)
    alt = "; ".join(f"{clip(finding.says, 120)}: {in_short(finding)}" for finding in findings.findings)
    data = pd.DataFrame([_row(finding) for finding in findings.findings])
    return Picture("claims", TITLE, f"Each claim as an interval against where it is true. {alt}.", data, figure)


def is_difference(finding: Finding) -> bool:
    """Whether the finding is about the difference of two media."""
    return finding.than is not None


def is_spread(finding: Finding) -> bool:
    """Whether the finding is about how much edges of two media spread."""
    return finding.kind == "steadier"


SPREADS = "Spread of the edges of one medium against another's"


def in_short(finding: Finding) -> str:
    """Return the finding with its interval in a line.

    For example: "shown, 4 % higher (90 % interval: 2 % lower to 10 % higher)".
    """
    if not answered(finding):
        return f"{finding.finding}, not answered by these edges"
    unit, digits = unit_of(finding), decimals(finding)
    if is_spread(finding):
        return f"{finding.finding}, {spread_in_short(finding)}"
    if finding.parts:
        return f"{finding.finding}, {gap_of(finding)}"
    if is_difference(finding):
        how = difference(finding.estimate, unit, digits)
        return f"{finding.finding}, {how} ({interval(finding.low, finding.high, unit, finding.level, digits)})"
    limits = amounts(finding.low, finding.high, unit, digits)
    how = amount(finding.estimate, unit, digits)
    return f"{finding.finding}, {how} ({level_percent(finding.level)} interval: {limits})"


def _row(finding: Finding) -> dict[str, object]:
    names = ("claim", "kind", "finding", "estimate", "low", "high", "level", "bound_low", "bound_high", "unit")
    return {name: getattr(finding, name) for name in names}


DrawAxis = Callable[[Axes, Finding, Sequence[float]], None]
"""Draws the axis of a panel, with room for some values."""


def panels_of(findings: Sequence[Finding]) -> list[tuple[str, list[Finding], DrawAxis]]:
    """Put findings apart that need axes of their own: title, findings, and what draws the axis."""
    panels: list[tuple[str, list[Finding], DrawAxis]] = [
        ("Differences of two media",
         [f for f in findings if is_difference(f) and not f.parts and not is_spread(f)], _difference_axis),
        (SPREADS, [f for f in findings if is_spread(f)], _difference_axis),
        ("Gaps between two such differences", [f for f in findings if f.parts], _gap_axis),
        ("Readings below which the claimed share of edges falls",
         [f for f in findings if not is_difference(f)], _reading_axis),
    ]  # fmt: skip
    return [panel for panel in panels if panel[1]]


def _draw(findings: Findings) -> Figure:
    panels = [(title, _lanes(members), axis) for title, members, axis in panels_of(findings.findings)]
    head = 0.34
    top = 0.98
    figure = titled(TITLE, top + sum(head + drawn[-1].bottom + BELOW for _, drawn, _ in panels) + 0.05)
    _key(figure)
    for title, drawn, axis in panels:
        write(figure, MARGIN, top, title, bold=True, colour=SOFT)
        _panel(figure, top + head, drawn, axis)
        top += head + drawn[-1].bottom + BELOW
    return figure


def _lanes(members: Sequence[Finding]) -> list[Lane]:
    drawn: list[Lane] = []
    for finding in members:
        says = wrapped(finding.says, ROOM, lines=2)
        told = wrapped(in_short(finding), ROOM, size=SMALL)
        drawn.append(Lane(finding, tuple(says), tuple(told), drawn[-1].bottom if drawn else 0.0))
    return drawn


def _panel(figure: Figure, top: float, drawn: Sequence[Lane], axis: DrawAxis) -> None:
    height = drawn[-1].bottom
    axes = place(figure, MARGIN, top, ROOM, height)
    lanes(axes, height)
    axis(axes, drawn[0].finding, [value for lane in drawn for value in span_of(lane.finding)])
    axes.grid(False)
    across = axes.get_yaxis_transform()
    for lane in drawn:
        axes.text(0, lane.top, "\n".join(lane.says), va="top", linespacing=1.2, transform=across)
        axes.text(0, lane.top + len(lane.says) * line_height(NORMAL), "\n".join(lane.told), va="top", linespacing=1.2,
                  fontsize=SMALL, color=INKS_OF[lane.finding.finding], transform=across)  # fmt: skip
        _track(axes, lane)


def _track(axes: Axes, lane: Lane) -> None:
    ends = lane.y - TRACK / 2, lane.y + TRACK / 2
    if answered(lane.finding):
        draw_region(axes, lane.finding, lane.y, TRACK)
    axes.vlines(axes.get_xticks(), *ends, color=RULE, linewidth=0.6, zorder=0.6)
    if is_difference(lane.finding):
        axes.vlines([0.0], *ends, color=INK, linewidth=1, zorder=0.8)
    if answered(lane.finding):
        draw_interval(axes, lane.finding, lane.y)


def _difference_axis(axes: Axes, first: Finding, values: Sequence[float]) -> None:
    plain_axis(axes, difference_limits(first, values), difference_label(first))


def _gap_axis(axes: Axes, first: Finding, values: Sequence[float]) -> None:
    label = f"gap, {first.unit}: how far the first difference lies above the second"
    plain_axis(axes, padded([0.0, *values]), label)


def _reading_axis(axes: Axes, first: Finding, values: Sequence[float]) -> None:
    log = first.scale == "log"
    reading_axis(axes, padded(values, log=log), first.unit, log=log)


def _key(figure: Figure) -> None:
    axes = strip(figure, 0.45, 0.45)
    axes.fill_between([0.0, 0.24], 0.05, 0.19, color=TINT, linewidth=0)
    axes.plot([0.24, 0.24], [0.05, 0.19], color=SOFT, linewidth=1.2)
    axes.text(0.32, 0.12, "where the claim is true, with its margin", fontsize=SMALL, va="center")
    for left, finding, marker in ((0.0, "shown", "o"), (1.3, "contradicted", "X"), (3.1, "open", "o")):
        colour = INKS_OF[finding]
        axes.plot([left, left + 0.24], [0.34] * 2, color=colour, linewidth=2.4)
        axes.plot([left + 0.12], [0.34], marker, color=colour, markersize=9,
                  markerfacecolor=GROUND if finding == "open" else colour,
                  markeredgecolor=colour if finding == "open" else GROUND)  # fmt: skip
        axes.text(left + 0.32, 0.34, finding, fontsize=SMALL, va="center")
