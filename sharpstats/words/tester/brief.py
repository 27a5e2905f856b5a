"""One short sentence for each result of a tester study: what is read first, perhaps with wet hands."""

from __future__ import annotations

import math
from collections.abc import Collection
from functools import singledispatch
from typing import Any

from sharpstats.tester.agreement import Agreement
from sharpstats.tester.budget import Budget
from sharpstats.tester.labels import called
from sharpstats.tester.masses import Calibration
from sharpstats.tester.rounding import Rounding
from sharpstats.tester.roundrobin import RoundRobin
from sharpstats.tester.smallest import CutsNeeded, Smallest
from sharpstats.tester.spreads import Spreads
from sharpstats.tester.wear import Wear
from sharpstats.trial.plan import Scale
from sharpstats.units import Unit
from sharpstats.words.blocks import Line
from sharpstats.words.labels import clip, listing, sentence
from sharpstats.words.numbers import NBSP, amount, amounts, count, decimals_for, difference, from_scale, span, unit_on
from sharpstats.words.tester.agreement import beyond_chance, farthest_pair
from sharpstats.words.tester.budget import uncertainty_sentence, useless
from sharpstats.words.tester.masses import digits_of
from sharpstats.words.tester.rounding import step_sentence, step_text
from sharpstats.words.tester.slopes import than
from sharpstats.words.tester.smallest import WAYS, values_told
from sharpstats.words.tester.spreads import limit_told
from sharpstats.words.told import blocks

CHANCE = "it may be chance"


@singledispatch
def brief(result: Any) -> str:
    """Say the most important thing; of a result without a sentence of its own here, the line with which it begins."""
    return _first_line(result)


def _first_line(result: Any) -> str:
    return next((block.text for block in blocks(result) if isinstance(block, Line)), "")


@brief.register
def _(found: Spreads) -> str:
    edge = "like edges" if found.layout == "like edges" else "one edge"
    one = limit_told(found, found.limits["r"])
    if found.by_two is None:
        return f"Two cuts by one operator on {edge} differ by less than {one}, 95 times in 100."
    two = limit_told(found, found.by_two)
    return f"Two cuts on {edge} differ by less than {one} by one operator, {two} by two, 95 times in 100."


@brief.register
def _(found: Smallest) -> str:
    way = found.ways[0]
    whose, where = ("One operator's cuts", "") if way == "one operator" else ("Cuts", f", where {WAYS[way]}")
    (first, cuts), *others = values_told(found, way)
    more = "".join(f", {value} with {cuts}" for value, cuts in others)
    return f"{whose} show differences of {first} with {count(cuts, 'cut')} on each edge{more}{where}."


@brief.register
def _(found: CutsNeeded) -> str:
    unit = unit_on(found.scale, found.unit)
    goal = f"To show a difference of {amount(from_scale(found.wanted, found.scale), unit)} it takes"
    if found.cuts is None:
        return f"{goal} more than cuts: no number of them is enough."
    ends = f"{found.low} or more" if found.high is None else f"{found.low} to {found.high}"
    takes = f"{goal} {count(found.cuts, 'cut')} on each edge ({ends})"
    if found.surely is None or found.surely == found.cuts:
        return f"{takes}."
    return f"{takes}; to see it 9 times in 10, {found.surely:,}."


@brief.register
def _(found: Wear) -> str:
    slope, unit = found.slope, unit_on(found.scale, found.unit)
    how, ends = _change((slope.estimate, slope.low, slope.high), found.scale, unit)
    if slope.p >= 1 - found.level:
        told = "Testing is not shown to change the edge"
    else:
        told = "Testing dulls the edge" if slope.estimate > 0 else "Readings fall as an edge is cut again"
    return f"{told}: each further cut reads {how} ({ends})."


def _change(values: tuple[float, float, float], scale: Scale, unit: Unit) -> tuple[str, str]:
    middle, low, high = (from_scale(value, scale) for value in values)
    digits = decimals_for(high - low if low is not None and high is not None else None, unit,
                          [(low, 0.0), (high, 0.0)])  # fmt: skip
    return difference(middle, unit, digits), span(low, high, unit, digits)


@brief.register
def _(found: Calibration) -> str:
    row, far, unit, digits = found.bias.iloc[found.largest], found.farthest, found.unit, digits_of(found)
    way = "much" if row["bias"] > 0 else "little"
    told = f"Under {amount(row['applied'], unit)} it shows {amount(abs(row['bias']), unit, digits)} too {way}"
    last = f"the farthest off of {count(len(found.bias), 'load')}"
    if not math.isfinite(far.low):
        return f"{told}, {last}."
    if far.low <= 0 <= far.high:
        return f"{told}, {last}: {CHANCE}."
    low, high = sorted((abs(far.low), abs(far.high)))
    return f"{told} ({amounts(low, high, unit, digits)}), {last}."


@brief.register
def _(found: Rounding) -> str:
    grid = found.grid
    if grid is None or not grid.sure or found.verdict == "unknown":
        return step_sentence(found)
    return f"Readings are rounded to {step_text(grid, found.unit)}: {found.verdict}.{_habit(found)}"


def _habit(found: Rounding) -> str:
    digits = found.digits
    if digits is None or digits.favoured is None or found.grid is None:
        return ""
    step = f"{digits.favoured * found.grid.place:.4g}{NBSP}{found.grid.unit}"
    return f" {amount(100 * digits.leaning, '%')} of them look rounded to {step} by whoever read them."


@brief.register
def _(found: Agreement) -> str:
    pair = farthest_pair(found)
    one, other = clip(pair.one.name), clip(pair.other.name)
    how, ends = _change((pair.difference, pair.low, pair.high), found.scale, unit_on(found.scale, found.unit))
    picked = f", the farthest apart of {count(len(found.pairs), 'pair')}" if len(found.pairs) > 1 else ""
    chance = "" if beyond_chance(pair, len(found.pairs)) else f": {CHANCE}"
    return f"On the same edges {one} reads {than(how, other)} ({ends}){picked}{chance}."


@brief.register
def _(found: RoundRobin) -> str:
    told, far = _first_line(found), {shop for batch in found.batches for shop in batch.outlying}
    apart = listing([clip(called("shop", shop), 40) for shop in found.shops if shop in far])
    return f"{told} {sentence(f'{apart} {_verb(far)} apart')}" if far else told


def _verb(shops: Collection[str]) -> str:
    return "stands" if len(shops) == 1 else "stand"


@brief.register
def _(found: Budget) -> str:
    told = uncertainty_sentence(found)
    wider = found.check is not None and not found.check.agrees and not useless(found)
    return f"{told.removesuffix('.')}, perhaps by more." if wider else told
