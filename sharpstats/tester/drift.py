"""Whether a tester stays the same while it is used: limits, runs rules, a slow change, steps at new lots.

All of it looks at the cuts of one study, or the readings of one check mass, in the order in which
they were made.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import pandas as pd

from sharpstats.errors import FitError
from sharpstats.late import Shown
from sharpstats.notes import Note
from sharpstats.tester.alarms import WEIGHT, Alarms, find_alarms
from sharpstats.tester.circumstances import LOT, Floats, Slope, beside, fit_slopes, slope_of
from sharpstats.tester.ewma import Average, moving_average
from sharpstats.tester.limits import ControlLimits, individual_limits
from sharpstats.tester.lots import LotSteps, lot_steps
from sharpstats.tester.scale import on_scale
from sharpstats.tester.series import LIKE, Series, cut_series
from sharpstats.trial.plan import Scale
from sharpstats.units import ForceUnit

What = Literal["cut", "reading"]

KEPT = ("reading", "turn", "load", "direction", "operator", "tester", "day", "over_range")
"""What is used of a reading under a known load."""
PER_CUTS = 100.0
"""A trend is told for so many cuts."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Trend:
    """A straight change over the order of all cuts.

    Attributes
    ----------
    slope : Slope
        Change for 100 cuts, lots held where there are several.
    without_wear : Slope or None
        The same with the wear of the edges (the cut's order on its own edge) taken out as well.
    like_wear : bool
        Whether the order on the edges is known but cannot be told from the order of all cuts.
    first, last : float
        First and last place in the order.
    lots_held : bool
        Whether differences between lots were taken out.
    """

    slope: Slope
    without_wear: Slope | None
    like_wear: bool
    first: float
    last: float
    lots_held: bool


@dataclass(frozen=True, eq=False, kw_only=True)
class Stability(Shown):
    """What the order of the cuts tells about the tester.

    Attributes
    ----------
    scale : {"log", "as read"}
    unit : {"gf", "N"}
    series : Series
        Deviations of the cuts from their like, in order.
    limits : ControlLimits
        Of single cuts, and of neighbours.
    average : Average
        The average that forgets, with the limits used here.
    alarms : Alarms
        What the runs rules say, and how often they would say it of a steady tester.
    trend : Trend or None
    lots : LotSteps or None
    notes : tuple of Note
    level : float
        Level of the intervals.
    what : {"cut", "reading"}
        What is in order: cuts on edges, or readings under known loads.
    """

    scale: Scale
    unit: ForceUnit
    series: Series
    limits: ControlLimits
    average: Average
    alarms: Alarms
    trend: Trend | None
    lots: LotSteps | None
    notes: tuple[Note, ...]
    level: float
    what: What = "cut"

    @cached_property
    def looked_at(self) -> dict[str, float]:
        """P values of all that could show a change: ``pattern``, and where they could be told ``trend``, ``lots``."""
        found = {"pattern": self.alarms.p_joint}
        if self.trend is not None:
            found["trend"] = self.trend.slope.p
        if self.lots is not None:
            found["lots"] = float(np.nanmin(self.lots.differences.p, initial=1.0))
        return found

    @cached_property
    def changed(self) -> frozenset[str]:
        """Which of those are more than chance among all of them (Holm 1979)."""
        told: set[str] = set()
        for name, p in sorted(self.looked_at.items(), key=lambda item: item[1]):
            if p * (len(self.looked_at) - len(told)) >= 1 - self.level:
                break
            told.add(name)
        return frozenset(told)

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a cut: turn, labels where known, reading, deviation, average, signals."""
        named = [name for name in (*LIKE, "day", LOT) if name in self.series.cuts]
        table = self.series.cuts[["turn", *named, "reading"]].assign(
            deviation=self.series.deviations - self.limits.centre, average=self.average.path - self.limits.centre
        )
        found = [", ".join(sorted({s.rule for s in self.alarms.signals if s.first <= place <= s.last}))
                 for place in range(len(table))]  # fmt: skip
        return table.assign(signals=found)


def find_stability(
    readings: pd.DataFrame, *, scale: Scale, unit: ForceUnit = "gf", level: float = 0.95, seed: int = 1,
    what: What = "cut",
) -> Stability:  # fmt: skip
    """Ask whether the tester stayed the same from the first cut to the last.

    Parameters
    ----------
    readings : DataFrame
        One row a cut: `reading`, `turn` (place in the order of the study), and where recorded `edge`,
        `operator`, `tester`, `day`, `filament_lot`, `order` (place on its edge), `over_range`. Without
        `edge`, all are readings of one thing (a check mass, a reference edge).
    scale : {"log", "as read"}
    unit : {"gf", "N"}
    level : float
        Level of the intervals.
    seed : int
        Seed of the simulated steady series behind the runs rules.
    what : {"cut", "reading"}
        What is in order, for the words.

    Returns
    -------
    Stability

    Raises
    ------
    FitError
        If the order is unknown, cuts are too few, or all readings are equal.

    Notes
    -----
    The spread is taken from neighbours, since a slow change hardly touches it. Limits of the runs
    rules are set so that 5 of 100 steady series of this length cross any of them (see `alarms.py`).
    Trend and steps come from the readings themselves by a mixed model, not from the deviations.

    References
    ----------
    ISO 7870-2 (single values), ISO 7870-6 (average that forgets).

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(4)
    >>> table = pd.DataFrame({"reading": 100 + rng.standard_normal(40), "turn": range(40)})
    >>> found = find_stability(table, scale="as read")
    >>> found.alarms.steady, round(found.limits.sd_neighbours, 2)
    (True, 1.25)
    """
    series = cut_series(readings, scale)
    limits = individual_limits(series.deviations, series.df, series.neighbours)
    alarms = find_alarms(series, limits, seed=seed)
    reach = float(alarms.limits[alarms.rules.index("average")])
    average = moving_average(
        series.deviations, centre=limits.centre, sd=limits.sd_neighbours, weight=WEIGHT, reach=reach
    )
    trend, no_trend = _trend(series.cuts, scale, level)
    lots, no_lots = _lots(readings, scale, unit, level)
    return Stability(
        scale=scale, unit=unit, series=series, limits=limits, average=average, alarms=alarms, trend=trend, lots=lots,
        notes=(*series.notes, *no_trend, *no_lots), level=level, what=what,
    )  # fmt: skip


def mass_stability(
    masses: pd.DataFrame, *, unit: ForceUnit = "gf", level: float = 0.95, seed: int = 1
) -> Stability:
    """Ask whether the tester stayed the same, from readings under known loads, which nothing wears.

    Parameters
    ----------
    masses : DataFrame
        One row a reading: `applied` (force), `reading`, `run` (place in the order), and where recorded
        `direction`, `operator`, `tester`, `day`, `over_range`.
    unit : {"gf", "N"}
    level : float
    seed : int

    Returns
    -------
    Stability
        Of deviations from the mean reading under the same load, reached from the same side.

    Raises
    ------
    FitError
        As `find_stability`.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(4)
    >>> table = pd.DataFrame({"applied": [200.0, 500.0] * 20, "run": range(1, 41)})
    >>> found = mass_stability(table.assign(reading=table["applied"] + rng.standard_normal(40)))
    >>> found.series.taken_out, found.alarms.steady
    (('load',), True)
    """
    turn = masses["run"] if "run" in masses else float("nan")
    table = masses.assign(turn=turn, load=[f"{load:g} {unit}" for load in masses["applied"]])
    if "direction" in table:
        table["direction"] = table["direction"].fillna("").replace("", "neither")
    kept = [name for name in KEPT if name in table]
    return find_stability(table[kept], scale="as read", unit=unit, level=level, seed=seed, what="reading")


def _trend(cuts: pd.DataFrame, scale: Scale, level: float) -> tuple[Trend | None, tuple[Note, ...]]:
    """Fit a straight change over the order; say why where that cannot be done."""
    values, turn = on_scale(cuts, scale), cuts["turn"].to_numpy(float)
    fixed = [LOT] if LOT in cuts and cuts[LOT].nunique() > 1 else []
    numbers = {"turn": (turn, PER_CUTS)}
    try:
        slope = slope_of(fit_slopes(cuts, values, numbers, fixed=fixed, level=level), "turn", PER_CUTS)
    except FitError as error:
        return None, (Note("no-trend", f"No straight change over the order is told. {error.message}"),)
    if slope is None:
        return None, (Note("no-trend", "A straight change over the order cannot be told from the lots of filament."),)
    worn = "order" in cuts and not cuts["order"].isna().any() and cuts["order"].nunique() > 1
    held = _without_wear(cuts, values, numbers, fixed, slope) if worn else None
    return Trend(slope=slope, without_wear=held, like_wear=worn and held is None, first=float(turn[0]),
                 last=float(turn[-1]), lots_held=bool(fixed)), ()  # fmt: skip


def _without_wear(
    cuts: pd.DataFrame, values: Floats, numbers: dict[str, tuple[Floats, float]], fixed: list[str], alone: Slope
) -> Slope | None:
    both = {"order": (cuts["order"].to_numpy(float), 1.0), **numbers}
    try:
        fit = fit_slopes(cuts, values, both, fixed=fixed, level=alone.level)
    except FitError:
        return None
    return beside(alone, slope_of(fit, "turn", PER_CUTS))


def _lots(
    readings: pd.DataFrame, scale: Scale, unit: ForceUnit, level: float
) -> tuple[LotSteps | None, tuple[Note, ...]]:
    if LOT not in readings or readings[LOT].nunique() < 2:
        return None, ()
    try:
        return lot_steps(readings, scale=scale, unit=unit, level=level), ()
    except FitError as error:
        return None, (Note("no-lot-step", f"No step between lots is told. {error.message}"),)
