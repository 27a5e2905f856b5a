"""What rounding does to a tester's readings: the step, its share of the spread, and habits of whoever reads.

A reading rounded to a step d has the variance d^2 / 12 added to it (JCGM 100:2008, F.2.2.1; Sheppard
1898). That holds while the spread of cuts is not small against the step; where it is, the spread
that is read depends on where an edge happens to lie between two steps.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sharpstats.errors import FitError
from sharpstats.interval import check_level
from sharpstats.late import Shown
from sharpstats.notes import Note
from sharpstats.tester.digits import FEWEST, SHEPPARD, Digits, Places, allowed_digits, look_at_digits
from sharpstats.tester.grid import Floats, Grid, computed, find_grid, steps_from
from sharpstats.tester.overrange import over_range
from sharpstats.tester.scale import on_scale
from sharpstats.trial.plan import Scale
from sharpstats.units import ForceUnit

Verdict = Literal["fine enough", "coarse", "too coarse", "unknown"]

COARSE, TOO_COARSE = 1.0, 2.0
"""Step / SD as read. Integrating a normal density over each step, at every place of the mean between two
steps: up to 1 the SD comes out at most 5 % too high, wherever the mean lies, and d^2/12 taken off puts it
right. At 2 it comes out 15 to 30 % too high, and what is left after d^2/12 is up to 10 % off either way.
Beyond that the place decides: at 2.7 the SD read is anything from 15 % too low to twice too high
(`tests/tester/test_rounding.py` integrates it again)."""
DRAWS = 2000
"""Simulated studies behind a p value: 0.05 is then known to 0.005."""
SEED = 20_260_404
FEW_COMPUTED = 0.1
"""Share of readings up to which those with more decimals than anybody reads are left out as converted."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Habit:
    """How the readings of one operator, or of one tester, are rounded.

    Attributes
    ----------
    name : str
    cuts : int
    grid : Grid or None
        The step on which all of these readings lie.
    digits : Digits or None
        Last digits on the step of the whole study; None where they cannot tell.
    p : float
        p value of the digits, adjusted for the number of operators or testers (Holm); not a number where there
        is none.
    """

    name: str
    cuts: int
    grid: Grid | None
    digits: Digits | None
    p: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Rounding(Shown):
    """The step of a tester's readings, what it adds to their spread, and preferred last digits.

    Attributes
    ----------
    unit : str
        Unit of the study.
    scale : str
        ``log`` or ``as read``: whether the spread of cuts grows with the reading.
    readings, edges : int
        Cuts used, and edges (of one operator) they were made on; 0 edges where none are named.
    grid : Grid or None
        The step; None where the readings are not rounded.
    typical : float
        Mean reading (geometric on the log scale) at which the spread is held against the step.
    repeatability_sd : float or None
        SD of cuts on one edge as read, in `unit`, at the typical reading.
    sd_from : str
        ``given``, ``readings`` or empty.
    digits : Digits or None
        None where last digits cannot tell; a note says why.
    operators, testers : tuple of Habit
        Empty where none are named.
    level : float
        Level of intervals.
    seed, draws : int
        Of the simulated p values.
    notes : tuple of Note
    """

    unit: ForceUnit
    scale: Scale
    readings: int
    edges: int
    grid: Grid | None
    typical: float
    repeatability_sd: float | None
    sd_from: str
    digits: Digits | None
    operators: tuple[Habit, ...]
    testers: tuple[Habit, ...]
    level: float
    seed: int
    draws: int
    notes: tuple[Note, ...] = ()

    @property
    def step(self) -> float | None:
        """The step in the study's unit."""
        return self.grid.step if self.grid else None

    @property
    def rounding_sd(self) -> float:
        """SD that rounding to the step adds: step / sqrt(12), in the study's unit; 0 without a step."""
        return (self.step or 0.0) * math.sqrt(SHEPPARD)

    @property
    def ratio(self) -> float | None:
        """Step / SD of cuts as read; infinite where cuts on one edge never differ."""
        return self.ratio_of(self.step or 0.0)

    def ratio_of(self, step: float) -> float | None:
        """Return the same for a step that only some readings are rounded to, in the study's unit."""
        if self.repeatability_sd is None:
            return None
        return step / self.repeatability_sd if self.repeatability_sd > 0 else math.inf

    @property
    def share(self) -> float | None:
        """Part of the variance of cuts, as read, that rounding explains; 1 at most."""
        return None if self.ratio is None else min(SHEPPARD * self.ratio**2, 1.0)

    @property
    def sd_without(self) -> float | None:
        """SD of cuts less what rounding adds (Sheppard's correction), in the study's unit."""
        if self.repeatability_sd is None or self.share is None:
            return None
        return self.repeatability_sd * math.sqrt(1 - self.share)

    @property
    def verdict(self) -> Verdict:
        """Whether the step is fine enough for the spread of cuts on one edge."""
        return verdict_on(self.ratio)

    @property
    def table(self) -> pd.DataFrame:
        """One row a last digit, for all cuts (``at`` empty) and for each operator."""
        parts = [("", self.digits), *((one.name, one.digits) for one in self.operators)]
        rows = [
            {"term": str(digit), "at": name, "cuts": int(found.counts[i]), "expected": float(found.expected[i])}
            for name, found in parts if found is not None for i, digit in enumerate(found.digits)
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=["term", "at", "cuts", "expected"])

    @property
    def by_operator(self) -> pd.DataFrame:
        """One row an operator: cuts, step, and p value of the last digits."""
        rows = [{"term": one.name, "cuts": one.cuts, "step": one.grid.step if one.grid else math.nan, "p": one.p}
                for one in self.operators]  # fmt: skip
        return pd.DataFrame(rows, columns=["term", "cuts", "step", "p"])


def verdict_on(ratio: float | None) -> Verdict:
    """Judge a step by its ratio to the SD of cuts as read.

    Examples
    --------
    >>> verdict_on(0.6), verdict_on(1.4), verdict_on(2.5), verdict_on(None)
    ('fine enough', 'coarse', 'too coarse', 'unknown')
    """
    if ratio is None:
        return "unknown"
    if ratio > TOO_COARSE:
        return "too coarse"
    return "coarse" if ratio > COARSE else "fine enough"


def find_rounding(
    readings: pd.DataFrame | ArrayLike,
    *,
    unit: ForceUnit,
    scale: Scale = "as read",
    repeatability_sd: float | None = None,
    level: float = 0.95,
    seed: int = SEED,
    draws: int = DRAWS,
) -> Rounding:
    """Find the step to which readings are rounded, and whether last digits show a habit.

    Parameters
    ----------
    readings : DataFrame or array_like of shape (n,)
        Forces in `unit`; a frame has the column ``reading`` and, where known, ``edge``, ``operator``,
        ``tester`` and ``over_range``. Cuts over the tester's range have no last digit and stay out.
    unit : str
        ``gf`` or ``N``.
    scale : str
        ``log`` where the spread of cuts grows with the reading.
    repeatability_sd : float, optional
        SD of cuts on one edge: in `unit`, or of the logarithms on the log scale. Left out, it comes
        from edges that one operator cut more than once.
    level : float
        Level of the interval of the share of readings that lean to a rounder number.
    seed, draws : int
        For p values that are simulated.

    Returns
    -------
    Rounding

    Raises
    ------
    FitError
        If there are fewer than two readings, or all are the same: they show no step.
    ValueError
        If a reading is not a finite number, `repeatability_sd` is not one above zero, or
        `level` not between 0 and 1.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> frame = pd.DataFrame({"edge": np.repeat(list("abcdefgh"), 6)})
    >>> frame["reading"] = 5 * np.rint((150 + rng.normal(0, 20, 8).repeat(6) + rng.normal(0, 9, 48)) / 5)
    >>> found = find_rounding(frame, unit="gf")
    >>> found.step, found.verdict, round(found.share, 2)
    (5.0, 'fine enough', 0.03)
    """
    if repeatability_sd is not None and not 0 < repeatability_sd < math.inf:
        raise ValueError(f"`repeatability_sd` must be a number above zero, got {repeatability_sd}")
    check_level(level)
    frame, over = _used(readings)
    frame, converted = _as_read(frame)
    values, cells = frame["reading"].to_numpy(dtype=float), _cells(frame)
    grid = find_grid(values, unit, cells)
    typical = _typical(frame, scale)
    sd, came = (repeatability_sd, "given") if repeatability_sd else (_sd_from(values, cells, scale), "readings")
    found = Rounding(
        unit=unit, scale=scale, readings=len(frame), edges=0 if cells is None else int(cells.max()) + 1, grid=grid,
        typical=typical, repeatability_sd=None if sd is None else sd * (typical if scale == "log" else 1),
        sd_from=came if sd is not None else "", digits=None, operators=(), testers=(), level=level, seed=seed,
        draws=draws,
    )  # fmt: skip
    found = replace(found, digits=_digits(frame, found), operators=_habits(frame, found, "operator"),
                    testers=_habits(frame, found, "tester"))  # fmt: skip
    return replace(found, notes=(*_converted(converted), *_notes(found, over)))


def _used(readings: pd.DataFrame | ArrayLike) -> tuple[pd.DataFrame, int]:
    """Give the readings within the range as a frame, and how many are over it."""
    frame = readings if isinstance(readings, pd.DataFrame) else pd.DataFrame({"reading": np.asarray(readings, float)})
    over = over_range(frame)
    used = frame[~over]
    values = used["reading"].to_numpy(dtype=float)
    if not np.all(np.isfinite(values)):
        raise ValueError("every reading must be a finite number; set rows without a reading aside first")
    if len(values) < 2:
        raise FitError(f"{len(values)} readings within the tester's range show no step. Take more cuts.")
    if np.all(np.abs(values - values[0]) <= 1e-9 * abs(values[0])):
        raise FitError(
            f"All {len(values)} readings are {values[0]:g}: they show no step. The tester may be too coarse for these "
            "edges; read edges that differ, and ask what step its display has."
        )
    return used, int(over.sum())


def _as_read(frame: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """Leave a few readings out that were computed, as by a change of unit: they would hide the step of all others."""
    odd = computed(frame["reading"].to_numpy(dtype=float))
    few = 0 < odd.mean() <= FEW_COMPUTED
    return (frame[~odd], int(odd.sum())) if few else (frame, 0)


def _converted(converted: int) -> Iterator[Note]:
    if converted:
        were = "reading was" if converted == 1 else "readings were"
        yield Note("converted", f"{converted} {were} converted from another unit, so no step shows there: left out.")


def _cells(frame: pd.DataFrame) -> NDArray[np.intp] | None:
    """Number the edges, each apart for every operator and tester who read it."""
    names = [name for name in ("edge", "operator", "tester") if name in frame]
    if "edge" not in names:
        return None
    return np.asarray(frame.groupby(names, sort=True, dropna=False).ngroup(), dtype=np.intp)


def _typical(frame: pd.DataFrame, scale: Scale) -> float:
    mean = float(on_scale(frame, scale).mean())
    return mean if scale == "as read" else math.exp(mean)


def _sd_from(values: Floats, cells: NDArray[np.intp] | None, scale: Scale) -> float | None:
    """Pool the SD of cuts within edges; of logarithms on the log scale."""
    if cells is None:
        return None
    numbers, counts = np.log(values) if scale == "log" else values, np.bincount(cells)
    df = int(counts.sum() - counts.size)
    off = numbers - (np.bincount(cells, numbers) / counts)[cells]
    if not df:
        return None
    sd = float(np.sqrt(off @ off / df))
    return sd if sd > NOTHING * np.abs(numbers).max() else 0.0


NOTHING = 1e-12
"""An SD of this share of the readings, or less, is what their arithmetic leaves where cuts on one edge are equal."""


def _digits(frame: pd.DataFrame, found: Rounding) -> Digits | None:
    """Look at the last digits of some of the readings, on the step of all."""
    if found.grid is None or not found.grid.sure:
        return None
    values, cells = frame["reading"].to_numpy(dtype=float), _cells(frame)
    rng = np.random.default_rng(found.seed)
    return look_at_digits(_places(values, cells, found), found.grid, rng, found.draws, found.level)


def _places(values: Floats, cells: NDArray[np.intp] | None, found: Rounding) -> Places:
    """Turn readings into steps, with the spread of cuts on each edge."""
    assert found.grid is not None
    steps = steps_from(values, found.grid, found.unit)
    edges = np.zeros(len(values), dtype=np.intp) if cells is None else np.unique(cells, return_inverse=True)[1]
    if found.sd_without is None:  # no edges are named, or each was cut once
        edges = np.zeros(len(values), dtype=np.intp)
        sd = math.sqrt(max(float(np.var(steps, ddof=1)) - SHEPPARD, 0.0))
        return Places(steps=steps, edges=edges, sds=np.array([sd]))
    means = np.bincount(edges, values) / np.bincount(edges)
    growing = means / found.typical if found.scale == "log" else np.ones_like(means)
    return Places(steps=steps, edges=edges, sds=found.sd_without / found.grid.step * growing,
                  known=found.sd_from == "given")  # fmt: skip


def _habits(frame: pd.DataFrame, found: Rounding, by: str) -> tuple[Habit, ...]:
    if by not in frame:
        return ()
    habits = [_habit(str(name), part, found) for name, part in frame.groupby(by, sort=True)]
    told = sorted((one for one in habits if one.digits), key=lambda one: one.p)
    adjusted, least = {}, 0.0
    for place, one in enumerate(told):
        least = max(least, min(1.0, one.p * (len(told) - place)))
        adjusted[one.name] = least
    return tuple(replace(one, p=adjusted.get(one.name, math.nan)) for one in habits)


def _habit(name: str, part: pd.DataFrame, found: Rounding) -> Habit:
    values = part["reading"].to_numpy(dtype=float)
    digits = _digits(part, found)
    return Habit(name=name, cuts=len(part), grid=find_grid(values, found.unit, _cells(part)),
                 digits=digits, p=digits.p if digits else math.nan)  # fmt: skip


def _notes(found: Rounding, over: int) -> list[Note]:
    notes = []
    if over:
        notes.append(Note("over-range", f"{over} readings over the tester's range have no last digit and stay out."))
    if found.repeatability_sd is None:
        notes.append(Note("no-repeatability", "No edge was cut twice by one operator and no spread was given, so the "
                          "step cannot be held against the spread of cuts."))  # fmt: skip
    if found.grid is not None and found.grid.sure and found.digits is None:
        notes.append(_undecided(found))
    notes.extend(_own_steps(found))
    if found.edges == 0 and found.digits is not None:
        notes.append(Note("no-edges", "No edges are named: the readings are taken as independent of each other."))
    drawn = {part.draws for part in (found.digits, *(one.digits for one in found.operators)) if part and part.draws}
    if drawn:
        many = f"{min(drawn):,}{' or more' if len(drawn) > 1 else ''}"
        notes.append(Note("simulated", f"p values of last digits come from {many} simulated studies (seed "
                          f"{found.seed})."))  # fmt: skip
    return notes


def _own_steps(found: Rounding) -> Iterator[Note]:
    """Say of each tester with a step of its own, coarser than that of all readings, what that step means."""
    for one in found.testers:
        if one.grid is None or not one.grid.sure or found.step is None or one.grid.step <= found.step * 1.001:
            continue
        verdict = verdict_on(found.ratio_of(one.grid.step))
        judged = "" if verdict == "unknown" else f", which is {verdict} against the spread of cuts"
        yield Note("own-step", f"Tester {one.name} by itself reads in steps of {one.grid.round_step:g} {one.grid.unit}"
                   f"{judged}.")  # fmt: skip


def _undecided(found: Rounding) -> Note:
    assert found.grid is not None
    period = len(allowed_digits(found.grid.count))
    if found.readings < FEWEST * period:
        return Note("few-for-digits", f"{found.readings} cuts are too few to see a habit in {period} last digits.")
    return Note("narrow-for-digits", "Cuts on one edge differ by so few steps that the last digits follow from where "
                "the edges lie, and cannot show a habit.")  # fmt: skip
