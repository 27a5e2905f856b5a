"""The sheets of an XLSX file as rows of text. Stored values are read; no formula is worked out, no link followed."""

from __future__ import annotations

import re
import warnings
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.utils.cell import range_boundaries

from sharpstats.trial.sheetrows import SheetRows

_FORMULA = re.compile(rb"<(?:\w+:)?f[ >/]")
_MERGED = re.compile(rb'<(?:\w+:)?mergeCell\s[^>]*?ref="([A-Z]{1,3}\d{1,7}:[A-Z]{1,3}\d{1,7})"')


def read_xlsx(path: Path, name: str) -> dict[str, SheetRows]:
    """Read every sheet of a workbook.

    Parameters
    ----------
    path : Path
        An XLSX file that `check_archive` has let pass.
    name : str
        What the file is called in messages.

    Returns
    -------
    dict of str to SheetRows
        By name of the sheet.
    """
    sheets: dict[str, SheetRows] = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # openpyxl warns of features that it does not read, none of them cells
        for sheet in _sheets(path, values=True):
            rows = sheets[sheet.title] = SheetRows()
            for cells in sheet.iter_rows(values_only=True):
                rows.add(cells, name)
            _note_merged(path, sheet, rows)
        for sheet in _sheets(path, values=False) if _has_formulas(path) else ():
            _note_formulas(sheet, sheets[sheet.title])
    return sheets


def _sheets(path: Path, *, values: bool) -> Iterator[Any]:
    with path.open("rb") as stream:  # openpyxl leaves a file open that it cannot make sense of
        book = openpyxl.load_workbook(stream, read_only=True, data_only=values, keep_links=False)
        for sheet in book.worksheets:
            sheet.reset_dimensions()  # what a file says about the size of its sheets need not be true
            yield sheet


def _has_formulas(path: Path) -> bool:
    with zipfile.ZipFile(path) as archive:
        return any(_FORMULA.search(archive.read(part)) for part in archive.namelist() if "worksheets/" in part)


def _note_formulas(sheet: Any, rows: SheetRows) -> None:
    for cells in sheet.iter_rows():
        for cell in cells:
            if cell.data_type == "f" and cell.row <= len(rows.rows):
                formula = getattr(cell.value, "text", cell.value)
                rows.add_formula(cell.row, cell.column - 1, str(formula or "="))


def _note_merged(path: Path, sheet: Any, rows: SheetRows) -> None:
    with zipfile.ZipFile(path) as archive:
        part = getattr(sheet, "_worksheet_path", "").lstrip("/")
        text = archive.read(part) if part in archive.namelist() else b""
    for match in _MERGED.finditer(text):
        left, top, right, bottom = range_boundaries(match.group(1).decode())
        rows.merged.append((top, left - 1, bottom, right - 1))
