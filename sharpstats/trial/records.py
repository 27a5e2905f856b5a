"""Read delimited text record by record: quotes over several lines, stray quotes, ragged rows."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from sharpstats.columns import READINGS, Schema
from sharpstats.notes import Note
from sharpstats.trial.table import Damage

_LONGEST = 200
"""A quoted field goes over no more lines than this; one that does has lost its closing quote."""
_CHUNK = 50_000


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Records:
    """Fields by column, the row at which each record begins, and what was repaired."""

    columns: list[pa.ChunkedArray]
    rows: NDArray[np.int64]
    damage: tuple[Damage, ...] = ()
    notes: tuple[Note, ...] = ()


def read_records(
    text: str, separator: str, first_row: int, names: Sequence[str], file: str, schema: Schema = READINGS
) -> Records:
    r"""Read every record of a text.

    Parameters
    ----------
    text : str
        The rows below the header.
    separator : str
        What separates fields.
    first_row : int
        Row in the file at which `text` begins.
    names : sequence of str
        Names in the header.
    file : str
        Name of the file, for messages.
    schema : Schema
        The columns that such a file may have.

    Examples
    --------
    >>> records = read_records("e1,152\ne2,160,7\n", ",", 2, ["edge", "reading"], "readings.csv")
    >>> records.rows, records.damage[0].value
    (array([2, 3]), 'e2,160,7')
    """
    width = len(names)
    fitter = Fitter(width=width, names=names, file=file, schema=schema)
    lines = text.split("\n")
    if lines and not lines[-1]:
        lines.pop()
    source = _records(lines, separator, width, first_row, fitter)
    rows: list[int] = []
    chunks: list[list[pa.Array]] = [[] for _ in range(width)]
    while chunk := list(islice(source, _CHUNK)):
        rows += [row for row, _ in chunk]
        for arrays, cells in zip(chunks, zip(*(fields for _, fields in chunk), strict=True), strict=True):
            arrays.append(pa.array(cells, type=pa.large_string()))
    columns = [pa.chunked_array(arrays, type=pa.large_string()) for arrays in chunks]
    return Records(
        columns=columns, rows=np.array(rows, dtype=np.int64), damage=tuple(fitter.damage), notes=fitter.notes()
    )


def _records(
    lines: list[str], separator: str, width: int, first_row: int, fitter: Fitter
) -> Iterator[tuple[int, list[str]]]:
    i = 0
    while i < len(lines):
        line, row = lines[i], first_row + i
        fields, used = _split(line, separator), 1
        if '"' in line:
            fields, used = _quoted(lines, i, separator, width, row, fitter)
        if len(fields) != width:
            fields = fitter.fit(fields, row, "\n".join(lines[i : i + used]))
        yield row, fields
        i += used


def _quoted(lines: list[str], i: int, separator: str, width: int, row: int, fitter: Fitter) -> tuple[list[str], int]:
    """Read a record that has quotes: its fields, and how many lines it takes."""
    some = [f"{line}\n" for line in lines[i : i + _LONGEST]]
    reader = csv.reader(some, delimiter=separator, strict=True)
    try:
        fields = next(reader)
        if reader.line_num == 1 or len(fields) == width:
            return fields, reader.line_num
    except csv.Error:
        pass
    fitter.strays.append(row)
    return _loosely(lines[i], separator, width), 1


def _loosely(line: str, separator: str, width: int) -> list[str]:
    """Read a line whose quotes do not match: as quotes where that fits the header, else as characters."""
    plain = _split(line, separator)
    try:
        loose = next(csv.reader([line], delimiter=separator))
    except csv.Error:
        return plain
    return loose if len(loose) == width or len(plain) != width else plain


def _split(line: str, separator: str) -> list[str]:
    return line.removesuffix("\r").split(separator)


@dataclass(frozen=True, slots=True)
class Fitter:
    """Lays fields out under the header, and keeps count of what that took."""

    width: int
    names: Sequence[str]
    file: str
    schema: Schema = READINGS
    damage: list[Damage] = field(default_factory=list)
    strays: list[int] = field(default_factory=list)
    trimmed: list[int] = field(default_factory=list)
    padded: list[int] = field(default_factory=list)

    def fit(self, fields: list[str], row: int, value: str) -> list[str]:
        """Return as many fields as the header has; a row that does not fit is noted as damaged."""
        width = self.width
        if not any(cell.strip() for cell in fields):
            return [""] * width
        if len(fields) > width and not any(cell.strip() for cell in fields[width:]):
            self.trimmed.append(row)
        elif len(fields) < width and len(fields) >= self._may_end_at():
            self.padded.append(row)
        else:
            self.damage.append(self._damaged(fields, row, value))
        return [*fields, *[""] * (width - len(fields))][:width]

    def _may_end_at(self) -> int:
        """Return how short a row may be.

        Programs trim blank fields at the end. That is harmless where nothing but bookkeeping stands
        right of the reading; elsewhere a lost field would shift a number under the wrong name.
        """
        at = self.names.index("reading") + 1 if "reading" in self.names else self.width
        right = [self.schema.column(name) for name in self.names[at:] if name]
        harmless = all(column is not None and column.group == "bookkeeping" for column in right)
        return at if harmless else self.width

    def _damaged(self, fields: list[str], row: int, value: str) -> Damage:
        reason = f"The row has {len(fields)} fields where the header has {self.width}."
        if len(fields) > self.width:
            reason += " Perhaps a decimal comma or a comma in a note splits it: put such a field in quotes."
        else:
            reason += " Give it a field, if only a blank one, for each column."
        return Damage(file=self.file, row=row, value=value[:1000], reason=reason)

    def notes(self) -> tuple[Note, ...]:
        """Return what was repaired, each kind once."""
        kinds = (
            ("stray-quote", self.strays, "have a quotation mark without its partner; it was read as a character"),
            ("extra-fields", self.trimmed, "have blank fields beyond the header; they were left out"),
            ("short-rows", self.padded, "end before the last columns; these were read as blank"),
        )
        return tuple(
            Note(code, f"{self.file}: {len(rows):,} row(s) {says} (first: row {rows[0]}).")
            for code, rows, says in kinds
            if rows
        )
