"""Whether readings step when a new lot of filament is put in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np
import pandas as pd

from sharpstats.errors import FitError
from sharpstats.late import Shown
from sharpstats.model.mixed import fit_mixed
from sharpstats.model.multiple import Adjust
from sharpstats.model.result import Estimates
from sharpstats.notes import Note
from sharpstats.tester.circumstances import LOT, SAMPLED, Model, circumstances, linked
from sharpstats.tester.overrange import without_over_range
from sharpstats.tester.scale import on_scale
from sharpstats.trial.plan import Scale
from sharpstats.units import ForceUnit


@dataclass(frozen=True, eq=False, kw_only=True)
class LotSteps(Shown):
    """Differences between lots of filament, all other circumstances allowed for.

    Attributes
    ----------
    scale : {"log", "as read"}
    unit : {"gf", "N"}
    lots : tuple of str
        Lots, the first that was used first.
    cuts : tuple of int
        Cuts with each.
    differences : Estimates
        Each later lot minus each earlier one, on the study's scale; Holm's adjustment where there
        are more than two lots.
    without_trend : Estimates or None
        The same with a straight change over the order of the cuts taken out; None where the order
        is unknown or the cuts do not tell.
    shared : tuple of tuple of str
        For each difference the circumstances that changed along with the lot, so that nobody can
        tell which of them made it.
    allowed_for : tuple of str
        Circumstances that the intervals allow for.
    in_turn : bool
        Whether each lot was used in one go, so that a slow change looks like a step.
    notes : tuple of Note
    """

    scale: Scale
    unit: ForceUnit
    lots: tuple[str, ...]
    cuts: tuple[int, ...]
    differences: Estimates
    without_trend: Estimates | None
    shared: tuple[tuple[str, ...], ...]
    allowed_for: tuple[str, ...]
    in_turn: bool
    notes: tuple[Note, ...]

    @property
    def level(self) -> float:
        """Level of the intervals, for all differences together."""
        return self.differences.level

    @property
    def pairs(self) -> list[tuple[str, str]]:
        """The later and the earlier lot of each difference."""
        return _pairs(self.lots)

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a difference: term, estimate, se, df, statistic, p, low, high, level, shared."""
        return self.differences.table.assign(shared=[", ".join(names) for names in self.shared])


def lot_steps(readings: pd.DataFrame, *, scale: Scale, unit: ForceUnit = "gf", level: float = 0.95) -> LotSteps:
    """Estimate the steps between lots of filament.

    Parameters
    ----------
    readings : DataFrame
        One row a cut: `reading`, `filament_lot`, and where recorded `edge`, `operator`, `day`,
        `tester`, `turn`.
    scale : {"log", "as read"}
    unit : {"gf", "N"}
    level : float
        Level of the intervals, for all differences together.

    Returns
    -------
    LotSteps

    Raises
    ------
    FitError
        If there are fewer than two lots, or the cuts cannot tell.

    Notes
    -----
    What edge, operator, day and tester add is allowed for: taken out where they have few levels that
    link all lots, random otherwise, so that a difference is judged by the spread of what changed
    along with it (Kenward & Roger, 1997).
    Where two lots never met on the same edge, day and so on, and one of them has only a single
    one, the difference belongs to both names.

    Examples
    --------
    >>> table = pd.DataFrame({"reading": [100.0, 104.0, 98.0, 103.0, 99.0, 106.0, 101.0, 105.0],
    ...                       "filament_lot": list("ABABABAB"), "edge": list("ppppqqqq"), "turn": range(8)})
    >>> lot_steps(table, scale="as read").table[["term", "estimate", "df"]].round(2)
            term  estimate   df
    0  B minus A       5.0  5.0
    """
    if LOT not in readings or readings[LOT].nunique() < 2:
        raise FitError("All cuts were made with one lot of filament, so there is no step to look for. Note the lot of "
                       "each cut in `filament_lot` when a new one is opened.")  # fmt: skip
    used, notes = without_over_range(readings)
    used = used.sort_values("turn", kind="stable") if "turn" in used else used
    lots = tuple(map(str, used[LOT].unique()))
    if len(lots) < 2:
        raise FitError("Only one lot of filament is left when edges with cuts over the range are left out.")
    table = used.assign(reading=on_scale(used, scale), **{LOT: pd.Categorical(used[LOT].astype(str), lots[::-1])})
    model = circumstances(table, LOT)
    return LotSteps(
        scale=scale, unit=unit, lots=lots, cuts=tuple(int((table[LOT] == lot).sum()) for lot in lots),
        differences=_differences(table, model, level), without_trend=_without_trend(table, model, level),
        shared=_shared(table, lots), allowed_for=model.names, notes=notes,
        in_turn="turn" in table and int((table[LOT] != table[LOT].shift()).sum()) == len(lots),
    )  # fmt: skip


def _differences(table: pd.DataFrame, model: Model, level: float, numbers: Sequence[str] = ()) -> Estimates:
    fit = fit_mixed(table, response="reading", fixed=[*model.fixed, LOT, *numbers], covariates=numbers,
                    random=model.random, level=level)  # fmt: skip
    adjust: Adjust = "holm" if table[LOT].nunique() > 2 else "none"
    return fit.contrasts(LOT, adjust=adjust)


def _without_trend(table: pd.DataFrame, model: Model, level: float) -> Estimates | None:
    if "turn" not in table or table["turn"].isna().any():
        return None
    turn = table["turn"] - table["turn"].mean()
    try:
        found = _differences(table.assign(slope_turn=turn / turn.std()), model, level, ["slope_turn"])
    except FitError:
        return None
    return found if np.isfinite(found.se).all() else None


def _shared(table: pd.DataFrame, lots: tuple[str, ...]) -> tuple[tuple[str, ...], ...]:
    """Find for each difference what changed along with the lot, and only with it."""
    named: dict[tuple[str, str], list[str]] = {pair: [] for pair in _pairs(lots)}
    for name in SAMPLED:
        if name not in table or table[name].nunique() < 2:
            continue
        groups, counts = linked(table[LOT].astype(str), table[name])
        group = dict(zip(lots, groups, strict=True))
        for late, early in named:
            apart = group[late] != group[early]
            if apart and 1 in (counts[group[late]], counts[group[early]]):
                named[late, early].append(name)
    return tuple(map(tuple, named.values()))


def _pairs(lots: tuple[str, ...]) -> list[tuple[str, str]]:
    """The later and the earlier lot of each difference, in the order of the estimates."""
    return list(combinations(lots[::-1], 2))
