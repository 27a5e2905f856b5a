"""Everything that a tester study can tell, part by part; and of each part that is missing, why."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import TypeVar, get_args

import pandas as pd

from sharpstats.errors import FitError
from sharpstats.late import Shown
from sharpstats.notes import Note
from sharpstats.tester.agreement import Agreement, By, agree
from sharpstats.tester.budget import Budget
from sharpstats.tester.drift import Stability, find_stability, mass_stability
from sharpstats.tester.gather import study_budget
from sharpstats.tester.masses import Calibration, weigh
from sharpstats.tester.plan import TesterPlan
from sharpstats.tester.rounding import Rounding, find_rounding
from sharpstats.tester.roundrobin import RoundRobin, round_robin
from sharpstats.tester.seeds import seed_of
from sharpstats.tester.smallest import CutsNeeded, Smallest, cuts_needed, smallest_difference, ways_of
from sharpstats.tester.spreads import Spreads, find_spreads
from sharpstats.tester.study import TesterStudy
from sharpstats.tester.wear import Wear, find_wear

T = TypeVar("T")


@dataclass(frozen=True, eq=False, kw_only=True)
class Examination(Shown):
    """What a tester study tells. A part is None, or empty, where the study cannot tell it; `skipped` says why.

    Attributes
    ----------
    study : TesterStudy
    spreads : Spreads or None
        Where the spread of its readings comes from.
    smallest : Smallest or None
        Smallest difference between two edges that so many cuts show.
    needed : tuple of CutsNeeded
        Cuts that the difference wanted by the plan takes, for each way of cutting.
    wear : Wear or None
        What a cut does to its edge.
    drift : Stability or None
        Whether the tester stayed the same from the first cut to the last.
    calibration : Calibration or None
        What it reads under known loads.
    mass_drift : Stability or None
        Whether it reads the same under known loads from the first series to the last.
    rounding : Rounding or None
        How finely it reads.
    agreements : tuple of Agreement
        Whether operators, and testers, that read the same edges agree.
    budget : Budget or None
        What makes a reading uncertain, and by how much in all.
    round_robin : RoundRobin or None
        Whether other shops read the same.
    skipped : tuple of Note
        Why a part is missing; the code is the part's name.
    """

    study: TesterStudy
    spreads: Spreads | None
    smallest: Smallest | None
    needed: tuple[CutsNeeded, ...]
    wear: Wear | None
    drift: Stability | None
    calibration: Calibration | None
    mass_drift: Stability | None
    rounding: Rounding | None
    agreements: tuple[Agreement, ...]
    budget: Budget | None
    round_robin: RoundRobin | None
    skipped: tuple[Note, ...]

    @property
    def parts(self) -> dict[str, object]:
        """The parts that are there, by name, in the order in which they are told."""
        found = {field.name: getattr(self, field.name) for field in fields(self)}
        return {name: part for name, part in found.items() if name not in ("study", "skipped") and part}

    def why_not(self, name: str) -> str:
        """Return why a part is missing; empty where it is there."""
        return " ".join(note.text for note in self.skipped if note.code == name)


def examine(study: TesterStudy) -> Examination:
    """Ask everything of a study that it can tell.

    Parameters
    ----------
    study : TesterStudy

    Returns
    -------
    Examination
        A part that cannot be told does not stop the others.
    """
    plan, skipped = study.plan, _Skipped()
    cuts = _Cuts(study, plan, skipped)
    spreads, drift, rounding, calibration = cuts.spreads(), cuts.drift(), cuts.rounding(), _masses(study, skipped)
    return Examination(
        study=study,
        spreads=spreads,
        smallest=None if spreads is None else skipped.unless("smallest", lambda: smallest_difference(spreads)),
        needed=() if spreads is None else _needed(spreads, plan),
        wear=cuts.wear(),
        drift=drift,
        calibration=calibration,
        mass_drift=None if calibration is None else _mass_drift(calibration, plan, skipped),
        rounding=rounding,
        agreements=cuts.agreements(),
        budget=None if study.readings is None else skipped.unless(
            "budget", lambda: study_budget(plan, spreads, drift, calibration, rounding)
        ),
        round_robin=_shops(study, skipped),
        skipped=tuple(skipped.notes),
    )


class _Skipped:
    """Keeps what stands in the way of a part."""

    def __init__(self) -> None:
        self.notes: list[Note] = []

    def unless(self, name: str, ask: Callable[[], T]) -> T | None:
        """Ask for a part; None, with the reason kept, where the readings cannot tell it."""
        try:
            return ask()
        except FitError as error:
            self.notes.append(Note(name, str(error)))
            return None


@dataclass(frozen=True, slots=True)
class _Cuts:
    """Asks for the parts that cuts on edges tell; a study without any is asked for none of them."""

    study: TesterStudy
    plan: TesterPlan
    skipped: _Skipped

    def _ask(self, name: str, ask: Callable[[pd.DataFrame], T]) -> T | None:
        readings = self.study.readings
        return None if readings is None else self.skipped.unless(name, lambda: ask(_some(readings)))

    def spreads(self) -> Spreads | None:
        plan = self.plan
        return self._ask("spreads", lambda cuts: find_spreads(
            _not_too_many(cuts), scale=plan.scale, level=plan.level, layout=plan.layout.kind, unit=plan.unit,
            seed=seed_of(plan),
        ))  # fmt: skip

    def wear(self) -> Wear | None:
        plan = self.plan
        return self._ask("wear", lambda cuts: find_wear(
            _not_too_many(cuts), scale=plan.scale, unit=plan.unit, level=plan.level,
        ))  # fmt: skip

    def drift(self) -> Stability | None:
        plan = self.plan
        return self._ask("drift", lambda cuts: find_stability(
            _not_too_many(cuts), scale=plan.scale, unit=plan.unit, level=plan.level, seed=seed_of(plan),
        ))  # fmt: skip

    def rounding(self) -> Rounding | None:
        plan = self.plan
        return self._ask("rounding", lambda cuts: find_rounding(
            cuts, unit=plan.unit, scale=plan.scale, level=plan.level, seed=seed_of(plan),
        ))  # fmt: skip

    def agreements(self) -> tuple[Agreement, ...]:
        return tuple(found for by in get_args(By) if (found := self._agreement(by)) is not None)

    def _agreement(self, by: By) -> Agreement | None:
        readings, plan = self.study.readings, self.plan
        if readings is None or by not in readings or readings[by].nunique() < 2:
            return None
        return self.skipped.unless("agreements", lambda: agree(
            readings, by=by, unit=plan.unit, scale=plan.scale, level=plan.level, margin=plan.wanted,
        ))  # fmt: skip


def _some(readings: pd.DataFrame) -> pd.DataFrame:
    """Refuse to ask of nothing; leave columns out in which nobody wrote anything."""
    if readings.empty:
        raise FitError("No cut on an edge has a reading that is used.")
    blank = [name for name, column in readings.items() if column.isna().all() or column.eq("").all()]
    return readings.drop(columns=blank)


MOST_CELLS = 400
"""Sets of like cuts that are worked out together: time grows with their cube, from seconds here to hours at 4,000."""


def _not_too_many(readings: pd.DataFrame) -> pd.DataFrame:
    """Refuse a study that is so large that working it out would seem to hang."""
    names = [name for name in ("edge", "operator") if name in readings]
    cells = len(readings[names].drop_duplicates())
    if cells > MOST_CELLS:
        raise FitError(
            f"The study has {cells} {'pairs of edge and operator' if 'operator' in names else 'edges'}; more than "
            f"{MOST_CELLS} would take far too long to work out. Take a part of the edges, chosen by lot: a few dozen "
            "tell what a tester's numbers are worth."
        )
    return readings


def _needed(spreads: Spreads, plan: TesterPlan) -> tuple[CutsNeeded, ...]:
    wanted = plan.wanted
    return () if wanted is None else tuple(cuts_needed(spreads, wanted, way) for way in ways_of(spreads))


def _masses(study: TesterStudy, skipped: _Skipped) -> Calibration | None:
    masses, plan = study.masses, study.plan
    if masses is None:
        return None
    return skipped.unless("calibration", lambda: weigh(
        masses, unit=plan.unit, level=plan.level, uncertainty=plan.masses.uncertainty,
    ))  # fmt: skip


def _mass_drift(calibration: Calibration, plan: TesterPlan, skipped: _Skipped) -> Stability | None:
    used = calibration.readings
    if "run" not in used or used["run"].isna().any():
        return None
    return skipped.unless("mass_drift", lambda: mass_stability(
        used, unit=plan.unit, level=plan.level, seed=seed_of(plan),
    ))  # fmt: skip


def _shops(study: TesterStudy, skipped: _Skipped) -> RoundRobin | None:
    shops, plan = study.shops, study.plan
    if shops is None:
        return None
    return skipped.unless("round_robin", lambda: round_robin(
        shops, scale=plan.scale, unit=plan.unit, level=plan.level,
    ))  # fmt: skip
