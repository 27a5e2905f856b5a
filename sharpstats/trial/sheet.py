"""Write a table as an XLSX file in which no text can become a formula."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Font

from sharpstats.columns import readings_column
from sharpstats.trial.numerals import PLAIN

LONGEST = 32_767
"""Characters that a cell of a spreadsheet holds."""
_EXACT = 15
"""Digits that a spreadsheet keeps of a number; one with more stays text."""


def write_xlsx(table: pd.DataFrame, path: Path | str) -> None:
    """Write a table as the only sheet, "readings", of an XLSX file.

    Columns of numbers (by the vocabulary of columns, or by their dtype) become numbers where the text is a plain
    number; everything else is a text cell, never a formula. Characters that XLSX cannot hold become U+FFFD, and
    a text is cut at 32,767 characters.

    Parameters
    ----------
    table : DataFrame
    path : path
    """
    book = Workbook(write_only=True)
    sheet = book.create_sheet("readings")
    sheet.freeze_panes = "A2"
    sheet.append([_text(sheet, str(name), bold=True) for name in table.columns])
    columns = [_cells(sheet, table[name]) for name in table.columns]
    for cells in zip(*columns, strict=True):
        sheet.append(cells)
    book.save(path)


def _cells(sheet: object, column: pd.Series) -> list[object]:
    known = readings_column(str(column.name))
    numeric = pd.api.types.is_numeric_dtype(column) or (known is not None and known.kind not in ("text", "moment"))
    texts = ["" if missing else str(value) for value, missing in zip(column, column.isna(), strict=True)]
    return [_number(text) if numeric and _is_number(text) else _text(sheet, text) for text in texts]


def _is_number(text: str) -> bool:
    return re.match(PLAIN, text) is not None and sum(map(str.isdigit, text)) <= _EXACT


def _number(text: str) -> int | float:
    value = float(text)
    return int(value) if value.is_integer() and "." not in text else value


def _text(sheet: object, text: str, *, bold: bool = False) -> object:
    if not text:
        return None
    cell = WriteOnlyCell(sheet, value=ILLEGAL_CHARACTERS_RE.sub("\ufffd", text)[:LONGEST])
    cell.data_type = "s"  # whatever it looks like
    cell.quotePrefix = True
    cell.font = Font(bold=bold)
    return cell
