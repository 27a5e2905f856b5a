"""A sheet of a workbook as rows of text, and what was noticed on the way."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from sharpstats.errors import TrialError

MOST_ROWS = 1_048_576
MOST_COLUMNS = 1_000
_NUMBER = re.compile(r"^\s*'?[+-]?\d+(?:[.,]\d+)?\s*$")


@dataclass(frozen=True, slots=True)
class Seen:
    """How often something was seen in each column, and in which row first."""

    counts: dict[int, int] = field(default_factory=dict)
    first: dict[int, int] = field(default_factory=dict)

    def add(self, column: int, row: int) -> None:
        """Count one cell; columns count from 0, rows from 1."""
        self.counts[column] = self.counts.get(column, 0) + 1
        self.first.setdefault(column, row)


@dataclass(frozen=True, slots=True)
class SheetRows:
    """One sheet.

    Attributes
    ----------
    rows : list of list of str
        Cells as text, without the blank ones at the end of a row; the first is row 1 of the sheet.
    numbers_as_text : Seen
        Cells that hold a number as text.
    formulas : Seen
        Cells that hold a formula.
    merged : list of tuple
        Merged areas: first row, first column, last row, last column; rows from 1, columns from 0.
    """

    rows: list[list[str]] = field(default_factory=list)
    numbers_as_text: Seen = field(default_factory=Seen)
    formulas: Seen = field(default_factory=Seen)
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)

    def add(self, values: Iterable[object], name: str, times: int = 1) -> None:
        """Append a row of values, so many times.

        Raises
        ------
        TrialError
            If the sheet is larger than a spreadsheet program makes them.
        """
        cells: list[str] = []
        for value in values:
            if isinstance(value, str) and _NUMBER.match(value):
                self.numbers_as_text.add(len(cells), len(self.rows) + 1)
            cells.append(cell_text(value))
        while cells and not cells[-1].strip():
            cells.pop()
        if len(self.rows) + times > MOST_ROWS or len(cells) > MOST_COLUMNS:
            raise TrialError(
                f"{name} has a sheet of more than {MOST_ROWS:,} rows or {MOST_COLUMNS:,} columns. Take out what does "
                "not belong to the readings, or save them as CSV."
            )
        self.rows.extend([cells] * times)

    def add_formula(self, row: int, column: int, formula: str) -> None:
        """Note a formula; where the file holds no value for it, its text stands in the cell."""
        self.formulas.add(column, row)
        cells = self.rows[row - 1] = [*self.rows[row - 1]]
        cells += [""] * (column + 1 - len(cells))
        if not cells[column]:
            cells[column] = formula

    def below(self, header_row: int) -> Iterator[tuple[int, int, int]]:
        """Give the cells under merged areas below the header that a value is repeated into: row, column, from row."""
        for top, left, bottom, right in self.merged:
            if top > header_row and left == right:
                yield from ((row, left, top) for row in range(top + 1, min(bottom, len(self.rows)) + 1))


def cell_text(value: object) -> str:
    """Return what a cell says, as text.

    Examples
    --------
    >>> import datetime
    >>> cell_text(7.0), cell_text(152.5), cell_text(datetime.datetime(2026, 6, 5)), cell_text(None)
    ('7', '152.5', '2026-06-05', '')
    """
    match value:
        case None:
            return ""
        case bool():
            return str(value).upper()
        case float():
            return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
        case dt.datetime():
            return _moment(value)
        case dt.date() | dt.time():
            return value.isoformat()
        case _:
            return str(value)


def _moment(value: dt.datetime) -> str:
    if value.time() == dt.time():
        return value.date().isoformat()
    return value.isoformat(timespec="minutes" if not (value.second or value.microsecond) else "seconds")
