"""Cautions about single cells that look like slips of a person or a spreadsheet program."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from sharpstats.notes import Note
from sharpstats.trial.checking import Checking
from sharpstats.trial.labels import key_of
from sharpstats.trial.spelling import quoted

DATE = (
    r"(?i)^(?:\d{1,2}-(?:jan|feb|mar|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez)[a-z]*\.?"
    r"|(?:jan|feb|mar|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez)[a-z]*\.?-\d{2,4}"
    r"|\d{4}-\d\d-\d\d|\d{1,2}[./]\d{1,2}[./]\d{2,4})(?:[ T]00:00(?::00)?)?$"
)
"""What becomes of a label such as 5-6 when a spreadsheet program takes it for a date."""

FAR_OFF = 4.0
"""A cut this many times above or below the other cuts of its edge is pointed out."""

USUAL = {"gf": (10.0, 20_000.0), "N": (0.1, 200.0)}
"""Between these the middle reading of a trial lies; outside, the unit is probably another."""


def slips(checking: Checking) -> Iterator[Note]:
    """Look for cells that are probably not what was meant."""
    for name in dict.fromkeys(("edge", "blade", *checking.plan.layout.blocks, *checking.plan.factors)):
        if name in checking.labels:
            yield from _dates(checking, name)
            if name not in checking.plan.factors:
                yield from _look_alikes(checking, name)
    yield from _unit(checking)
    yield from _far_off(checking)
    yield from _far_over(checking)
    yield from _same_spot(checking)


def _dates(checking: Checking, name: str) -> Iterator[Note]:
    labels = checking.labels[name]
    if name == "day" or not labels.texts:
        return
    dated = np.asarray(pc.match_substring_regex(pa.array(labels.texts, pa.large_string()), DATE))
    rows = labels.rows_where(dated)
    if rows.any():
        found = quoted(labels.texts[int(np.argmax(dated))])
        yield Note(
            "label-is-date",
            f"{rows.sum():,} cell(s) of {name} hold a date such as {found} (first: {checking.place(rows)}): "
            "a spreadsheet program may have made it of a label like 5-6, so look at your notes and write it as text.",
        )


def _look_alikes(checking: Checking, name: str) -> Iterator[Note]:
    texts = checking.labels[name].texts
    joined = "\n".join(texts)
    plain = ".0" not in joined and len(joined.split()) == len(texts)
    keys = list(map(str.casefold if plain else key_of, texts))
    if len(set(keys)) == len(texts):
        return
    groups: dict[str, list[str]] = defaultdict(list)
    for key, text in zip(keys, texts, strict=True):
        groups[key].append(text)
    alike = next(group for group in groups.values() if len(group) > 1)
    yield Note(
        "look-alike-labels",
        f"{quoted(alike[0])} and {quoted(alike[1])} count as two values of {name}; if they are one, write them alike.",
    )


def _unit(checking: Checking) -> Iterator[Note]:
    unit = checking.plan.unit
    low, high = USUAL[unit]
    middle = float(np.median(checking.typed["reading"].to_numpy()[checking.asides.kept]))
    if not low <= middle <= high:
        other = "N" if unit == "gf" else "gf"
        yield Note(
            "unit-unlikely",
            f"The middle reading is {middle:.4g} {unit}, which is unusual; if your tester shows {other}, "
            f'write unit = "{other}" in the plan.',
        )


def _far_off(checking: Checking) -> Iterator[Note]:
    """Compare each cut with the geometric mean of the other cuts of its edge."""
    reading, edge = checking.typed["reading"].to_numpy(), checking.labels["edge"]
    rows = np.flatnonzero(checking.asides.kept & ~checking.over_range & (reading > 0))
    codes, logs = edge.codes[rows], np.log(reading[rows])
    count = np.bincount(codes, minlength=len(edge.texts))[codes]
    total = np.bincount(codes, weights=logs, minlength=len(edge.texts))[codes]
    others = (total - logs) / np.maximum(count - 1, 1)
    far = rows[(count > 2) & (abs(logs - others) > np.log(FAR_OFF))]
    if len(far):
        yield Note(
            "reading-far-off",
            f"{len(far):,} reading(s) lie more than {FAR_OFF:g} times above or below the other cuts of their edge "
            f"(first: {checking.place(far)}, {reading[far[0]]:g}); look for a slip; set none aside without a reason.",
        )


def _far_over(checking: Checking) -> Iterator[Note]:
    """Compare each limit with the geometric mean of the cuts of its edge that are in range."""
    reading, edge = checking.typed["reading"].to_numpy(), checking.labels["edge"]
    used, over = checking.asides.kept & (reading > 0), checking.over_range
    inside, beyond = np.flatnonzero(used & ~over), np.flatnonzero(used & over)
    if not len(beyond):
        return
    count = np.bincount(edge.codes[inside], minlength=len(edge.texts))
    total = np.bincount(edge.codes[inside], weights=np.log(reading[inside]), minlength=len(edge.texts))
    here = edge.codes[beyond]
    above = np.log(reading[beyond]) - total[here] / np.maximum(count[here], 1)
    far = beyond[(count[here] > 0) & (above > np.log(FAR_OFF))]
    if len(far):
        yield Note(
            "over-range-far-off",
            f"{len(far):,} cut(s) are over a range that ends more than {FAR_OFF:g} times above the other cuts of their "
            f"edge (first: {checking.place(far)}): did the filament catch, or slip off? As it stands such a cut makes "
            "the spread of all cuts look large; set it aside if there was a reason, and write the reason down.",
        )


def _same_spot(checking: Checking) -> Iterator[Note]:
    if "position_mm" not in checking.typed:
        return
    position = checking.typed["position_mm"].to_numpy()
    rows = np.flatnonzero(checking.asides.kept & ~np.isnan(position))
    spots, distinct = pd.factorize(position[rows])
    key = checking.labels["edge"].codes[rows] * len(distinct) + spots
    again = rows[pd.Series(key).duplicated().to_numpy()]
    if len(again):
        yield Note(
            "same-spot",
            f"{len(again):,} cut(s) were made where their edge had been cut before (first: {checking.place(again)}); "
            "cut at a fresh spot each time, as a cut changes the edge.",
        )
