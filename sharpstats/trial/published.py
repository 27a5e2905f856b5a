"""The table of readings as it is published: every row that was read, used or set aside.

What the check mended is mended in it (labels, decimal commas, units), so that it reads the same on its own;
rows that are set aside stand as they were written, with the reason. Names of operators are replaced.
"""

from __future__ import annotations

import csv
from collections.abc import Hashable, Mapping, Sequence
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.columns import Column, readings_column
from sharpstats.trial.aside import tagged
from sharpstats.trial.guard import guard, guard_column
from sharpstats.trial.labels import Flags, encode
from sharpstats.trial.numerals import PLAIN
from sharpstats.trial.pseudonyms import planned
from sharpstats.trial.table import PLACE
from sharpstats.trial.trial import Trial

WHOLE = r"^[+-]?\d+$"


def published_table(trial: Trial) -> pd.DataFrame:
    """Return every row that was read, as text, in the columns of the files.

    Only the column `operator` is made anonymous ("operator 1", "operator 2", ... as the plan names them, then as
    they first occur), and only where the plan does not ask for names as written. Notes, reasons given by hand and
    all other columns are published as they are written.

    Parameters
    ----------
    trial : Trial

    Returns
    -------
    DataFrame
        Text in every cell; `set_aside` holds the reason of each row that is not used.
    """
    used = _used(trial)
    table = pd.DataFrame({name: _column(trial, name, used) for name in trial.text.names})
    if len(trial.set_aside):
        table["set_aside"] = _reasons(trial, table, ~used)
    if anonymous(trial) and "operator" in table:
        table["operator"] = _pseudonyms(table["operator"], planned(trial.plan, trial.frozen))
        _blank_damaged(trial, table)
    return table


def anonymous(trial: Trial) -> bool:
    """Tell whether names of operators are replaced."""
    return trial.plan.publishing.operators == "pseudonyms"


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


def _used(trial: Trial) -> Flags:
    """Tell which rows of the text are used."""
    aside = pd.MultiIndex.from_frame(trial.set_aside[list(PLACE)])
    if not len(aside):
        return np.ones(len(trial.text.frame), dtype=bool)
    return ~pd.MultiIndex.from_frame(trial.text.frame[list(PLACE)]).isin(aside)


def _column(trial: Trial, name: str, used: Flags) -> pd.Series:
    """Return a column: mended in the rows that are used, as written in the others."""
    written, typed, column = trial.text.frame[name], trial.readings[name], readings_column(name)
    if pd.api.types.is_string_dtype(typed.dtype):
        if used.all():
            return typed
        mended = typed.to_numpy(dtype=object)
    elif column is None or column.kind == "moment":
        return written
    else:
        mended = _plainly(trial, column, written[used], typed)
    cells = written.to_numpy(dtype=object).copy()
    cells[used] = mended
    return pd.Series(cells, dtype="str")


def _plainly(trial: Trial, column: Column, written: pd.Series, typed: pd.Series) -> NDArray[np.object_]:
    """Keep numbers that read the same on their own; write the others plainly, in the plan's unit."""
    whole = column.kind == "integer"
    cells = written.to_numpy(dtype=object).copy()
    change = ~written.str.match(WHOLE if whole else PLAIN).to_numpy()
    if column.unit == "trial":
        change |= _has_unit_in_header(trial, column.name)
    change &= typed.notna().to_numpy()
    over = trial.readings["over_range"].to_numpy() if column.name == "reading" else np.zeros(len(cells), dtype=bool)
    values = typed.to_numpy(dtype=float, na_value=np.nan).tolist()
    for i in np.flatnonzero(change).tolist():
        cells[i] = (">" if over[i] else "") + f"{values[i]!r}".removesuffix(".0")
    return cells


def _has_unit_in_header(trial: Trial, name: str) -> bool:
    return any(units.get(name, trial.plan.unit) != trial.plan.unit for units in trial.text.units.values())


def _reasons(trial: Trial, table: pd.DataFrame, aside: Flags) -> pd.Series:
    """Return the column `set_aside`; a row that only waits for its reading keeps it blank."""
    if "set_aside" in table:
        cells = table["set_aside"].to_numpy(dtype=object).copy()
    else:
        cells = np.full(len(table), "", dtype=object)
    rows = trial.set_aside.to_dict("records")
    for at, row in zip(np.flatnonzero(aside).tolist(), rows, strict=True):
        if row["code"] == "no-reading" or cells[at].strip():
            continue  # blank says it, or the reason stands there already
        cells[at] = tagged(row["code"], _reason(trial, row))
    return pd.Series(cells, dtype="str")


def _reason(trial: Trial, row: Mapping[Hashable, str]) -> str:
    if not anonymous(trial):
        return f"{row['reason']} The row reads: {row['value']}" if row["code"] == "ragged-row" else row["reason"]
    if row["column"] == "operator" and row["code"] != "spreadsheet-error":
        return "The operator is missing or unknown, or the edge has two."
    return row["reason"]


def _pseudonyms(names: pd.Series, known: Sequence[str]) -> pd.Series:
    labels = encode(names.str.strip())
    people = list(dict.fromkeys((*known, *(text for text in labels.texts if text))))
    return labels.renamed([f"operator {people.index(text) + 1}" if text else "" for text in labels.texts]).column()


def _blank_damaged(trial: Trial, table: pd.DataFrame) -> None:
    """Blank the cells of rows that do not fit the header: a name may stand in any of them."""
    places = pd.MultiIndex.from_frame(trial.text.frame[list(PLACE)])
    rows = places.isin([(damage.file, damage.row) for damage in trial.text.damage])
    table.loc[rows, [name for name in table.columns if name != "set_aside"]] = ""
