"""A table of readings as it is published: every row that was read, used or set aside.

What the check mended is mended in it (labels, decimal commas, units), so that it reads the same on its own;
rows that are set aside stand as they were written, with the reason. Names of people are replaced.
"""

from __future__ import annotations

import csv
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.columns import Column
from sharpstats.trial.aside import tagged
from sharpstats.trial.guard import guard, guard_column
from sharpstats.trial.labels import Flags, encode
from sharpstats.trial.numerals import PLAIN
from sharpstats.trial.pseudonyms import Names
from sharpstats.trial.table import PLACE, TextTable
from sharpstats.units import ForceUnit

WHOLE = r"^[+-]?\d+$"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Rows:
    """The rows of one table, on their way out of the folder.

    Attributes
    ----------
    text : TextTable
        As they stand in the files.
    used : DataFrame
        Those that are used, typed.
    set_aside : DataFrame
        file, row, column, value, code and reason of each that is not.
    unit : str
        Unit of the plan.
    hidden : mapping of str to mapping of str to str
        Columns whose names are replaced by "operator 1" and the like, each with what the names that are known
        beforehand are called; others get the next free numbers.
    vague : mapping of str to str
        Columns against which a reason may quote such a name, each with what is said instead.
    """

    text: TextTable
    used: pd.DataFrame
    set_aside: pd.DataFrame
    unit: ForceUnit
    hidden: Mapping[str, Names] = field(default_factory=dict)
    vague: Mapping[str, str] = field(default_factory=dict)

    def column(self, name: str) -> Column | None:
        """Return what is known of a column."""
        return self.text.schema.column(name)

    @property
    def is_used(self) -> Flags:
        """Which rows of the text are used."""
        aside = pd.MultiIndex.from_frame(self.set_aside[list(PLACE)])
        if not len(aside):
            return np.ones(len(self.text.frame), dtype=bool)
        return ~self._places.isin(aside)

    @property
    def is_damaged(self) -> Flags:
        """Which rows do not fit the header, so that anything may stand in any of their cells."""
        return self._places.isin([(damage.file, damage.row) for damage in self.text.damage])

    @property
    def _places(self) -> pd.MultiIndex:
        return pd.MultiIndex.from_frame(self.text.frame[list(PLACE)])


def public_table(rows: Rows) -> pd.DataFrame:
    """Return every row that was read, as text, in the columns of the files.

    Only the columns in `rows.hidden` are made anonymous. Notes, reasons given by hand and all other columns are
    published as they are written.

    Parameters
    ----------
    rows : Rows

    Returns
    -------
    DataFrame
        Text in every cell; `set_aside` holds the reason of each row that is not used.
    """
    used = rows.is_used
    table = pd.DataFrame({name: mended(rows, name, used) for name in rows.text.names})
    if len(rows.set_aside):
        table["set_aside"] = _reasons(rows, table, ~used)
    hidden = [name for name in rows.hidden if name in table]
    for name in hidden:
        table[name] = _pseudonyms(table[name], rows.hidden[name], name)
    if hidden:
        table.loc[rows.is_damaged, [name for name in table.columns if name != "set_aside"]] = ""
    return table


def write_csv(table: pd.DataFrame, path: Path | str) -> None:
    """Write a table of text as CSV (RFC 4180, UTF-8), harmless to open in a spreadsheet program.

    Parameters
    ----------
    table : DataFrame
        Text; see `sharpstats.trial.guard` for what is done to cells that a spreadsheet program would run.
    path : path
    """
    safe = pd.DataFrame({guard(name): guard_column(table[name]) for name in table.columns})
    safe.to_csv(path, index=False, encoding="utf-8", lineterminator="\r\n", quoting=csv.QUOTE_MINIMAL)


def mended(rows: Rows, name: str, used: Flags) -> pd.Series:
    """Return a column: mended in the rows that are used, as written in the others."""
    written, typed, column = rows.text.frame[name], rows.used[name], rows.column(name)
    if pd.api.types.is_string_dtype(typed.dtype):
        if used.all():
            return typed
        right = typed.to_numpy(dtype=object)
    elif column is None or column.kind == "moment":
        return written
    else:
        right = _plainly(rows, column, written[used], typed)
    cells = written.to_numpy(dtype=object).copy()
    cells[used] = right
    return pd.Series(cells, dtype="str")


def _plainly(rows: Rows, column: Column, written: pd.Series, typed: pd.Series) -> NDArray[np.object_]:
    """Keep numbers that read the same on their own; write the others plainly, in the plan's unit."""
    whole = column.kind == "integer"
    cells = written.to_numpy(dtype=object).copy()
    change = ~written.str.match(WHOLE if whole else PLAIN).to_numpy()
    if column.unit == "trial":
        change |= _has_unit_in_header(rows, column.name)
    change &= typed.notna().to_numpy()
    over = rows.used["over_range"].to_numpy() if column.name == "reading" else np.zeros(len(cells), dtype=bool)
    values = typed.to_numpy(dtype=float, na_value=np.nan).tolist()
    for i in np.flatnonzero(change).tolist():
        cells[i] = (">" if over[i] else "") + f"{values[i]!r}".removesuffix(".0")
    return cells


def _has_unit_in_header(rows: Rows, name: str) -> bool:
    return any(units.get(name, rows.unit) != rows.unit for units in rows.text.units.values())


def _reasons(rows: Rows, table: pd.DataFrame, aside: Flags) -> pd.Series:
    """Return the column `set_aside`; a row that only waits for its reading keeps it blank."""
    if "set_aside" in table:
        cells = table["set_aside"].to_numpy(dtype=object).copy()
    else:
        cells = np.full(len(table), "", dtype=object)
    records = rows.set_aside.to_dict("records")
    for at, row in zip(np.flatnonzero(aside).tolist(), records, strict=True):
        if row["code"] == "no-reading" or cells[at].strip():
            continue  # blank says it, or the reason stands there already
        cells[at] = tagged(row["code"], _reason(rows, row))
    return pd.Series(cells, dtype="str")


def _reason(rows: Rows, row: Mapping[Hashable, str]) -> str:
    if not rows.hidden:
        return f"{row['reason']} The row reads: {row['value']}" if row["code"] == "ragged-row" else row["reason"]
    if row["code"] != "spreadsheet-error":
        return rows.vague.get(row["column"], row["reason"])
    return row["reason"]


def _pseudonyms(names: pd.Series, known: Names, word: str) -> pd.Series:
    labels = encode(names.str.strip())
    free = (called for number in count(1) if (called := f"{word} {number}") not in set(known.values()))
    public = {"": "", **known}
    for text in labels.texts:
        if text not in public:
            public[text] = next(free)
    return labels.renamed([public[text] for text in labels.texts]).column()
