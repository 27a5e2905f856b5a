"""Tables of a round robin that a page shows when asked: every cell, and every test."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np

from sharpstats.tester.labels import called
from sharpstats.tester.roundrobin import RoundRobin
from sharpstats.words.blocks import Block, Line, Table
from sharpstats.words.labels import clip
from sharpstats.words.numbers import decimals_for, fixed, from_scale, p_number, unit_on
from sharpstats.words.tables import Form, label, number, whole
from sharpstats.words.tester.shopnumbers import batch_mean

H_AND_K = (
    "h: how far a shop's mean lies from the mean of all, in SDs of the means. k: its SD against that of all shops. "
    "Beside one that is beyond its limit stands how rarely chance takes a shop there that was named beforehand. Among "
    "many cells a few come there by chance."
)


def cell_tables(result: RoundRobin) -> Iterator[Block]:
    """Show every cell; each batch a table."""
    yield Line(H_AND_K)
    unit = unit_on(result.scale, result.unit)
    for batch in result.batches:
        cells = result.cells[result.cells["batch"] == batch.name].copy()
        cells["estimate"] = [batch_mean(result, mean) for mean in batch.means]
        cells["sd"] = [from_scale(sd, result.scale) for sd in batch.sds]
        digits = decimals_for(float(np.nanmedian(cells["sd"])) if cells["sd"].notna().any() else None, unit)
        columns = (label("shop", "shop"), whole("cuts"),
                   number("estimate", f"mean, {result.unit}", decimals_for(None, result.unit)),
                   number("sd", f"SD, {unit}", digits), _consistency("h", batch.h_critical),
                   _consistency("k", batch.k_critical))  # fmt: skip
        yield Table(cells, called("Batch", clip(batch.name, 30)), columns)


def _consistency(name: str, critical: Callable[[float], float]) -> Form:
    """Show h or k, and beside it the level that it is beyond."""

    def text(row: Mapping[str, Any]) -> str:
        value, p = row[name], row[f"{name}_p"]
        beyond = " (1 %)" if p < 0.01 else " (5 %)" if p < 0.05 else ""
        return f"{fixed(value, 2)}{beyond}"

    limit = critical(0.01)
    heading = name if math.isnan(limit) else f"{name} (1 % at {fixed(limit, 2)})"
    return Form(heading, text, number=True)


def looks_table(result: RoundRobin) -> Table:
    """Show every test for cells that stand apart."""
    shown = result.looks
    statistic = Form("statistic (5 %, 1 %)", number=True,
                     text=lambda row: f"{row['statistic']:.3f} ({row['at_5']:.3f}, {row['at_1']:.3f})")  # fmt: skip
    columns = (label("batch", "batch"), label("term", "looked at"), label("shop", "shop"), statistic,
               Form("p", lambda row: p_number(row["p"]), number=True), label("mark", "finding"))  # fmt: skip
    caption = (
        "Spreads by Cochran's C, means by Grubbs's G, in the order of ISO 5725-2; in brackets the critical values. For "
        "two means G is the share of the spread that is left without them: small is rare."
    )
    return Table(shown, caption, columns)
