"""Columns that the arithmetic does not need: read as what they are; a value that is none of it counts as blank."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from sharpstats.columns import READINGS, Column
from sharpstats.trial.checking import Checking
from sharpstats.trial.labels import Flags
from sharpstats.trial.numerals import Numbers, force_unit, read_numbers
from sharpstats.trial.readingrules import _factor


def type_other_columns(checking: Checking) -> None:
    """Read the numbers and moments among the columns that no rule has looked at yet."""
    for column in READINGS:
        name = column.name
        if name in checking.labels or name in checking.typed or not checking.has(name):
            continue
        if column.kind == "moment":
            checking.typed[name] = _moments(checking, column)
        elif column.kind != "text":
            checking.typed[name] = _numbers(checking, column)


def _numbers(checking: Checking, column: Column) -> pd.Series:
    labels = checking.encoded(column.name)
    numbers = read_numbers(labels.texts, decimal_comma=checking.table.decimal_comma)
    value = numbers.value * _unit_factors(checking, column, numbers)
    sound = (numbers.problem == "") & np.isfinite(value)
    if column.kind != "reading":
        sound &= ~numbers.over
    if column.kind == "integer":
        sound &= np.nan_to_num(value) % 1 == 0
    if column.minimum is not None:
        sound &= value >= column.minimum
    if column.maximum is not None:
        sound &= value <= column.maximum
    _caution(checking, column, labels.rows_where(~sound & (numbers.problem != "blank")))
    value = np.where(sound, value, np.nan)
    if column.kind == "integer":
        return pd.Series(pd.array(value, dtype="Int64").take(labels.codes))
    return pd.Series(value[labels.codes])


def _unit_factors(checking: Checking, column: Column, numbers: Numbers) -> NDArray[np.float64]:
    """Return for each distinct text the factor to the column's unit; NaN for a unit that does not fit."""
    wanted = checking.plan.unit if column.unit == "trial" else column.unit
    factors = np.ones(len(numbers.unit))
    for i, unit in enumerate(numbers.unit):
        if unit and unit.casefold() != wanted.casefold():
            force = force_unit(unit)
            factors[i] = np.nan if force is None or wanted not in ("gf", "N") else _factor(force, wanted)
    return factors


def _moments(checking: Checking, column: Column) -> pd.Series:
    """Read ISO 8601 dates and times; without a zone where the files give none."""
    texts = pa.array(checking.frame[column.name], type=pa.large_string())
    trimmed = pc.utf8_trim_whitespace(texts)
    filled = pc.if_else(pc.equal(trimmed, ""), None, trimmed)
    for kind in (pa.timestamp("us"), pa.timestamp("us", "UTC")):
        try:
            return pd.Series(pc.cast(filled, kind).to_pandas())
        except pa.ArrowInvalid:
            continue
    series = pd.Series(filled.to_pandas())
    moments = pd.to_datetime(series, format="ISO8601", errors="coerce", utc=True)
    _caution(checking, column, (moments.isna() & series.notna()).to_numpy())
    return moments


def _caution(checking: Checking, column: Column, wrong: Flags) -> None:
    if wrong.any():
        what = {"moment": "a date and time such as 2026-05-04T14:30", "integer": "a whole number"}
        allowed = what.get(column.kind, "a number")
        bound = f", not below {column.minimum:g}" if column.minimum is not None else ""
        checking.caution(
            "unreadable-value",
            f"{int(wrong.sum()):,} cell(s) of {column.name} are not {allowed}{bound} and count as blank "
            f"(first: {checking.place(wrong)}); correct them if you want to use that column.",
        )
