"""XLSX and ODS."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from sharpstats.errors import TrialError
from sharpstats.trial.table import TextTable


def read_workbook(path: Path, name: str, known: Collection[str] = ()) -> TextTable:
    """Read a workbook."""
    raise TrialError(f"{name}: workbooks are not read yet.")
