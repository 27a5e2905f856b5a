"""A Parquet file -> a table of text, so that every rule and message is the one that other files get."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from sharpstats.columns import READINGS, Schema
from sharpstats.errors import TrialError
from sharpstats.trial.assemble import assemble
from sharpstats.trial.header import complain_of_missing, find_header
from sharpstats.trial.records import Records
from sharpstats.trial.table import TextTable


def read_parquet_file(path: Path, name: str, known: Collection[str] = (), schema: Schema = READINGS) -> TextTable:
    """Read a Parquet file as text; its first row of values is row 1.

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
        If the file is damaged, or a column holds lists or records.
    """
    try:
        table = pq.ParquetFile(path).read()
    except pa.ArrowException as error:
        says = f"{name} is damaged, or no Parquet file. Write it again, or save the readings as CSV."
        raise TrialError(says) from error
    header = find_header([table.column_names], name, known, schema)
    complain_of_missing(header.names, name, schema)
    columns = [_text(column, label, name) for column, label in zip(table.columns, table.column_names, strict=True)]
    records = Records(columns=columns, rows=np.arange(1, table.num_rows + 1, dtype=np.int64))
    return assemble(records, header, name, header.notes, schema=schema)


def _text(column: pa.ChunkedArray, label: str, name: str) -> pa.ChunkedArray:
    """Values as a CSV file would hold them: nothing for null and NaN, whole numbers without a decimal point."""
    if pa.types.is_nested(column.type) or pa.types.is_binary(column.type):
        says = f'{name}: the column "{label}" holds {column.type}.'
        raise TrialError(f"{says} A cell must be a text, a number or a date.")
    if pa.types.is_floating(column.type):
        column = pc.if_else(pc.is_nan(column), None, column)
    text = pc.fill_null(pc.cast(column, pa.large_string()), "")
    return text if isinstance(text, pa.ChunkedArray) else pa.chunked_array([text])
