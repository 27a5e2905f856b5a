"""Axes of readings and of differences: few round ticks, a unit on every one."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator

from sharpstats.figures.frame import ruled
from sharpstats.figures.style import SMALL

_STEPS = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0)
_FEW_STEPS = (1.0, 2.0, 5.0)


def ticks(low: float, high: float, *, log: bool = False, most: int = 7) -> list[float]:
    """Return round numbers between two limits.

    Examples
    --------
    >>> ticks(90.0, 250.0, log=True), ticks(90.0, 900.0, log=True)
    ([100.0, 150.0, 200.0, 250.0], [100.0, 200.0, 500.0])
    >>> ticks(-12.0, 31.0)
    [-10.0, 0.0, 10.0, 20.0, 30.0]
    """
    if not log or high / low < 4:
        even = MaxNLocator(nbins=most - 1, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
        return [round(float(tick), 10) + 0.0 for tick in even if low <= tick <= high]
    for steps in (_STEPS, _FEW_STEPS, (1.0,)):
        found = _log_ticks(low, high, steps)
        if len(found) <= most:
            break
    return found


def _log_ticks(low: float, high: float, steps: Sequence[float]) -> list[float]:
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    candidates = (round(step * 10.0**power, 12) for power in powers for step in steps)
    return [tick for tick in candidates if low <= tick <= high]


def padded(values: Sequence[float], *, log: bool = False, by: float = 0.05) -> tuple[float, float]:
    """Return limits a little beyond the smallest and largest finite value.

    Examples
    --------
    >>> padded([0.0, 10.0])
    (-0.5, 10.5)
    """
    known = np.asarray([value for value in values if math.isfinite(value) and (value > 0 or not log)], dtype=float)
    if not known.size:
        return (1.0, 10.0) if log else (-1.0, 1.0)
    ends = np.log(known) if log else known
    low, high = float(ends.min()), float(ends.max())
    reach = by * (high - low) or (0.05 if log else 0.05 * abs(low) or 1.0)
    low, high = low - reach, high + reach
    return (math.exp(low), math.exp(high)) if log else (low, high)


def reading_axis(axes: Axes, limits: tuple[float, float], unit: str, *, log: bool) -> None:
    """Make the horizontal axis one of readings."""
    axes.set_xscale("log" if log else "linear")
    axes.set_xlim(limits)
    _mark(axes, ticks(*limits, log=log))
    axes.set_xlabel(f"reading, {unit}{' (log axis)' if log else ''}; lower is keener", parse_math=False)


def _mark(axes: Axes, places: Sequence[float], *, down: bool = False) -> None:
    axis = axes.yaxis if down else axes.xaxis
    axis.set_major_locator(FixedLocator(places))
    axis.set_minor_locator(NullLocator())
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))


def plain_axis(axes: Axes, limits: tuple[float, float], label: str, *, down: bool = False, most: int = 7) -> None:
    """Make the horizontal axis (or the one that goes down) an ordinary one with a label that has a unit."""
    (axes.set_ylim if down else axes.set_xlim)(limits)
    _mark(axes, ticks(*limits, most=most), down=down)
    (axes.set_ylabel if down else axes.set_xlabel)(label, parse_math=False)


def lanes(axes: Axes, height: float) -> None:
    """Let the vertical axis count inches from the top, without marks of its own."""
    axes.set_ylim(height, 0.0)
    axes.yaxis.set_visible(False)
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="x", labelsize=SMALL)
    ruled(axes, "x")
