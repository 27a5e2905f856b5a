"""What would change the findings: every claim's interval under every change, in one picture."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from sharpstats.claims.finding import Finding
from sharpstats.claims.fragility import SCALE, SET_ASIDE, Changed, Fragility, Group
from sharpstats.figures.axis import lanes
from sharpstats.figures.claims import DrawAxis, in_short, is_difference, panels_of
from sharpstats.figures.frame import BELOW, MARGIN, ROOM, small_lines, strip, titled
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import (
    GROUND,
    INK,
    NORMAL,
    RULE,
    SMALL,
    SOFT,
    TINT,
    clipped,
    line_height,
    place,
    styled,
    wrapped,
    write,
)
from sharpstats.figures.track import INKS_OF, MARKS_OF, draw_interval, draw_region, span_of
from sharpstats.words.findings import answered
from sharpstats.words.fragility import what_changes
from sharpstats.words.labels import clip
from sharpstats.words.numbers import count

TITLE = "What would change the findings"
SAYS = ("Each thin line is the claim's interval in a trial from which one edge, blade or the like was left out. A line "
        "with a mark has another finding.")  # fmt: skip
NAMES, GAP = 1.3, 0.14
FOUND, SINGLE, MOST = 0.24, 0.18, 0.5
"""Heights in inches: of the finding itself, of one change, of many."""
REACH = 1.0
"""How far beyond the findings the axis goes for wider intervals, in its own length."""


@dataclass(frozen=True, slots=True)
class Lane:
    """One claim: its words and its groups of changes, and where they are drawn."""

    finding: Finding
    groups: tuple[Group, ...]
    says: tuple[str, ...]
    told: tuple[str, ...]
    top: float

    @property
    def track(self) -> float:
        """Where the intervals begin."""
        return self.top + len(self.says) * line_height(NORMAL) + len(self.told) * line_height(SMALL) + 0.06

    @property
    def bands(self) -> list[tuple[Group, float, float]]:
        """Each group with the top and the height of its band."""
        found, top = [], self.track + FOUND
        for group in self.groups:
            found.append((group, top, _height(len(group.members))))
            top += found[-1][2]
        return found

    @property
    def end(self) -> float:
        """Where the intervals end."""
        return self.track + FOUND + sum(height for _, _, height in self.bands)


def fragility_picture(fragility: Fragility) -> Picture | None:
    """Draw the interval of every claim under every change.

    Parameters
    ----------
    fragility : Fragility

    Returns
    -------
    Picture or None
        Its data have one row a claim and change. None where nothing was changed or no claim is answered.
    """
    findings = [finding for finding in fragility.findings.findings if answered(finding)]
    if not fragility.changed or not findings:
        return None
    with styled():
        figure = _draw(fragility, findings)
    told = (f"{clip(finding.says, 120)}: {what_changes(fragility, finding)}" for finding in findings)
    return Picture("fragility", TITLE, f"{SAYS} {' '.join(told)}", fragility.table, figure)


def _height(members: int) -> float:
    return max(SINGLE, min(SINGLE + 0.02 * members, MOST)) if members > 1 else SINGLE


def _draw(fragility: Fragility, findings: Sequence[Finding]) -> Figure:
    panels = [(title, list(_lanes(fragility, members)), axis) for title, members, axis in panels_of(findings)]
    about = small_lines(SAYS, lines=3)
    head, top = 0.3, 0.5 + len(about) * line_height(SMALL) + 0.36
    figure = titled(TITLE, top + sum(head + drawn[-1].end + BELOW for _, drawn, _ in panels) + 0.05)
    write(figure, MARGIN, 0.45, "\n".join(about), size=SMALL)
    _key(figure, top - 0.34)
    for title, drawn, axis in panels:
        write(figure, MARGIN, top, title, bold=True, colour=SOFT)
        _panel(figure, top + head, drawn, axis)
        top += head + drawn[-1].end + BELOW
    return figure


def _lanes(fragility: Fragility, members: Sequence[Finding]) -> Iterator[Lane]:
    top = 0.0
    for finding in members:
        says, told = wrapped(finding.says, ROOM, lines=2), wrapped(in_short(finding), ROOM, size=SMALL)
        lane = Lane(finding, fragility.groups(finding.claim), tuple(says), tuple(told), top)
        yield lane
        top = lane.end + GAP


def _panel(figure: Figure, top: float, drawn: Sequence[Lane], axis: DrawAxis) -> None:
    height = drawn[-1].end
    axes = place(figure, MARGIN + NAMES, top, ROOM - NAMES, height)
    lanes(axes, height)
    axis(axes, drawn[0].finding, _ends(drawn))
    axes.xaxis.label.set(horizontalalignment="right", x=1.0)  # it is longer than the axis
    axes.grid(False)
    for lane in drawn:
        write(figure, MARGIN, top + lane.top, "\n".join(lane.says))
        write(figure, MARGIN, top + lane.top + len(lane.says) * line_height(NORMAL), "\n".join(lane.told), size=SMALL,
              colour=INKS_OF[lane.finding.finding])  # fmt: skip
        _track(axes, lane)
        _name(figure, top + lane.track + FOUND / 2, "as found")
        for group, start, tall in lane.bands:
            _name(figure, top + start + tall / 2, _called(group))
            _band(axes, group, start, tall)


def _name(figure: Figure, middle: float, text: str) -> None:
    write(figure, MARGIN, middle - line_height(SMALL) / 2, clipped(text, NAMES - 0.1, size=SMALL), size=SMALL)


def _called(group: Group) -> str:
    """Name a group in the margin."""
    if group.kind == SET_ASIDE:
        return f"{count(int(group.members[0].change.name), 'row')} put back"
    if group.kind == SCALE:
        return "as read" if group.members[0].change.name == "as read" else "as logarithms"
    return count(len(group.members), group.kind)


def _track(axes: Axes, lane: Lane) -> None:
    middle, tall = (lane.track + lane.end) / 2, lane.end - lane.track
    draw_region(axes, lane.finding, middle, tall)
    axes.vlines(axes.get_xticks(), lane.track, lane.end, color=RULE, linewidth=0.6, zorder=0.6)
    if is_difference(lane.finding):
        axes.vlines([0.0], lane.track, lane.end, color=INK, linewidth=1, zorder=0.8)
    draw_interval(axes, lane.finding, lane.track + FOUND / 2)


def _band(axes: Axes, group: Group, top: float, tall: float) -> None:
    """Draw the intervals of a group below one another, in the order of their estimates."""
    members = sorted(group.members, key=lambda one: (math.isnan(one.estimate), one.estimate))
    step = 0.8 * tall / len(members)
    places = [top + 0.1 * tall + step * (i + 0.5) for i in range(len(members))]
    known = [(one, y) for one, y in zip(members, places, strict=True) if one.finding is not None]
    left, right = axes.get_xlim()
    width = min(max(step * 72 * 0.7, 0.5), 1.6)
    axes.add_collection(LineCollection(
        [[(max(one.low, left), y), (min(one.high, right), y)] for one, y in known], linewidths=width, label=group.kind,
        colors=[INKS_OF[str(one.finding)] for one, _ in known], capstyle="butt",
    ), autolim=False)  # fmt: skip
    for one, y in known:
        if one.finding != group.own:
            _mark(axes, one, y)
    lost = [y for one, y in zip(members, places, strict=True) if one.finding is None]
    axes.hlines(lost, left, right, color=SOFT, linewidth=0.8, linestyle=":")


def _mark(axes: Axes, one: Changed, y: float) -> None:
    colour = INKS_OF[str(one.finding)]
    hollow = one.finding == "open"
    axes.plot([one.estimate], [y], MARKS_OF[str(one.finding)], color=colour, markersize=6, label="change",
              markerfacecolor=GROUND if hollow else colour, markeredgecolor=colour if hollow else GROUND,
              markeredgewidth=1.2 if hollow else 0.6)  # fmt: skip


def _ends(drawn: Sequence[Lane]) -> list[float]:
    """Numbers that an axis must have room for: the findings, and intervals a little wider than those."""
    own = [value for lane in drawn for value in span_of(lane.finding)]
    low, high = min(own), max(own)
    far = REACH * (high - low)
    least = low / 4 if drawn[0].finding.than is None and low > 0 else low - far  # readings may have a log axis
    ends = np.array([(one.low, one.high) for lane in drawn for group in lane.groups for one in group.members])
    ends = ends[np.isfinite(ends)]
    return [low, high, *np.clip(ends, least, high + far)]


def _key(figure: Figure, top: float) -> None:
    axes = strip(figure, top, 0.2)
    axes.fill_between([0.0, 0.24], 0.03, 0.17, color=TINT, linewidth=0)
    axes.plot([0.24, 0.24], [0.03, 0.17], color=SOFT, linewidth=1.2)
    axes.text(0.32, 0.1, "where the claim is true", fontsize=SMALL, va="center")
    for left, finding in ((2.2, "shown"), (3.3, "contradicted"), (4.9, "open")):
        colour = INKS_OF[finding]
        axes.plot([left, left + 0.24], [0.1] * 2, color=colour, linewidth=1.6)
        axes.plot([left + 0.12], [0.1], MARKS_OF[finding], color=colour, markersize=6,
                  markerfacecolor=GROUND if finding == "open" else colour,
                  markeredgecolor=colour if finding == "open" else GROUND)  # fmt: skip
        axes.text(left + 0.32, 0.1, finding, fontsize=SMALL, va="center")
