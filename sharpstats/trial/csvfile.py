"""A CSV file, however it is separated, -> a table of text.

A file whose rows all have as many fields as the header goes through a compiled reader at once; any
other goes record by record through `records`, which says what it had to repair.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv

from sharpstats.notes import Note
from sharpstats.trial.assemble import assemble
from sharpstats.trial.decode import decode
from sharpstats.trial.header import Header, complain_of_missing, find_header
from sharpstats.trial.records import Records, read_records
from sharpstats.trial.table import TextTable

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
_LOOKED_AT = 40
_QUOTE_INSIDE = re.compile(rb'(?<![,;\t|\n"])"(?![,;\t|\r\n"])')


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How a file is laid out: its separator, its header, and where the rows begin."""

    separator: str
    header: Header
    start: int
    first_row: int


def read_csv_file(path: Path, name: str, known: Collection[str] = ()) -> TextTable:
    """Read a CSV file as text.

    Parameters
    ----------
    path : Path
    name : str
        What the file is called in messages.
    known : collection of str
        Columns of the plan.

    Raises
    ------
    TrialError
        If it is no table of readings.
    """
    decoded = decode(path.read_bytes(), name)
    layout = find_layout(decoded.data, name, known)
    complain_of_missing(layout.header.names, name)
    notes = [*decoded.notes, *_separator_note(layout, name), *layout.header.notes]
    end = _end_of_rows(decoded.data, layout)
    columns = _read_at_once(decoded.data, end, layout, len(layout.header.names))
    if columns is not None:
        rows = np.arange(layout.first_row, layout.first_row + len(columns[0]), dtype=np.int64)
        records = Records(columns=columns, rows=rows)
    else:
        text = decoded.data[layout.start : end].decode()
        records = read_records(text, layout.separator, layout.first_row, layout.header.names, name)
    return assemble(records, layout.header, name, [*notes, *records.notes], decimal_comma=layout.separator == ";")


def find_layout(data: bytes, file: str, known: Collection[str] = ()) -> Layout:
    r"""Find separator and header: the separator is the one that makes the best header.

    Examples
    --------
    >>> find_layout(b"edge;reading\ne1;152,5\n", "readings.csv").separator
    ';'
    """
    sample = b"\n".join(data[: 1 << 20].split(b"\n", _LOOKED_AT + 1)[:_LOOKED_AT]).decode(errors="replace")
    best: tuple[int, int, Layout] | None = None
    for separator in SEPARATORS:
        rows, ends = _sample_rows(sample, separator)
        header = find_header(rows, file, known)
        rank = (header.score, len(header.names))
        if best is None or rank > best[:2]:
            end = ends[header.index] if ends else 1
            best = (*rank, Layout(separator=separator, header=header, start=_offset(data, end), first_row=end + 1))
    assert best is not None
    return best[2]


def _sample_rows(sample: str, separator: str) -> tuple[list[list[str]], list[int]]:
    """Return the first rows and the line at which each ends."""
    reader = csv.reader(io.StringIO(sample, newline=""), delimiter=separator)
    rows, ends = [], []
    try:
        for row in islice(reader, _LOOKED_AT):
            rows.append(row)
            ends.append(reader.line_num)
    except csv.Error:
        pass  # a quote without end or a field without end: what came before is what there is
    return rows, ends


def _offset(data: bytes, lines: int) -> int:
    """Return where the line after so many lines begins."""
    at = 0
    for _ in range(lines):
        end = data.find(b"\n", at)
        if end < 0:
            return len(data)
        at = end + 1
    return at


def _separator_note(layout: Layout, file: str) -> tuple[Note, ...]:
    if layout.separator == ",":
        return ()
    return (Note("separator", f"{file}: fields are separated by a {SEPARATORS[layout.separator]}, not a comma."),)


def _end_of_rows(data: bytes, layout: Layout) -> int:
    """Return where the last row ends that is not blank."""
    end = len(data)
    blank = b" \r\t" + layout.separator.encode()
    while end > layout.start:
        line = data.rfind(b"\n", layout.start, end - 1) + 1 or layout.start
        if data[line:end].strip(blank + b"\n"):
            break
        end = line
    return max(end, layout.start)


def _read_at_once(data: bytes, end: int, layout: Layout, width: int) -> list[pa.ChunkedArray] | None:
    """Read a body whose records are one line each and as wide as the header; None if they are not."""
    if end == layout.start:
        return [pa.chunked_array([], type=pa.large_string())] * width
    if _needs_care(data, layout.start, end):
        return None
    names = [str(i) for i in range(width)]
    try:
        table = pacsv.read_csv(
            pa.py_buffer(data).slice(layout.start, end - layout.start),
            read_options=pacsv.ReadOptions(column_names=names, block_size=1 << 23),
            parse_options=pacsv.ParseOptions(delimiter=layout.separator, ignore_empty_lines=False),
            convert_options=pacsv.ConvertOptions(
                check_utf8=False, column_types=dict.fromkeys(names, pa.large_string()), strings_can_be_null=False
            ),
        )
    except pa.ArrowInvalid:
        return None
    lines = data.count(b"\n", layout.start, end) + (data[end - 1] != ord("\n"))
    return table.columns if table.num_rows == lines else None


def _needs_care(data: bytes, start: int, end: int) -> bool:
    """Tell whether a quote stands inside a field, or a carriage return alone."""
    if data.find(b'"', start, end) >= 0 and _QUOTE_INSIDE.search(data, start, end):
        return True
    return data.find(b"\r", start, end) >= 0 and data.count(b"\r", start, end) != data.count(b"\r\n", start, end)
