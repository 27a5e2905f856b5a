"""Everything that a tester study can tell, part by part; and of each part that is missing, why."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields
from typing import TypeVar

import pandas as pd

from sharpstats.errors import FitError
from sharpstats.late import Shown
from sharpstats.notes import Note
from sharpstats.tester.plan import TesterPlan
from sharpstats.tester.rounding import Rounding, find_rounding
from sharpstats.tester.seeds import seed_of
from sharpstats.tester.smallest import CutsNeeded, Smallest, Way, cuts_needed, smallest_difference, ways_of
from sharpstats.tester.spreads import Spreads, find_spreads
from sharpstats.tester.study import TesterStudy

T = TypeVar("T")


@dataclass(frozen=True, eq=False, kw_only=True)
class Examination(Shown):
    """What a tester study tells. A part is None where the study cannot tell it; `skipped` says why.

    Attributes
    ----------
    study : TesterStudy
    spreads : Spreads or None
        Where the spread of its readings comes from.
    smallest : Smallest or None
        Smallest difference between two edges that so many cuts show.
    needed : tuple of CutsNeeded
        Cuts that the difference wanted by the plan takes, for each way of cutting.
    rounding : Rounding or None
        How finely it reads.
    skipped : tuple of Note
        Why a part is missing; the code is the part's name.
    """

    study: TesterStudy
    spreads: Spreads | None
    smallest: Smallest | None
    needed: tuple[CutsNeeded, ...]
    rounding: Rounding | None
    skipped: tuple[Note, ...]

    @property
    def parts(self) -> dict[str, object]:
        """The parts that are there, by name, in the order in which they are told."""
        found = {field.name: getattr(self, field.name) for field in fields(self)}
        return {name: part for name, part in found.items() if name not in ("study", "skipped") and part}

    def why_not(self, name: str) -> str:
        """Return why a part is missing; empty where it is there."""
        return next((note.text for note in self.skipped if note.code == name), "")


class _Parts:
    """Asks for one part after the other and keeps what stood in the way."""

    def __init__(self) -> None:
        self.skipped: list[Note] = []

    def ask(self, name: str, function: Callable[[], T]) -> T | None:
        try:
            return function()
        except FitError as error:
            self.skipped.append(Note(name, str(error)))
            return None


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
    parts, plan = _Parts(), study.plan
    readings, scale, unit, level, seed = study.readings, plan.scale, plan.unit, plan.level, seed_of(plan)

    def cuts() -> pd.DataFrame:
        if readings is None or readings.empty:
            raise FitError("The study has no cuts on edges.")
        return readings

    spreads = parts.ask("spreads", lambda: find_spreads(
        cuts(), scale=scale, level=level, layout=plan.layout.kind, unit=unit, seed=seed))  # fmt: skip
    smallest = None if spreads is None else parts.ask("smallest", lambda: smallest_difference(spreads))
    needed = () if spreads is None else tuple(_needed(spreads, plan))
    rounding = parts.ask("rounding", lambda: find_rounding(cuts(), unit=unit, scale=scale, seed=seed))
    return Examination(
        study=study, spreads=spreads, smallest=smallest, needed=needed, rounding=rounding,
        skipped=tuple(parts.skipped),
    )  # fmt: skip


def _needed(spreads: Spreads, plan: TesterPlan) -> Iterator[CutsNeeded]:
    if plan.wanted is not None:
        ways: tuple[Way, ...] = ways_of(spreads)
        yield from (cuts_needed(spreads, plan.wanted, way) for way in ways)
