"""A claim on a track: where it is true, and the interval that decides it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from matplotlib.axes import Axes

from sharpstats.claims.finding import Finding, Part
from sharpstats.figures.axis import padded
from sharpstats.figures.style import GROUND, INK, INKS, SOFT, TINT

MARKS_OF: Mapping[str, str] = {"shown": "o", "contradicted": "X", "open": "o"}
INKS_OF: Mapping[str, str] = {"shown": INKS[0], "contradicted": INKS[1], "open": INK}


def span_of(finding: Finding) -> list[float]:
    """Return the numbers that a track must have room for."""
    known = (finding.low, finding.estimate, finding.high, finding.bound_low, finding.bound_high)
    return [float(value) for value in known if value is not None and math.isfinite(value)]


def draw_region(axes: Axes, finding: Finding, y: float, height: float) -> None:
    """Shade where the claim is true, and end it with a line where it ends."""
    left, right = axes.get_xlim()
    low = left if finding.bound_low is None else finding.bound_low
    high = right if finding.bound_high is None else finding.bound_high
    for ends in ([left, low], [high, right]) if finding.outside else ([low, high],):
        axes.fill_between(ends, y - height / 2, y + height / 2, color=TINT, linewidth=0, zorder=0.5, label="region")
    for bound in (finding.bound_low, finding.bound_high):
        if bound is not None:
            axes.plot([bound] * 2, [y - height / 2, y + height / 2], color=SOFT, linewidth=1.2, label="bound")


def draw_interval(axes: Axes, finding: Finding, y: float, *, scale: float = 1.0) -> None:
    """Draw the interval and the estimate; a side without limit runs to the edge and ends in an arrow head."""
    left, right = axes.get_xlim()
    colour = INKS_OF[finding.finding]
    ends = [finding.low if math.isfinite(finding.low) else left, finding.high if math.isfinite(finding.high) else right]
    axes.plot(ends, [y, y], color=colour, linewidth=2.4 * scale, solid_capstyle="butt", label="interval")
    for value, edge, head in ((finding.low, left, "<"), (finding.high, right, ">")):
        if math.isinf(value):
            axes.plot([edge], [y], head, color=colour, markersize=8 * scale, clip_on=False, label="endless")
    if math.isfinite(finding.estimate):
        axes.plot([finding.estimate], [y], MARKS_OF[finding.finding], markersize=9 * scale, label="estimate",
                  color=colour, markeredgewidth=1.8 * scale if finding.finding == "open" else 0.8 * scale,
                  markerfacecolor=GROUND if finding.finding == "open" else colour,
                  markeredgecolor=colour if finding.finding == "open" else GROUND)  # fmt: skip


def draw_part(axes: Axes, part: Part, y: float) -> None:
    """Draw one of the two differences that a gap is between: it decides nothing, so it has no colour of a finding."""
    if math.isfinite(part.estimate):
        axes.plot([part.low, part.high], [y, y], color=SOFT, linewidth=3, solid_capstyle="butt", label="part")
        axes.plot([part.estimate], [y], "D", color=SOFT, markersize=11, markeredgecolor=GROUND, label="part estimate")


def difference_limits(finding: Finding, values: Sequence[float], by: float = 0.05) -> tuple[float, float]:
    """Return limits with room for the values and zero; no spread is more than 100 % less than another."""
    low, high = padded([0.0, *values], by=by)
    return (max(low, -100.0) if finding.kind == "steadier" else low), high


def difference_label(finding: Finding, *, short: bool = False) -> str:
    """Return the label of an axis of differences: of readings, or of spreads."""
    what, better = ("spread, % more or less", "steadier") if finding.kind == "steadier" else (
        f"difference, {finding.unit}", "keener")  # fmt: skip
    return f"{what}; below 0 is {better}" if short else f"{what}: below zero the first medium is the {better} one"
