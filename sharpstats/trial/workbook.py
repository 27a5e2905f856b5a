"""An XLSX or ODS file -> a table of text: which sheet holds the readings, and what had to be repaired."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from pathlib import Path

import numpy as np
import pyarrow as pa

from sharpstats.columns import READINGS, Schema
from sharpstats.errors import TrialError
from sharpstats.notes import Note
from sharpstats.trial.archive import check_archive, unreadable
from sharpstats.trial.assemble import assemble
from sharpstats.trial.header import Header, complain_of_missing, find_header
from sharpstats.trial.ods import read_ods
from sharpstats.trial.records import Records
from sharpstats.trial.sheetrows import Seen, SheetRows
from sharpstats.trial.spelling import listed
from sharpstats.trial.table import TextTable
from sharpstats.trial.xlsx import read_xlsx

_LOOKED_AT = 40
_NEVER_REPEATED = ("reading", "cut")
"""A merged cell of these is no repeated value: a reading belongs to one cut."""


def read_workbook(path: Path, name: str, known: Collection[str] = (), schema: Schema = READINGS) -> TextTable:
    """Read the sheet with the readings as text.

    Parameters
    ----------
    path : Path
    name : str
        What the file is called in messages.
    known : collection of str
        Columns of the plan.
    schema : Schema
        The columns that such a file may have.

    Raises
    ------
    TrialError
        If the file is damaged, not to be trusted, or holds no readings.
    """
    check_archive(path, name)
    sheet, header, notes = _choose(_sheets(path, name), name, known, schema)
    complain_of_missing(header.names, name, schema)
    notes += [*header.notes, *_unmerge(sheet, header, name), *_noticed(sheet, header, name, schema)]
    return assemble(_records(sheet, header), _widened(sheet, header), name, notes, schema=schema)


def _sheets(path: Path, name: str) -> Mapping[str, SheetRows]:
    try:
        sheets = read_xlsx(path, name) if path.suffix.lower() == ".xlsx" else read_ods(path, name)
    except (TrialError, OSError):
        raise
    except Exception as error:
        raise unreadable(name) from error
    filled = {title: rows for title, rows in sheets.items() if rows.rows}
    if not filled:
        raise TrialError(f"{name} is empty. Give it a header and a row for each cut.")
    return filled


def _choose(
    sheets: Mapping[str, SheetRows], name: str, known: Collection[str], schema: Schema
) -> tuple[SheetRows, Header, list[Note]]:
    """Take the sheet whose header names the columns that are needed."""
    headers = {title: find_header(rows.rows[:_LOOKED_AT], name, known, schema) for title, rows in sheets.items()}
    complete = [title for title, header in headers.items() if set(schema.required) <= set(header.names)]
    if len(complete) > 1:
        named = [title for title in complete if title.strip().casefold() == schema.name]
        if not named:
            raise TrialError(
                f"{name} has {schema.name} in the sheets {listed(complete, last='and')}. "
                f'Name one of them "{schema.name}", or give each a file of its own.'
            )
        complete = named
    title = complete[0] if complete else max(headers, key=lambda each: headers[each].score)
    passed = [other for other in sheets if other != title]
    notes = []
    if passed:
        says = f"{name}: the sheet {listed([title])} was read, and {listed(passed, last='and')} passed over."
        notes = [Note("other-sheets", says)]
    return sheets[title], headers[title], notes


def _widened(sheet: SheetRows, header: Header) -> Header:
    """Let the header reach over columns right of it that hold something."""
    width = max(map(len, sheet.rows))
    names = (*header.names, *[""] * (width - len(header.names)))
    return Header(names=names, units=header.units, index=header.index, score=header.score, notes=header.notes)


def _records(sheet: SheetRows, header: Header) -> Records:
    body = sheet.rows[header.index + 1 :]
    width = max(len(header.names), *map(len, sheet.rows))
    columns = [
        pa.chunked_array([pa.array([row[i] if i < len(row) else "" for row in body], type=pa.large_string())])
        for i in range(width)
    ]
    return Records(columns=columns, rows=np.arange(header.index + 2, len(sheet.rows) + 1, dtype=np.int64))


def _unmerge(sheet: SheetRows, header: Header, name: str) -> Iterator[Note]:
    """Repeat the value of a cell that is merged over several rows, as it stands for all of them."""
    seen = Seen()
    for row, column, top in sheet.below(header.index + 1):
        cells, above = sheet.rows[row - 1], sheet.rows[top - 1]
        if column >= len(header.names) or header.names[column] in _NEVER_REPEATED or column >= len(above):
            continue
        cells = sheet.rows[row - 1] = [*cells, *[""] * (column + 1 - len(cells))]
        if not cells[column]:
            cells[column] = above[column]
            seen.add(column, row)
    yield from _told(seen, header, name, "merged-cells", "are merged with the cell above and were given its value")


def _noticed(sheet: SheetRows, header: Header, name: str, schema: Schema) -> Iterator[Note]:
    numeric = Seen()
    for column, count in sheet.numbers_as_text.counts.items():
        known = schema.column(header.names[column]) if column < len(header.names) else None
        if known is not None and known.kind not in ("text", "moment"):
            numeric.counts[column], numeric.first[column] = count, sheet.numbers_as_text.first[column]
    yield from _told(numeric, header, name, "numbers-as-text", "hold a number as text, which was read as a number")
    yield from _told(sheet.formulas, header, name, "formulas", "hold a formula; the value stored with it was taken")


def _told(seen: Seen, header: Header, name: str, code: str, says: str) -> Iterator[Note]:
    if seen.counts:
        columns = [header.names[i] for i in sorted(seen.counts) if i < len(header.names) and header.names[i]]
        where = f" of {', '.join(columns)}" if columns else ""
        total, first = sum(seen.counts.values()), min(seen.first.values())
        yield Note(code, f"{name}: {total:,} cell(s){where} {says} (first: row {first}).")
