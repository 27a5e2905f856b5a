"""Numbers of a round robin as a reader sees them, shared by its sentences, tables and pictures."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from sharpstats.tester.amounts import LIMIT_FACTOR
from sharpstats.tester.roundrobin import ACROSS, ALL, WITHIN, RoundRobin
from sharpstats.units import Unit
from sharpstats.words.blocks import Table
from sharpstats.words.numbers import decimals_for, fixed, from_scale, level_percent, unit_on
from sharpstats.words.tables import Form, label, number, whole

FARTHEST = 1000.0
"""Percent; an upper limit beyond this is no number to plan with."""


def pair_amount(result: RoundRobin, sd: float) -> float:
    """Return by how much two cuts with this SD differ at most, 95 times in 100, in percent or in the unit."""
    found = from_scale(LIMIT_FACTOR * sd, result.scale)
    return math.nan if found is None else found


def batch_mean(result: RoundRobin, mean: float) -> float:
    """Return a mean on the scale of the study as a reading."""
    return math.exp(mean) if result.scale == "log" else mean


def endless(high: float, unit: Unit) -> bool:
    """Whether an upper limit is so far away that its digits would only distract."""
    return unit == "%" and high > FARTHEST


def precision_table(
    result: RoundRobin, cells: str, caption: str, terms: Sequence[str] = (WITHIN, ACROSS)
) -> Table:
    """Show SDs with their intervals, a row a batch; more than two kinds do not fit a telephone."""
    unit = unit_on(result.scale, result.unit)
    table = _shown(result, result.table[result.table["at"] == cells])
    digits = decimals_for(float(table["sd"].median()) if len(table) else None, unit)
    found = [(batch.name, batch.whole if cells == ALL else batch.kept) for batch in result.batches]
    rows = pd.DataFrame([{"batch": name, "mean": batch_mean(result, one.mean), "shops": one.shops, "cuts": one.cuts}
                         for name, one in found if one is not None])  # fmt: skip
    spreads = [_sd_form(table, term, unit, digits) for term in terms]
    columns = (label("batch", "batch"), number("mean", f"mean, {result.unit}", decimals_for(None, result.unit)),
               *spreads, whole("shops"), whole("cuts"))  # fmt: skip
    return Table(rows, f"{caption}, each with its {level_percent(result.level)} interval", columns)


def _shown(result: RoundRobin, table: pd.DataFrame) -> pd.DataFrame:
    shown = table.copy()
    for name in ("sd", "low", "high"):
        shown[name] = [from_scale(value, result.scale) for value in table[name]]
    return shown


def _sd_form(table: pd.DataFrame, term: str, unit: Unit, digits: int) -> Form:
    rows = {row["batch"]: row for row in table[table["term"] == term].to_dict("records")}

    def text(row: Mapping[str, Any]) -> str:
        found = rows.get(row["batch"])
        if found is None or found["high"] == 0:  # all cuts read the same: the step hides how they differ
            return "unknown"
        low, high = fixed(found["low"], digits), fixed(found["high"], digits)
        ends = f"{low} or more" if endless(found["high"], unit) else f"{low} to {high}"
        return f"{fixed(found['sd'], digits)} ({ends})"

    return Form(f"{term}, {unit}", text, number=True)


