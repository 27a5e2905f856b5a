"""Every edge with its cuts, the mean of each medium with its interval, and the levels."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sharpstats.figures.axis import lanes, padded, reading_axis
from sharpstats.figures.frame import MARGIN, ROOM, ground, small_lines, strip, titled
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import (
    GROUND,
    INK,
    NORMAL,
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
from sharpstats.model.trialfit import MEDIUM, TrialFit
from sharpstats.trial.plan import Level
from sharpstats.units import ForceUnit
from sharpstats.words.labels import clip, listing
from sharpstats.words.numbers import amount, amounts, count, level_percent, stated

TITLE = "Every edge with its cuts"
HEADING, NAME, MEAN, GAP = 0.34, 0.23, 0.24, 0.06
OVER_MARK = ">"
"""An arrow to the right: the reading is somewhere there."""
MOST_SHAPES = 4000
"""More cuts than this are drawn as one image inside the SVG."""
CROWD = 40
"""More edges in a lane than this are drawn smaller."""
Limits = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Lane:
    """One medium at one level of the second factor, and where it is drawn.

    Attributes
    ----------
    medium, at : str
    place : int
        The medium's place in the plan: its ink and mark.
    top : float
        Inches below the top of the axes.
    edges, cuts : DataFrame
        Readings of the edges and of their cuts, with their height `y`.
    mean : DataFrame
        Estimate, low, high, level in the trial's unit, and `y`; empty where there is none.
    """

    medium: str
    at: str
    place: int
    top: float
    edges: pd.DataFrame
    cuts: pd.DataFrame
    mean: pd.DataFrame


def edges_picture(fit: TrialFit) -> Picture:
    """Draw every edge of the comparison, keenest on top of each medium.

    Parameters
    ----------
    fit : TrialFit

    Returns
    -------
    Picture
        Its data have one row a cut, edge, mean or level.
    """
    factor = second_factor(fit)
    drawn = list(_lanes(fit, factor))
    data = pd.concat(map(_rows, drawn), ignore_index=True)
    limits = padded(data[["reading", "low", "high"]].to_numpy(dtype=float).ravel().tolist(), log=fit.scale == "log")
    levels = [level for level in fit.trial.plan.levels if limits[0] < _force(fit, level) < limits[1]]
    with styled():
        figure = _draw(fit, drawn, factor, limits, levels)
    marked = pd.DataFrame({"part": "level", "edge": [level.name for level in levels],
                           "reading": [_force(fit, level) for level in levels]})  # fmt: skip
    return Picture("edges", TITLE, _alt(fit, drawn, levels), pd.concat([data, marked], ignore_index=True), figure)


def second_factor(fit: TrialFit) -> str:
    """Return the first factor beside the medium that has several levels in the comparison, or nothing."""
    others = (name for name in fit.trial.plan.factors if name != MEDIUM and name in fit.edges)
    return next((name for name in others if fit.edges[name].nunique() > 1), "")


def _force(fit: TrialFit, level: Level) -> float:
    return level.reading.to(fit.trial.plan.unit).value


def _lanes(fit: TrialFit, factor: str) -> Iterator[Lane]:
    factors, edges, top = fit.trial.plan.factors, fit.edges, 0.0
    for at in factors[factor] if factor else ("",):
        top += HEADING if at else 0.0
        for order, medium in enumerate(factors[MEDIUM]):
            rows = edges[(edges[MEDIUM] == medium) & ((edges[factor] == at) if at else True)]
            if len(rows):
                lane = _lane(fit, medium, at, order, top, rows)
                top += NAME + _strip(len(rows)) + MEAN + GAP
                yield lane


def _strip(edges: int) -> float:
    """Return the height in which so many edges are drawn."""
    return float(np.clip(0.062 * edges, 0.16, 0.62))


def _lane(fit: TrialFit, medium: str, at: str, order: int, top: float, rows: pd.DataFrame) -> Lane:
    height = _strip(len(rows))
    edges = rows.sort_values(["reading", "edge"])[["edge", "reading", "over_range"]].reset_index(drop=True)
    edges["over_range"] = edges["over_range"] > 0
    edges["y"] = top + NAME + height * (np.arange(len(edges)) + 0.5) / len(edges)
    cuts = fit.data[["edge", "reading", "over_range"]].merge(edges[["edge", "y"]], on="edge")
    return Lane(medium, at, order, top, edges, cuts, _mean(fit, medium, at, top + NAME + height + MEAN / 2))


def _mean(fit: TrialFit, medium: str, at: str, y: float) -> pd.DataFrame:
    means = fit.readings
    here = (means["term"] == medium) & ((means["at"] == at) if "at" in means else True)
    return means.loc[here, ["estimate", "low", "high", "level"]].head(1).dropna().assign(y=y)


def _rows(lane: Lane) -> pd.DataFrame:
    mean = lane.mean.rename(columns={"estimate": "reading"})
    parts = [lane.cuts.assign(part="cut"), lane.edges.assign(part="edge"), mean.assign(part="mean", edge="")]
    columns = ["part", "medium", "at", "edge", "reading", "over_range", "low", "high", "level", "y"]
    return pd.concat(parts).assign(medium=lane.medium, at=lane.at).reindex(columns=columns)


def _draw(fit: TrialFit, drawn: Sequence[Lane], factor: str, limits: Limits, levels: Sequence[Level]) -> Figure:
    last = drawn[-1]
    height = last.top + NAME + _strip(len(last.edges)) + MEAN + GAP
    notes = small_lines(_footnote(fit))
    names = line_height(SMALL) * len(levels)
    top = 0.95 + names + 0.08
    figure = titled(TITLE, top + height + 0.6 + line_height(SMALL) * len(notes) + 0.1)
    _key(figure, float(drawn[0].mean["level"].iloc[0]) if len(drawn[0].mean) else None, limits=_limits(fit))
    axes = place(figure, MARGIN, top, ROOM, height)
    lanes(axes, height)
    reading_axis(axes, limits, fit.unit, log=fit.scale == "log")
    _draw_levels(fit, axes, limits, levels)
    for lane in drawn:
        if lane.at and (lane is drawn[0] or lane.at != drawn[drawn.index(lane) - 1].at):
            _head(axes, lane, factor)
        _draw_lane(axes, lane, fit)
    write(figure, MARGIN, top + height + 0.6, "\n".join(notes), size=SMALL, colour=SOFT)
    return figure


def _footnote(fit: TrialFit) -> str:
    left, told = len(fit.left_out), []
    if _limits(fit):
        told.append("A hollow mark is an edge with a cut over the tester's range: where the fit puts its mean.")
    if left:
        drawn = "is" if left == 1 else "are"
        told.append(f"{count(left, 'edge')} with all cuts over the tester's range, like all edges made alike, {drawn} "
                    "not drawn.")  # fmt: skip
    if fit.trial.plan.layout.blocks:
        blocks = listing([f"{clip(name, 30)}s" for name in fit.trial.plan.layout.blocks])
        told.append(f"Intervals of means hold the spread between {blocks}, which differences between media do not: "
                    "intervals that overlap may still belong to media that differ.")  # fmt: skip
    return " ".join(told)


def _limits(fit: TrialFit) -> bool:
    """Whether a cut in the picture is over the tester's range."""
    return bool((fit.edges["over_range"] > 0).any())


def _key(figure: Figure, level: float | None, *, limits: bool) -> None:
    """Say below the title what the marks mean, beside the marks themselves."""
    axes = strip(figure, 0.45, 0.45)
    axes.plot([0.05, 0.1, 0.18], [0.12] * 3, "|", color=SOFT, markersize=7)
    axes.text(0.32, 0.12, "one cut", fontsize=SMALL, va="center")
    axes.plot([1.25], [0.12], "o", color=SOFT, markersize=5)
    axes.text(1.4, 0.12, "one edge: the mean of its cuts (keenest on top)", fontsize=SMALL, va="center")
    if limits:
        axes.plot([3.75], [0.33], OVER_MARK, color=SOFT, markersize=5)
        axes.text(3.9, 0.33, "a cut over the tester's range", fontsize=SMALL, va="center")
    if level is not None:
        axes.plot([0.0, 0.24], [0.33] * 2, "-", color=INK, linewidth=2.2)
        axes.plot([0.12], [0.33], "o", color=INK, markeredgecolor=GROUND, markersize=8)
        text = f"mean of the medium with its {level_percent(level)} interval"
        axes.text(0.32, 0.33, text, fontsize=SMALL, va="center")


def _draw_levels(fit: TrialFit, axes: Axes, limits: Limits, levels: Sequence[Level]) -> None:
    """Draw each level as a line that ends at its name; the names stand on lines of their own above."""
    for row, level in enumerate(sorted(levels, key=lambda level: _force(fit, level))):
        force = _force(fit, level)
        y = -0.08 - line_height(SMALL) * (len(levels) - row - 0.5)
        down = axes.get_ylim()[0]
        axes.plot([force] * 2, [y, down], color=SOFT, linewidth=1, dashes=(4, 2), clip_on=False, label="level",
                  zorder=1)  # fmt: skip
        spot = axes.transAxes.inverted().transform(axes.transData.transform((force, 0.0)))[0]
        text = stated(level.reading) if level.name == str(level.reading) else f"{stated(level.reading)}: {level.name}"
        left = spot < 0.5
        text = clipped(text, ROOM * (1 - spot if left else spot) - 0.1, size=SMALL)
        axes.annotate(text, (force, y), (4 if left else -4, 0), textcoords="offset points", fontsize=SMALL, va="center",
                      ha="left" if left else "right", color=SOFT, annotation_clip=False, bbox=ground(0.85))  # fmt: skip


def _head(axes: Axes, lane: Lane, factor: str) -> None:
    y = lane.top - HEADING + 0.04
    text = clipped(f"{factor}: {lane.at}", ROOM, bold=True)
    across = axes.get_yaxis_transform()
    axes.plot([0, 1], [y, y], color=RULE, linewidth=1, transform=across)
    axes.text(0, y + 0.06, text, fontsize=NORMAL, fontweight="bold", va="top", transform=across, bbox=ground(0.85))


def _draw_lane(axes: Axes, lane: Lane, fit: TrialFit) -> None:
    colour, shape = ink(lane.place), mark(lane.place)
    many = len(fit.data) > MOST_SHAPES
    name = clipped(lane.medium, ROOM)
    axes.text(0, lane.top + NAME / 2, name, va="center", color=colour, fontsize=NORMAL, bbox=ground(0.85),
              transform=axes.get_yaxis_transform())  # fmt: skip
    spans = lane.cuts.groupby("y")["reading"].agg(["min", "max"])
    axes.hlines(spans.index, spans["min"], spans["max"], color=colour, linewidth=0.8, alpha=0.35, rasterized=many)
    over = lane.cuts["over_range"].to_numpy()
    axes.plot(lane.cuts["reading"][~over], lane.cuts["y"][~over], "|", color=colour, markersize=5, alpha=0.6,
              label="cuts", rasterized=many)  # fmt: skip
    if over.any():
        axes.plot(lane.cuts["reading"][over], lane.cuts["y"][over], OVER_MARK, color=colour, markersize=5,
                  label="cuts over the range", rasterized=many)  # fmt: skip
    crowded = len(lane.edges) > CROWD  # light rims would eat up their neighbours
    size, rim = (3, colour) if crowded else (5, GROUND)
    whole = lane.edges[~lane.edges["over_range"]]
    axes.plot(whole["reading"], whole["y"], shape, color=colour, markersize=size, markeredgecolor=rim,
              markeredgewidth=0.5, label="edges", rasterized=many)  # fmt: skip
    if len(whole) < len(lane.edges):
        part = lane.edges[lane.edges["over_range"]]
        axes.plot(part["reading"], part["y"], shape, color=colour, markersize=size, markerfacecolor=GROUND,
                  label="edges with a cut over the range", rasterized=many)  # fmt: skip
    for row in lane.mean.to_dict("records"):
        _draw_mean(axes, lane, {str(name): float(value) for name, value in row.items()}, fit.trial.plan.unit)


def _draw_mean(axes: Axes, lane: Lane, mean: dict[str, float], unit: ForceUnit) -> None:
    low, high, y = mean["low"], mean["high"], mean["y"]
    axes.plot([low, high], [y, y], color=INK, linewidth=2.2, solid_capstyle="butt", label="interval")
    axes.plot([mean["estimate"]], [y], mark(lane.place), color=ink(lane.place), markersize=9, markeredgecolor=GROUND,
              label="mean")  # fmt: skip
    text = amount(mean["estimate"], unit)
    right = _room_right(axes, high) > text_width(text, SMALL) + 0.1
    axes.annotate(text, (high if right else low, y), (5 if right else -5, 0), textcoords="offset points",
                  fontsize=SMALL, va="center", ha="left" if right else "right", bbox=ground(0.85))  # fmt: skip


def _room_right(axes: Axes, reading: float) -> float:
    spot = axes.transAxes.inverted().transform(axes.transData.transform((reading, 0.0)))[0]
    return float(1 - spot) * (ROOM)


def _alt(fit: TrialFit, drawn: Sequence[Lane], levels: Sequence[Level]) -> str:
    edges, cuts = sum(len(lane.edges) for lane in drawn), sum(len(lane.cuts) for lane in drawn)
    told = [_tell(lane, fit) for lane in drawn if len(lane.mean)]
    more = f"; and {len(told) - 8} more" if len(told) > 8 else ""
    intervals = f" Means with {level_percent(float(drawn[0].mean['level'].iloc[0]))} intervals: " if told else ""
    lines = listing([f"{stated(level.reading)} ({clip(level.name)})" for level in levels])
    over = sum(int(lane.cuts["over_range"].sum()) for lane in drawn)
    beyond = f" {count(over, 'cut')} over the tester's range, drawn as arrows at the limit." if over else ""
    return (
        f"{count(edges, 'edge')} with {count(cuts, 'cut')}, on an axis of readings in {fit.unit}.{beyond}"
        f"{intervals}{'; '.join(told[:8])}{more}{'.' if told else ''}"
        f"{f' Levels drawn as lines: {lines}.' if levels else ''}"
    )


def _tell(lane: Lane, fit: TrialFit) -> str:
    mean, unit = lane.mean.iloc[0], fit.trial.plan.unit
    at = f" ({clip(lane.at, 40)})" if lane.at else ""
    limits = amounts(float(mean["low"]), float(mean["high"]), unit)
    return f"{clip(lane.medium, 40)}{at} {amount(float(mean['estimate']), unit)}, {limits}"
