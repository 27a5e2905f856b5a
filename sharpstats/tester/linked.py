"""The tester study that a trial names: found, opened, and its spreads on the trial's scale."""

from __future__ import annotations

from pathlib import Path

from sharpstats.errors import TrialError
from sharpstats.tester.seeds import seed_of
from sharpstats.tester.spreads import Spreads, find_spreads
from sharpstats.tester.study import TesterStudy, open_tester
from sharpstats.tester.toml import PUBLISHED_STUDY, TESTER_FILE
from sharpstats.trial.plan import Plan
from sharpstats.trial.trial import published_from
from sharpstats.units import Quantity


def linked_folder(folder: Path, plan: Plan) -> Path | None:
    """Return the folder of the study that a plan names, or None if it names none.

    Parameters
    ----------
    folder : Path
        The trial folder.
    plan : Plan

    Raises
    ------
    TrialError
        If there is no study at the place that the plan names.
    """
    if not plan.tester_study:
        return None
    place = folder / (PUBLISHED_STUDY if published_from(folder) else plan.tester_study)
    if not (place / TESTER_FILE).is_file():
        raise TrialError(
            f"The plan names the tester study {plan.tester_study}, but {place} holds no {TESTER_FILE}. Put the study "
            "there, correct `tester_study` in trial.toml, or take the line out."
        )
    return place


def linked_study(folder: Path, plan: Plan) -> TesterStudy | None:
    """Open the study that a plan names; None if it names none.

    Raises
    ------
    TrialError, PlanError
        If the study is not there, or cannot be read.
    """
    place = linked_folder(folder, plan)
    return None if place is None else open_tester(place)


def spreads_for(study: TesterStudy, plan: Plan) -> Spreads:
    """Find the spreads of a study on the scale, and in the unit, of a trial's plan.

    Raises
    ------
    TrialError
        If the study has no cuts on edges.
    FitError
        If they cannot answer.
    """
    if study.readings is None or study.readings.empty:
        name = study.folder.resolve().name
        raise TrialError(f"The tester study {name} has no cuts on edges, so nothing is known of its spread.")
    readings = study.readings
    factor = Quantity(1.0, study.plan.unit).to(plan.unit).value
    return find_spreads(
        readings.assign(reading=readings["reading"] * factor), scale=plan.scale, level=study.plan.level,
        layout=study.plan.layout.kind, unit=plan.unit, seed=seed_of(study.plan),
    )  # fmt: skip

