"""Columns that the arithmetic does not need: read as what they are; a value that is none of it counts as blank."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from sharpstats.columns import Column
from sharpstats.trial.checking import Checking
from sharpstats.trial.labels import Flags
from sharpstats.trial.numerals import Numbers, force_unit, plain_numbers, read_numbers
from sharpstats.trial.readingrules import factor_to, header_factors
from sharpstats.units import FORCE_UNITS

EXPECTED = {"moment": "a date and time such as 2026-05-04T14:30", "integer": "a whole number"}


def type_other_columns(checking: Checking) -> None:
    """Read the numbers and moments among the columns that no rule has looked at yet."""
    for column in checking.table.schema:
        name = column.name
        if name in checking.labels or name in checking.typed or not checking.has(name):
            continue
        if column.kind == "moment":
            checking.typed[name] = _moments(checking, column)
        elif column.kind != "text":
            checking.typed[name] = _numbers(checking, column)


def _numbers(checking: Checking, column: Column) -> pd.Series:
    numbers = None if checking.table.decimal_comma else plain_numbers(checking.frame[column.name])
    if numbers is None or not _fits(column, numbers).all():
        numbers = _odd_numbers(checking, column)
    elif column.unit == "trial":
        numbers = numbers * header_factors(checking, column.name)
    return pd.Series(numbers).astype("Int64") if column.kind == "integer" else pd.Series(numbers)


def _fits(column: Column, value: NDArray[np.float64]) -> Flags:
    """Tell which numbers the column may hold."""
    fits = np.isfinite(value)
    if column.kind == "integer":
        fits[fits] = (value[fits] % 1 == 0) & (abs(value[fits]) < 2**53)
    if column.minimum is not None:
        fits[fits] = value[fits] >= column.minimum
    if column.maximum is not None:
        fits[fits] = value[fits] <= column.maximum
    return fits


def _odd_numbers(checking: Checking, column: Column) -> NDArray[np.float64]:
    """Read a column in which not every cell is a plain number that fits."""
    labels = checking.encoded(column.name)
    numbers = read_numbers(labels.texts, decimal_comma=checking.table.decimal_comma)
    value = numbers.value * _unit_factors(checking, column, numbers)
    fits = (numbers.problem == "") & _fits(column, value)
    if column.kind != "reading":
        fits &= ~numbers.over
    _caution(checking, column, labels.rows_where(~fits & (numbers.problem != "blank")))
    values = np.where(fits, value, np.nan)[labels.codes]
    if column.unit != "trial":
        return values
    return np.where((numbers.unit != "")[labels.codes], values, values * header_factors(checking, column.name))


def _unit_factors(checking: Checking, column: Column, numbers: Numbers) -> NDArray[np.float64]:
    """Return for each distinct text the factor to the column's unit; NaN for a unit that does not fit."""
    wanted = checking.plan.unit if column.unit == "trial" else column.unit
    force = next((unit for unit in FORCE_UNITS if unit == wanted), None)
    factors = np.ones(len(numbers.unit))
    for i in np.flatnonzero(numbers.unit != ""):
        written = force_unit(numbers.unit[i])
        if force is not None and written is not None:
            factors[i] = factor_to(force, written)
        elif numbers.unit[i].casefold() != wanted.casefold():
            factors[i] = np.nan
    return factors


def _moments(checking: Checking, column: Column) -> pd.Series:
    """Read ISO 8601 dates and times: with a zone, as UTC, only where the files give one."""
    texts = pc.utf8_trim_whitespace(pa.array(checking.frame[column.name], type=pa.large_string()))
    filled = pc.if_else(pc.equal(texts, ""), None, texts)
    for kind in (pa.timestamp("us"), pa.timestamp("us", "UTC")):
        try:
            return pd.Series(pc.cast(filled, kind).to_pandas())
        except pa.ArrowInvalid:
            continue
    series = pd.Series(filled.to_pandas())
    moments = pd.to_datetime(series, format="ISO8601", errors="coerce", utc=True)
    _caution(checking, column, (moments.isna() & series.notna()).to_numpy())
    zoned = series.str.contains(r"(?:Z|[+-]\d\d:?\d\d)$", na=False).any()
    return moments if zoned else moments.dt.tz_localize(None)


def _caution(checking: Checking, column: Column, wrong: Flags) -> None:
    if not wrong.any():
        return
    bound = "" if column.minimum is None else f", {column.minimum:g} or more,"
    checking.caution(
        "unreadable-value",
        f"{int(wrong.sum()):,} cell(s) of {column.name} are not {EXPECTED.get(column.kind, 'a number')}{bound} and "
        f"count as blank (first: {checking.place(wrong)}); correct them if you want to use that column.",
    )
