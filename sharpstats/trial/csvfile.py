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
from typing import Literal

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv

from sharpstats.columns import READINGS, Schema
from sharpstats.notes import Note
from sharpstats.trial.assemble import assemble
from sharpstats.trial.decode import decode
from sharpstats.trial.header import Header, complain_of_missing, find_header
from sharpstats.trial.records import Records, read_records
from sharpstats.trial.table import TextTable

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
_LOOKED_AT = 40
_LONE_RETURN = re.compile(r"\r(?!\n)")
_QUOTE_INSIDE = re.compile(rb'(?<![,;\t|\n"])"(?![,;\t|\r\n"])')


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """How a file is laid out: its separator, its header, and where the rows begin."""

    separator: str
    header: Header
    start: int
    first_row: int


def read_csv_file(path: Path, name: str, known: Collection[str] = (), schema: Schema = READINGS) -> TextTable:
    """Read a CSV file as text.

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
        If it is no table of readings.
    """
    decoded = decode(path.read_bytes(), name)
    shape = find_shape(decoded.data, name, known, schema)
    complain_of_missing(shape.header.names, name, schema)
    notes = [*decoded.notes, *_separator_note(shape, name), *shape.header.notes]
    end = _end_of_rows(decoded.data, shape)
    columns = _read_at_once(decoded.data, end, shape, len(shape.header.names))
    if columns is not None:
        rows = np.arange(shape.first_row, shape.first_row + len(columns[0]), dtype=np.int64)
        records = Records(columns=columns, rows=rows)
    else:
        text = decoded.data[shape.start : end].decode()
        records = read_records(text, shape.separator, shape.first_row, shape.header.names, name, schema)
    comma = shape.separator == ";"
    return assemble(records, shape.header, name, [*notes, *records.notes], decimal_comma=comma, schema=schema)


def find_shape(data: bytes, file: str, known: Collection[str] = (), schema: Schema = READINGS) -> Shape:
    r"""Find separator and header: the separator is the one that makes the best header.

    Examples
    --------
    >>> find_shape(b"edge;reading\ne1;152,5\n", "readings.csv").separator
    ';'
    """
    sample = b"\n".join(data[: 1 << 20].split(b"\n", _LOOKED_AT + 1)[:_LOOKED_AT]).decode(errors="replace")

    def shape(separator: str, quoting: Literal[0, 3]) -> Shape:
        rows, ends = _sample_rows(sample, separator, quoting)
        return _shape(data, find_header(rows, file, known, schema), ends, separator)

    shapes = [shape(each, csv.QUOTE_MINIMAL) for each in SEPARATORS]
    if not any(one.header.score for one in shapes):  # perhaps a quotation mark without its partner
        shapes += [shape(each, csv.QUOTE_NONE) for each in SEPARATORS]
    return max(shapes, key=lambda one: (one.header.score, len(one.header.names)))


def _shape(data: bytes, header: Header, ends: list[int], separator: str) -> Shape:
    end = ends[header.index] if ends else 1
    return Shape(separator=separator, header=header, start=_offset(data, end), first_row=end + 1)


def _sample_rows(sample: str, separator: str, quoting: Literal[0, 3]) -> tuple[list[list[str]], list[int]]:
    """Return the first rows and the line at which each ends."""
    lines = io.StringIO(_LONE_RETURN.sub(" ", sample), newline="\n")
    reader = csv.reader(lines, delimiter=separator, quoting=quoting)
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


def _separator_note(shape: Shape, file: str) -> tuple[Note, ...]:
    if shape.separator == ",":
        return ()
    return (Note("separator", f"{file}: fields are separated by a {SEPARATORS[shape.separator]}, not a comma."),)


def _end_of_rows(data: bytes, shape: Shape) -> int:
    """Return where the last row ends that is not blank."""
    end = len(data)
    blank = b" \r\t" + shape.separator.encode()
    while end > shape.start:
        line = data.rfind(b"\n", shape.start, end - 1) + 1 or shape.start
        if data[line:end].strip(blank + b"\n"):
            break
        end = line
    return max(end, shape.start)


def _read_at_once(data: bytes, end: int, shape: Shape, width: int) -> list[pa.ChunkedArray] | None:
    """Read a body whose records are one line each and as wide as the header; None if they are not."""
    if end == shape.start:
        return [pa.chunked_array([], type=pa.large_string())] * width
    if _needs_care(data, shape.start, end):
        return None
    names = [str(i) for i in range(width)]
    try:
        table = pacsv.read_csv(
            pa.py_buffer(data).slice(shape.start, end - shape.start),
            read_options=pacsv.ReadOptions(column_names=names, block_size=1 << 23),
            parse_options=pacsv.ParseOptions(delimiter=shape.separator, ignore_empty_lines=False),
            convert_options=pacsv.ConvertOptions(
                check_utf8=False, column_types=dict.fromkeys(names, pa.large_string()), strings_can_be_null=False
            ),
        )
    except pa.ArrowInvalid:
        return None
    lines = data.count(b"\n", shape.start, end) + (data[end - 1] != ord("\n"))
    return table.columns if table.num_rows == lines else None


def _needs_care(data: bytes, start: int, end: int) -> bool:
    """Tell whether a quote stands inside a field or without its partner, or a carriage return alone."""
    if data.count(b'"', start, end) % 2 or _QUOTE_INSIDE.search(data, start, end):
        return True
    return data.find(b"\r", start, end) >= 0 and data.count(b"\r", start, end) != data.count(b"\r\n", start, end)
