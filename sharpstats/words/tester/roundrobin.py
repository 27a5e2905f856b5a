"""How a round robin shows itself: how far cuts differ within and between shops, who stands apart, what to do."""

from __future__ import annotations

from collections.abc import Iterator

from sharpstats.tester.batch import Batch
from sharpstats.tester.dependence import Dependence
from sharpstats.tester.labels import called
from sharpstats.tester.precision import Deviation
from sharpstats.tester.roundrobin import ALL, BETWEEN, RoundRobin
from sharpstats.words.blocks import Block, Folded, Line, Points
from sharpstats.words.labels import clip, listing
from sharpstats.words.numbers import (
    MINUS,
    NBSP,
    amount,
    amounts,
    count,
    decimals_for,
    from_scale,
    level_percent,
    p_value,
    unit_on,
)
from sharpstats.words.onfit import notes_blocks
from sharpstats.words.tester.shopnumbers import batch_mean, endless, pair_amount, precision_table
from sharpstats.words.tester.shopsapart import standing_apart
from sharpstats.words.tester.shoptables import cell_tables, looks_table

FIRST = ("unit-slip", "over-range")
"""Codes of notes without which nothing below should be read."""
MANYFOLD = "by more than tenfold"
"""Said of differences of more than 1000 %: something is wrong, and digits would not tell what."""
HIDDEN = "by less than the step of the readings shows"
"""Said where all cuts read the same: that is the step, and not a spread of nothing."""
MOST_BATCHES = 8
"""More than these are told by the table alone."""


def round_robin_blocks(result: RoundRobin) -> Iterator[Block]:
    """Tell a round robin."""
    cuts, batches = count(len(result.data), "cut"), len(result.batches)
    percent = f" Differences in{NBSP}% are counted from the lower of two readings." if result.scale == "log" else ""
    yield from (Line(note.text) for note in result.notes if note.code in FIRST)
    yield Line(_summary(result) if batches > 1 else _batch_sentence(result, result.batches[0]))
    yield Line(f"{count(len(result.shops), 'shop')} read {count(batches, 'batch', 'batches')}: {cuts}.{percent}")
    if 1 < batches <= MOST_BATCHES:
        yield Points(tuple(_batch_sentence(result, batch) for batch in result.batches))
    yield precision_table(result, ALL, "Standard deviation of single cuts, by batch")
    yield from _by_level(result)
    yield from standing_apart(result)
    yield Line("Every cut is at a fresh spot of one of several like edges, so the spread within a shop holds what "
               "differs from spot to spot and from edge to edge.")  # fmt: skip
    yield from notes_blocks(note for note in result.notes if note.code not in FIRST)
    if any(batch.whole.between is not None for batch in result.batches):
        caption = "Standard deviation between shops, chance within them taken away, by batch"
        yield Folded("The spread between shops alone", (precision_table(result, ALL, caption, (BETWEEN,)),))
    yield Folded("Every shop on every batch", tuple(cell_tables(result)))
    yield Folded("Tests for cells that stand apart", (looks_table(result),))


def _batch_sentence(result: RoundRobin, batch: Batch) -> str:
    found = batch.whole
    mean = amount(batch_mean(result, found.mean), result.unit)
    head = f"{called('Batch', clip(batch.name, 30))}, which reads {mean} on average"
    parts = []
    if found.within is not None:
        parts.append(f"two cuts in one shop differ {_pair(result, found.within, found.level)}")
    if found.across is not None:
        parts.append(f"two cuts in two shops {_pair(result, found.across)}" if parts else
                     f"two cuts in two shops differ {_pair(result, found.across, found.level)}")  # fmt: skip
    if not parts:
        return f"{head}: a single cut, which tells nothing about spread."
    return f"{head}: in 95 of 100 pairs {listing(parts)}."


def _pair(result: RoundRobin, deviation: Deviation, level: float | None = None) -> str:
    unit = unit_on(result.scale, result.unit)
    at_most, low, high = (pair_amount(result, sd) for sd in (deviation.sd, deviation.low, deviation.high))
    if endless(at_most, unit):
        return MANYFOLD
    if high == 0:
        return HIDDEN
    digits = decimals_for(high - low, unit)
    name = f"{level_percent(level)} interval: " if level else ""
    ends = f"{amount(low, unit, digits)} or more" if endless(high, unit) else amounts(low, high, unit, digits)
    return f"by at most {amount(at_most, unit, digits)} ({name}{ends})"


def _summary(result: RoundRobin) -> str:
    extents = {"one shop": _extent(result, "within"), "two shops": _extent(result, "across")}
    parts = [f"two cuts in {where} differ {extent}" for where, extent in extents.items() if extent]
    if not parts:
        return "These batches have too few cuts to tell how far readings differ."
    return f"In 95 of 100 pairs {listing(parts)}, depending on the batch."


def _extent(result: RoundRobin, name: str) -> str:
    """Return the smallest and largest difference of pairs over the batches; empty where none is known."""
    unit = unit_on(result.scale, result.unit)
    found = [getattr(batch.whole, name) for batch in result.batches]
    pairs = [pair_amount(result, deviation.sd) for deviation in found if deviation is not None]
    if not pairs:
        return ""
    if endless(max(pairs), unit):
        return MANYFOLD
    if max(pairs) == 0:
        return HIDDEN
    digits = decimals_for(min(pairs), unit)
    low, high = (amount(end, unit, digits) for end in (min(pairs), max(pairs)))
    return f"by at most {high}" if low == high or min(pairs) == 0 else f"by at most {low} to {high}"


def _by_level(result: RoundRobin) -> Iterator[Line]:
    named = (("within a shop", result.within_by_level), ("from shop to shop", result.across_by_level))
    for where, found in named:
        if found is not None:
            yield Line(_level_sentence(result, where, found))


def _level_sentence(result: RoundRobin, where: str, found: Dependence) -> str:
    unit, chosen = unit_on(result.scale, result.unit), found.chosen
    ends = [batch_mean(result, result.batches[place].whole.mean) for place in (0, -1)]
    sds = [from_scale(float(chosen.at(end)), result.scale) for end in ends]
    known = [sd for sd in sds if sd is not None]
    first = amount(known[0], unit, decimals_for(known[0], unit))
    if chosen.kind == "constant":
        told = f"The spread {where} is about the same at every level: SD {first}"
    else:
        last = amount(known[-1], unit, decimals_for(known[-1], unit))
        way = "grows" if known[-1] > known[0] else "falls"
        told = (f"The spread {where} {way} with the level: SD {first} at {amount(ends[0], result.unit)}, {last} at "
                f"{amount(ends[1], result.unit)} ({_formula(result, found)})")  # fmt: skip
    if found.contradicted:
        return f"{told}. Yet no simple relation fits the batches ({p_value(chosen.p)}): trust the table by batch."
    return f"{told} (fit: {p_value(chosen.p)})." if chosen.kind == "constant" else f"{told}; fit: {p_value(chosen.p)}."


def _formula(result: RoundRobin, found: Dependence) -> str:
    chosen, scale = found.chosen, "log SD" if result.scale == "log" else "SD"
    if chosen.kind == "through the origin":
        return f"{scale} = {chosen.b:.3g} × reading"
    if chosen.kind == "power":
        return f"{scale} = {chosen.a:.3g} × reading to the power {signed_plain(chosen.b)}"
    sign = "+" if chosen.b >= 0 else MINUS
    return f"{scale} = {chosen.a:.3g} {sign} {abs(chosen.b):.3g} × reading"


def signed_plain(value: float) -> str:
    """Return a number with a true minus."""
    return f"{MINUS if value < 0 else ''}{abs(value):.2f}"


