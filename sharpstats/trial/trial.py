"""A trial: its plan, the readings that are used, the rows that are set aside, and what was repaired."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from sharpstats.errors import TrialError
from sharpstats.late import Shown, late
from sharpstats.notes import Note
from sharpstats.trial.check import check
from sharpstats.trial.freeze import Freeze, differences, plan_sha256, read_freeze
from sharpstats.trial.plan import Plan
from sharpstats.trial.read import SUFFIXES, read_table
from sharpstats.trial.spelling import listed
from sharpstats.trial.table import TextTable, join_tables
from sharpstats.trial.toml import DESCRIPTOR, PLAN_FILE, read_plan

PUBLISHED = "readings.csv"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Trial(Shown):
    """A trial as it was opened.

    Attributes
    ----------
    folder : Path
        The trial folder.
    plan : Plan
    readings : DataFrame
        The rows that are used: columns of a readings file, typed (`reading` in the plan's unit), unknown
        ones as text, then `file`, `row` and `over_range` (the reading is a limit, from below).
    set_aside : DataFrame
        One row for each row that is not used: file, row, column, value, code, reason.
    repairs : tuple of Note
        What had to be repaired to read the files.
    cautions : tuple of Note
        Advice from the check that stops nothing.
    frozen : Freeze or None
        When the plan was frozen, and how it read.
    differences : tuple of str
        What has changed in the plan since.
    plan_sha256, data_sha256 : str
        Fingerprints of `trial.toml` and of the files with readings, one after the other.
    text : TextTable
        The rows as they stand in the files.
    """

    folder: Path
    plan: Plan
    readings: pd.DataFrame
    set_aside: pd.DataFrame
    repairs: tuple[Note, ...]
    cautions: tuple[Note, ...]
    frozen: Freeze | None
    differences: tuple[str, ...]
    plan_sha256: str
    data_sha256: str
    text: TextTable

    @property
    def counts(self) -> dict[str, int]:
        """How many rows were read, used and set aside; over-range readings; edges; control edges."""
        control = self.readings["role"] == "control"
        return {
            "read": len(self.readings) + len(self.set_aside),
            "used": len(self.readings),
            "set_aside": len(self.set_aside),
            "over_range": int(self.readings["over_range"].sum()),
            "edges": int(self.readings.loc[~control, "edge"].nunique()),
            "control_edges": int(self.readings.loc[control, "edge"].nunique()),
        }

    def fit(self) -> Any:
        """Fit the model that the layout asks for."""
        return late("fit")(self)

    def judge(self) -> Any:
        """Judge the claims of the plan."""
        return late("judge")(self)

    def publish(self, *args: Any, **options: Any) -> Any:
        """Write the report."""
        return late("publish")(self, *args, **options)


def open_trial(path: Path | str) -> Trial:
    """Open a trial folder: read its plan and its readings, and check every row.

    Parameters
    ----------
    path : path
        The folder, or its `trial.toml`.

    Returns
    -------
    Trial

    Raises
    ------
    PlanError
        If the plan has mistakes, or does not fit the readings.
    TrialError
        If there is no trial, or its readings cannot be read.
    """
    folder = trial_folder(Path(path))
    plan_file = folder / PLAN_FILE
    plan = read_plan(plan_file)
    files = find_files(folder, plan)
    known = tuple(dict.fromkeys((*plan.factors, *plan.layout.blocks)))
    table = join_tables([read_table(file, known, name=file.relative_to(folder).as_posix()) for file in files])
    checked = check(table, plan)
    text = plan_file.read_text(encoding="utf-8")
    frozen = read_freeze(folder)
    return Trial(
        folder=folder,
        plan=plan,
        readings=checked.readings,
        set_aside=checked.set_aside,
        repairs=checked.repairs,
        cautions=checked.cautions,
        frozen=frozen,
        differences=() if frozen is None else tuple(differences(frozen, plan, text)),
        plan_sha256=plan_sha256(text),
        data_sha256=data_sha256(files),
        text=table,
    )


def trial_folder(path: Path) -> Path:
    """Return the trial folder for itself or its plan.

    Raises
    ------
    TrialError
        If there is none.
    """
    folder = path.parent if path.name == PLAN_FILE and not path.is_dir() else path
    if not folder.is_dir():
        raise TrialError(f"There is no folder {folder}. Name a trial folder, or make one with: sharpstats new {folder}")
    if not (folder / PLAN_FILE).is_file():
        raise TrialError(
            f"{folder} has no {PLAN_FILE}, so it is not a trial folder. Make one with: sharpstats new {folder}"
        )
    return folder


def find_files(folder: Path, plan: Plan) -> tuple[Path, ...]:
    """Return the files with the readings: those that the plan names, or the one that is there.

    Raises
    ------
    TrialError
        If one is missing, or nothing says which of several is meant.
    """
    if plan.files:
        return _named_files(folder, plan.files)
    found = [folder / f"readings{suffix}" for suffix in SUFFIXES if (folder / f"readings{suffix}").is_file()]
    if not found:
        raise TrialError(
            f"{folder.resolve().name} has no readings: put them in readings.csv, readings.xlsx, readings.ods or "
            f'readings.parquet, or name the file in {PLAN_FILE}: readings = ["..."].'
        )
    if len(found) > 1:
        names = listed((file.name for file in found), last="and")
        raise TrialError(
            f"{folder.resolve().name} has {names}. Say in {PLAN_FILE} which holds the readings: "
            f'readings = "{found[0].name}".'
        )
    return tuple(found)


def _named_files(folder: Path, names: Sequence[str]) -> tuple[Path, ...]:
    missing = [name for name in names if not (folder / name).is_file()]
    if not missing:
        return tuple(folder / name for name in names)
    if published_from(folder) == tuple(names):
        return (folder / PUBLISHED,)
    raise TrialError(
        f"The plan names {listed(missing, last='and')}, which {folder.resolve().name} does not hold. "
        f"Put the file there, or correct `readings` in {PLAN_FILE}."
    )


def published_from(folder: Path) -> tuple[str, ...]:
    """Return the files whose readings a published folder holds in one table; nothing for any other folder."""
    try:
        descriptor = json.loads((folder / DESCRIPTOR).read_text(encoding="utf-8"))
        names = tuple(str(source["title"]) for source in descriptor["sources"])
    except (OSError, ValueError, LookupError, TypeError, RecursionError):
        return ()
    return names if (folder / PUBLISHED).is_file() else ()


def data_sha256(files: Sequence[Path]) -> str:
    """Return the SHA-256 of files, one after the other."""
    digest = hashlib.sha256()
    for file in files:
        with file.open("rb") as stream:
            while chunk := stream.read(1 << 20):
                digest.update(chunk)
    return digest.hexdigest()
