"""What each cut does to its edge, in words."""

from __future__ import annotations

import math
from collections.abc import Iterator

from sharpstats.tester.wear import PER_MM, AlongEdge, Wear
from sharpstats.words.blocks import Block, Folded, Line, Table
from sharpstats.words.numbers import fixed, from_scale, p_value, sd, unit_on
from sharpstats.words.onfit import DF, P, notes_blocks
from sharpstats.words.tables import label, limits, number
from sharpstats.words.tester.slopes import finer, slope_words, than


def wear_blocks(found: Wear) -> Iterator[Block]:
    """Tell what testing does to the edge, and what that does to repeatability."""
    yield Line(wear_sentence(found))
    yield Line(_adds_up(found))
    yield Line(_repeats(found))
    for sentence in _doubts(found):
        yield Line(sentence)
    if found.along is not None:
        yield Line(" ".join(_along(found, found.along)))
    yield from notes_blocks(found.notes)
    yield Folded("The slopes one by one", (_slopes(found),))


def wear_sentence(found: Wear) -> str:
    """Say whether testing dulls the edge, in one sentence."""
    how, sure = slope_words(found.slope, found.scale, found.unit)
    told = f"each further cut on an edge reads {how} ({sure})"
    if found.slope.p >= 1 - found.level:
        return f"Testing is not shown to change the edge: {told}."
    if found.slope.estimate > 0:
        return f"Testing dulls the edge: {told}."
    return f"Readings fall as an edge is cut again: {told}. A burr that comes off does that, and a hand that warms up."


def _adds_up(found: Wear) -> str:
    steps = found.most - 1
    how, sure = slope_words(found.slope, found.scale, found.unit, times=steps)
    return f"From the first cut on an edge to cut {found.most:g} that adds up to {how} ({sure.partition(';')[0]})."


def _repeats(found: Wear) -> str:
    digits = finer(found.as_it_is.sd, found.scale, found.unit)
    left, removed = (sd(each.sd, found.scale, found.unit, digits) for each in (found.as_it_is, found.slope_removed))
    return (
        f"Two cuts on one edge repeat with a standard deviation of {left}; with the change from cut to cut taken out, "
        f"of {removed}. Differences from spot to spot along the edge are in both."
    )


def _doubts(found: Wear) -> Iterator[str]:
    """Say what else the slope could be, and whether edges are alike in it."""
    if found.without_drift is not None:
        how, sure = slope_words(found.without_drift, found.scale, found.unit)
        yield f"With a slow change of the tester taken out as well, each further cut reads {how} ({sure})."
    if found.like_drift:
        yield (
            "Later cuts on an edge were later in the study as well, so a drift of the tester would look the same. Only "
            "a check mass, which nothing wears, read again every ten cuts or so, tells the two apart."
        )
    if found.like_place:
        yield (
            "Order and place went together: the later the cut, the farther along the edge. So a bevel that differs "
            "from heel to tip would look like wear. Take the places of an edge in random order."
        )
    mean = found.by_edge.mean
    if mean is not None and found.by_edge.differ < 1 - found.level:
        how, sure = slope_words(mean, found.scale, found.unit)
        yield (
            f"Edges do not all change alike from cut to cut ({p_value(found.by_edge.differ)}). Judged by how far the "
            f"edges differ, each further cut reads {how} ({sure})."
        )


def _along(found: Wear, along: AlongEdge) -> Iterator[str]:
    how, sure = slope_words(along.slope, found.scale, found.unit)
    yield f"Along the edge, readings are {how} for every {PER_MM:g} mm farther from the heel ({sure})."
    if along.bow is not None:
        how, sure = slope_words(along.bow, found.scale, found.unit)
        yield f"The middle reads {than(how, 'the two ends')} ({sure}); the cuts span {fixed(along.span)} mm."


def _slopes(found: Wear) -> Table:
    unit = unit_on(found.scale, found.unit)
    table = found.table.copy()
    for name in ("estimate", "low", "high"):
        table[name] = [from_scale(value, found.scale) for value in table[name]]
    width = float((table["high"] - table["low"]).min())
    digits = min(max(1 - math.floor(math.log10(width)), 0), 4) if width > 0 else 2
    columns = (label("term", "change with"), number("estimate", f"change, {unit}", digits), limits(table, digits, unit),
               DF, P)  # fmt: skip
    return Table(table, "Change of readings", columns)
