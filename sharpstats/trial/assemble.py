"""Columns as read -> a `TextTable`: names, rows that are blank, columns without a name."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from sharpstats.columns import READINGS, Schema
from sharpstats.notes import Note
from sharpstats.trial.guard import unguard_column
from sharpstats.trial.header import Header
from sharpstats.trial.records import Records
from sharpstats.trial.table import TextTable


def assemble(
    records: Records, header: Header, file: str, notes: Sequence[Note], *, decimal_comma: bool = False,
    schema: Schema = READINGS,
) -> TextTable:
    """Put columns of text together to a table.

    Parameters
    ----------
    records : Records
        A column for each name in the header.
    header : Header
    file : str
        Name of the file.
    notes : sequence of Note
        What was repaired so far.
    decimal_comma : bool
        Whether the file's separator says that decimals are commas.
    schema : Schema
        The columns that such a file may have.
    """
    notes, columns, rows = list(notes), records.columns, records.rows
    blank = _blank_rows(columns)
    # What a damaged row holds beyond the header is not in the columns: the row stays, to be set aside.
    blank &= ~np.isin(rows, [damage.row for damage in records.damage])
    if blank.any():
        columns = [column.filter(pa.array(~blank)) for column in columns]
        first = rows[blank][0]
        notes.append(Note("blank-rows", f"{file}: {blank.sum():,} blank row(s) were passed over (first: row {first})."))
        rows = rows[~blank]
    names = _name_the_nameless(header.names, columns, file, notes)
    data = {name: _text(column) for name, column in zip(names, columns, strict=True) if name}
    frame = pd.DataFrame({name: unguard_column(texts) for name, texts in data.items()}, copy=False)
    frame["file"] = _text(pa.chunked_array([pa.repeat(pa.scalar(file, pa.large_string()), len(rows))]))
    frame["row"] = rows
    return TextTable(
        frame=frame,
        repairs=tuple(notes),
        damage=records.damage,
        units={file: header.units},
        decimal_comma=decimal_comma,
        schema=schema,
    )


def _text(column: pa.ChunkedArray) -> pd.Series:
    return pd.Series(pd.array(column, dtype="str"))


def _is_blank(column: pa.ChunkedArray) -> NDArray[np.bool_]:
    empty = pc.binary_length(pc.utf8_trim_whitespace(column))
    return np.asarray(pc.equal(empty, 0))


def _blank_rows(columns: Sequence[pa.ChunkedArray]) -> NDArray[np.bool_]:
    """Find the rows without any text; most files have none, and the first column tells."""
    blank = np.ones(len(columns[0]), dtype=bool)
    for column in columns:
        if not blank.any():
            break
        blank &= _is_blank(column)
    return blank


def _name_the_nameless(
    names: Sequence[str], columns: Sequence[pa.ChunkedArray], file: str, notes: list[Note]
) -> list[str]:
    """Give columns with text but no name a name; columns with neither keep none and fall away."""
    named = list(names)
    for i, name in enumerate(names):
        if not name and not _is_blank(columns[i]).all():
            named[i] = f"column {i + 1}"
            notes.append(Note("unnamed-column", f'{file}: a column without a name is called "column {i + 1}".'))
    if "" in named:
        notes.append(Note("blank-columns", f"{file}: {named.count('')} blank column(s) were passed over."))
    return named
