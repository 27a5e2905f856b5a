"""All cuts of a study in their order: how far each lies off its like, and where a rule speaks."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sharpstats.figures.axis import padded, plain_axis, ticks
from sharpstats.figures.frame import BELOW, ground, headed, ruled, small_lines
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import GROUND, INK, INKS, SMALL, SOFT, TINT, WIDTH, clipped, ink, mark, place, styled
from sharpstats.tester.alarms import Signal
from sharpstats.tester.circumstances import LOT
from sharpstats.tester.drift import Stability
from sharpstats.tester.labels import called
from sharpstats.words.numbers import from_scale, unit_on
from sharpstats.words.tester.drift import SHORT, finding

TITLE = "The tester from first to last"
LEFT, RIGHT, HEIGHT, LANE = 0.85, 0.2, 2.7, 0.2
MOST_CHANGES = 6
"""Changes of lot that are marked by a rule; where lots alternate, their marks alone tell them."""
MOST_NAMED = 4


def drift_picture(found: Stability) -> Picture:
    """Draw the cuts in order as deviations from their like.

    Parameters
    ----------
    found : Stability

    Returns
    -------
    Picture
        Its data have one row a cut or reading: turn, thing (its edge or load), deviation and running
        average (per cent on the log scale, else in the study's unit), lot, signals.
    """
    data = _data(found)
    with styled():
        figure = _draw(found, data)
    return Picture("tester-drift", TITLE, _alt(found), data, figure)


def _data(found: Stability) -> pd.DataFrame:
    table = found.table
    shown = {name: _shown(found, table[name].to_numpy()) for name in ("deviation", "average")}
    lots = table[LOT].astype(str) if LOT in table else ""
    thing = next((table[name].astype(str) for name in ("edge", "load") if name in table), "")
    return table[["turn"]].assign(thing=thing, lot=lots, **shown, signals=table["signals"])


def _shown(found: Stability, values: np.ndarray) -> np.ndarray:
    return np.array([from_scale(float(value), found.scale) for value in values])


def _alt(found: Stability) -> str:
    far = found.limits.sd_neighbours * found.alarms.limits[0]
    low, high = _shown(found, np.array([-far, far]))
    return (
        f"{finding(found)} Each mark is a {found.what}; its height says how far it lies off its like. The limits of "
        f"a single {found.what} are {low:.3g} and {high:.3g} {unit_on(found.scale, found.unit)}."
    )


def _draw(found: Stability, data: pd.DataFrame) -> Figure:
    longest, lots = _longest(found), _lots(data)
    legend, patterns = (0.4 if lots else 0.2), LANE * len(longest)
    lines = small_lines(finding(found), _key(found, data))
    figure, top = headed(TITLE, lines, legend + HEIGHT + patterns + BELOW)
    top += legend
    axes = place(figure, LEFT, top, WIDTH - LEFT - RIGHT, HEIGHT)
    _frame(axes, found, data)
    _limits(axes, found, data)
    _cuts(axes, data, lots)
    _names(axes, data, found.what)
    if longest:
        below = place(figure, LEFT, top + HEIGHT, WIDTH - LEFT - RIGHT, patterns)
        _patterns(below, data["turn"].to_numpy(float), longest)
        axes.xaxis.set_visible(False)
        axes = below
    _turns(axes, data, found.what)
    return figure


def _key(found: Stability, data: pd.DataFrame) -> str:
    shape = ", its shape its lot" if data["lot"].nunique() > 1 else ""
    like = f", against its like (same {' and '.join(out)})" if (out := found.series.taken_out) else ""
    bars = "" if found.alarms.steady else f" Bars below: {found.what}s that make a pattern."
    return (
        f"Mark: a {found.what}{like}{shape}. Dashed lines: limits of a single one. Thick line: the running average; "
        f"band: its limits.{bars}"
    )


def _lots(data: pd.DataFrame) -> list[str]:
    """Lots in the order of their first cut, if there are several."""
    lots = list(dict.fromkeys(data["lot"]))
    return lots if len(lots) > 1 else []


def _longest(found: Stability) -> list[Signal]:
    """For each rule that speaks, the longest pattern."""
    signals = found.alarms.signals
    return [max((s for s in signals if s.rule == rule), key=lambda s: s.last - s.first)
            for rule in dict.fromkeys(signal.rule for signal in signals)]  # fmt: skip


def _frame(axes: Axes, found: Stability, data: pd.DataFrame) -> None:
    ruled(axes)
    far = float(found.limits.sd_neighbours * found.alarms.limits[0])
    ends = padded([*data["deviation"], *_shown(found, np.array([-far, far]))], by=0.08)
    axes.set_xlim(_span(data))
    like = "of its like" if found.series.taken_out else "of all"
    plain_axis(axes, ends, f"off the mean {like}, {unit_on(found.scale, found.unit)}", down=True)


def _span(data: pd.DataFrame) -> tuple[float, float]:
    first, last = float(data["turn"].iloc[0]), float(data["turn"].iloc[-1])
    return first - 0.03 * (last - first), last + 0.03 * (last - first)


def _turns(axes: Axes, data: pd.DataFrame, what: str) -> None:
    plain_axis(axes, _span(data), f"place of the {what} in the order of the study")
    axes.set_xticks([tick for tick in ticks(*_span(data)) if tick == round(tick) and tick >= data["turn"].min()])


def _limits(axes: Axes, found: Stability, data: pd.DataFrame) -> None:
    """Draw where chance keeps the cuts and their running average."""
    turn, centre = data["turn"], found.limits.centre
    low, high = (_shown(found, ends - centre) for ends in (found.average.low, found.average.high))
    axes.fill_between(turn, low, high, color=TINT, linewidth=0, label="band")
    axes.axhline(0.0, color=SOFT, linewidth=0.8)
    far = float(found.limits.sd_neighbours * found.alarms.limits[0])
    for end in _shown(found, np.array([-far, far])):
        axes.axhline(end, color=SOFT, linewidth=1, dashes=(4, 2), label="limit")
    axes.plot(turn, data["average"], color=INK, linewidth=2, label="average")


def _cuts(axes: Axes, data: pd.DataFrame, lots: list[str]) -> None:
    """Draw the cuts, one shape a lot, and a rule where the lot changes."""
    for place_, lot in enumerate(lots or [""]):
        own = data[data["lot"] == lot] if lots else data
        axes.plot(own["turn"], own["deviation"], mark(place_), color=ink(place_), markersize=5.5, alpha=0.85,
                  markeredgecolor=GROUND, markeredgewidth=0.6,
                  label=called("lot", clipped(lot, 1.6, size=SMALL)) if lots else "cut")  # fmt: skip
    if not lots:
        return
    changes = np.flatnonzero((data["lot"] != data["lot"].shift()).to_numpy())[1:]
    for at in changes if len(changes) <= MOST_CHANGES else ():
        axes.axvline(float(data["turn"].iloc[at - 1 : at + 1].mean()), color=SOFT, linewidth=1, label="change")
    drawn = [line for line in axes.get_lines() if str(line.get_label()).startswith("lot ")]
    axes.legend(handles=drawn, loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncols=4, frameon=False, fontsize=SMALL,
                handletextpad=0.2, columnspacing=1.2, borderaxespad=0.1)  # fmt: skip


def _names(axes: Axes, data: pd.DataFrame, what: str) -> None:
    """Name the cuts that lie too far off by themselves."""
    far = data[data["signals"].str.split(", ").map(lambda rules: "far" in rules)]
    farthest = far.loc[far["deviation"].abs().nlargest(MOST_NAMED).index]
    middle = sum(axes.get_xlim()) / 2
    for row in farthest.to_dict("records"):
        left = row["turn"] > middle
        text = f"{what} {row['turn']:g}" + (f", {row['thing']}" if row["thing"] else "")
        axes.annotate(clipped(text, 1.6, size=SMALL), (row["turn"], row["deviation"]), (-8 if left else 8, 0),
                      textcoords="offset points", ha="right" if left else "left", va="center", fontsize=SMALL,
                      bbox=ground(0.8))  # fmt: skip
    axes.plot(far["turn"], far["deviation"], "o", color=INKS[1], markersize=11, fillstyle="none", markeredgewidth=1.4,
              label="far")  # fmt: skip


def _patterns(axes: Axes, turns: np.ndarray, longest: list[Signal]) -> None:
    """Draw below the cuts where each pattern is longest."""
    axes.set_ylim(len(longest), 0)
    axes.yaxis.set_visible(False)
    axes.spines["left"].set_visible(False)
    middle = (turns[0] + turns[-1]) / 2
    for lane, signal in enumerate(longest):
        first, last = turns[signal.first], turns[signal.last]
        axes.plot([first - 0.4, last + 0.4], [lane + 0.5] * 2, color=INKS[1], linewidth=5, solid_capstyle="butt",
                  label="pattern")  # fmt: skip
        left = (first + last) / 2 > middle
        axes.annotate(SHORT[signal.rule], (first - 0.4 if left else last + 0.4, lane + 0.5), (-5 if left else 5, 0),
                      textcoords="offset points", va="center", ha="right" if left else "left", fontsize=SMALL,
                      color=SOFT)  # fmt: skip
