"""A tester study: its plan, the readings that are used, the rows that are set aside, and what was repaired."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import pandas as pd

from sharpstats.columns import MASSES, SHOPS, TESTED, Schema
from sharpstats.errors import TrialError
from sharpstats.late import Shown, late
from sharpstats.notes import Note
from sharpstats.tester.loads import load_cautions
from sharpstats.tester.plan import TesterPlan
from sharpstats.tester.rows import check_masses, check_shops, check_tested, plan_cautions
from sharpstats.tester.toml import NEW, TESTER_FILE, read_tester_plan
from sharpstats.trial.check import Checked
from sharpstats.trial.freeze import plan_sha256
from sharpstats.trial.read import SUFFIXES, read_table
from sharpstats.trial.spelling import listed
from sharpstats.trial.table import TextTable
from sharpstats.trial.trial import data_sha256

if TYPE_CHECKING:
    from sharpstats.tester.examine import Examination

Check = Callable[[TextTable, TesterPlan], Checked]

SHEETS: Mapping[str, tuple[Schema, Check]] = MappingProxyType({
    "readings": (TESTED, check_tested),
    "masses": (MASSES, check_masses),
    "shops": (SHOPS, check_shops),
})  # fmt: skip
"""The tables that a study may have, each in a file of that name."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TesterStudy(Shown):
    """A tester study as it was opened.

    Attributes
    ----------
    folder : Path
    plan : TesterPlan
    readings, masses, shops : DataFrame or None
        The rows that are used: cuts on edges; readings under known loads; edges that went round several shops.
        `reading` is in the plan's unit. None where the study has no such file.
    set_aside : DataFrame
        One row for each row that is not used: file, row, column, value, code, reason.
    repairs, cautions : tuple of Note
        What had to be repaired to read the files, and advice from the check that stops nothing.
    plan_sha256, data_sha256 : str
        Fingerprints of `tester.toml` and of the files, one after the other.
    texts : mapping of str to TextTable
        The rows as they stand in the files.
    """

    folder: Path
    plan: TesterPlan
    readings: pd.DataFrame | None
    masses: pd.DataFrame | None
    shops: pd.DataFrame | None
    set_aside: pd.DataFrame
    repairs: tuple[Note, ...]
    cautions: tuple[Note, ...]
    plan_sha256: str
    data_sha256: str
    texts: Mapping[str, TextTable]

    def examine(self) -> Examination:
        """Ask everything of the study that it can tell."""
        found: Examination = late("examine")(self)
        return found

    def publish(self, *args: Any, **options: Any) -> Any:
        """Write the report."""
        return late("publish")(self, *args, **options)

    @property
    def counts(self) -> dict[str, int]:
        """How many rows were read, used and set aside, and what they are."""
        tables = [table for table in (self.readings, self.masses, self.shops) if table is not None]
        used = sum(map(len, tables))
        return {
            "read": used + len(self.set_aside),
            "used": used,
            "set_aside": len(self.set_aside),
            "cuts": _length(self.readings),
            "over_range": 0 if self.readings is None else int(self.readings["over_range"].sum()),
            "edges": _distinct(self.readings, "edge"),
            "operators": _distinct(self.readings, "operator"),
            "loads": _length(self.masses),
            "shops": _distinct(self.shops, "shop"),
        }


def _length(table: pd.DataFrame | None) -> int:
    return 0 if table is None else len(table)


def _distinct(table: pd.DataFrame | None, name: str) -> int:
    return 0 if table is None or name not in table else int(table[name].nunique())


def open_tester(path: Path | str) -> TesterStudy:
    """Open the folder of a tester study: read its plan and its files, and check every row.

    Parameters
    ----------
    path : path
        The folder, or its `tester.toml`.

    Returns
    -------
    TesterStudy

    Raises
    ------
    PlanError
        If the plan has mistakes.
    TrialError
        If there is no study, or its files cannot be read.
    """
    folder = study_folder(Path(path))
    plan = read_tester_plan(folder / TESTER_FILE)
    files = find_sheets(folder)
    texts = {name: read_table(file, schema=SHEETS[name][0]) for name, file in files.items()}
    checked = {name: SHEETS[name][1](table, plan) for name, table in texts.items()}
    used = {name: one.readings for name, one in checked.items()}
    cautions = [note for one in checked.values() for note in one.cautions]
    if "readings" in used:
        cautions += plan_cautions(used["readings"], plan)
    if "masses" in used:
        cautions += load_cautions(used["masses"])
    return TesterStudy(
        folder=folder,
        plan=plan,
        readings=used.get("readings"),
        masses=used.get("masses"),
        shops=used.get("shops"),
        set_aside=pd.concat([one.set_aside for one in checked.values()], ignore_index=True),
        repairs=tuple(note for one in checked.values() for note in one.repairs),
        cautions=tuple(cautions),
        plan_sha256=plan_sha256((folder / TESTER_FILE).read_text(encoding="utf-8")),
        data_sha256=data_sha256(tuple(files.values())),
        texts=MappingProxyType(texts),
    )


def study_folder(path: Path) -> Path:
    """Return the folder of a study for itself or its plan.

    Raises
    ------
    TrialError
        If there is none.
    """
    folder = path.parent if path.name == TESTER_FILE and not path.is_dir() else path
    make = f"Make one with: {NEW.replace('DIR', str(folder))}"
    if not folder.is_dir():
        raise TrialError(f"There is no folder {folder}. Name the folder of a tester study, or make one. {make}")
    if not (folder / TESTER_FILE).is_file():
        raise TrialError(f"{folder} has no {TESTER_FILE}, so it is not the folder of a tester study. {make}")
    return folder


def find_sheets(folder: Path) -> dict[str, Path]:
    """Return the files of a study by what they hold.

    Raises
    ------
    TrialError
        If there is none, or more than one for the same table.
    """
    found = {name: [folder / f"{name}{suffix}" for suffix in SUFFIXES if (folder / f"{name}{suffix}").is_file()]
             for name in SHEETS}  # fmt: skip
    for files in found.values():
        if len(files) > 1:
            names = listed((file.name for file in files), last="and")
            raise TrialError(f"{folder.resolve().name} has {names}. Keep one of them, and move the others away.")
    sheets = {name: files[0] for name, files in found.items() if files}
    if not sheets:
        raise TrialError(
            f"{folder.resolve().name} has nothing to study: put cuts on edges in readings.csv, readings under check "
            "masses in masses.csv, or a round of several shops in shops.csv (XLSX, ODS and Parquet do as well)."
        )
    return sheets
