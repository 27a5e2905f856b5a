"""Agreement in words: who reads higher by how much, how far single cuts are apart, and whether that changes."""

from __future__ import annotations

import math
from collections.abc import Iterator

import pandas as pd

from sharpstats.tester.agreelimits import AgreementLimits
from sharpstats.tester.agreement import Agreement
from sharpstats.tester.pair import Pair
from sharpstats.words.blocks import Block, Folded, Heading, Line, Points, Table
from sharpstats.words.labels import clip, sentence
from sharpstats.words.numbers import (
    NBSP,
    SAME,
    count,
    decimals_for,
    difference,
    from_scale,
    interval,
    level_percent,
    span,
    stated,
    unit_on,
)
from sharpstats.words.onfit import notes_blocks
from sharpstats.words.tables import label, limits, number

MOST_PAIRS = 10
"""Pairs that are told one by one, as five operators make: nobody reads hundreds."""


def agreement_blocks(found: Agreement) -> Iterator[Block]:
    """Tell how far testers or operators read apart."""
    if len(found.pairs) > 1:
        yield Line(farthest_sentence(found))
    told = sorted(found.pairs, key=_apart, reverse=True)[:MOST_PAIRS]
    if len(told) < len(found.pairs):
        yield Line(f"Of {len(found.pairs)} pairs the {len(told)} farthest apart follow; the attribute `table` has all.")
    for pair in told if len(told) < len(found.pairs) else found.pairs:
        if len(found.pairs) > 1:
            yield Heading(f"{clip(pair.one.name)} and {clip(pair.other.name)}")
        yield Line(difference_sentence(pair, found))
        yield Line(limits_sentence(pair, found))
        if margin := margin_sentence(pair, found):
            yield Line(margin)
        yield Line(slope_sentence(pair, found))
        yield _table(pair, found)
    yield from notes_blocks([note for pair in found.pairs for note in pair.notes] + list(found.notes))
    yield Folded("How this is worked out", (Points(tuple(_method(found))),))


def farthest_sentence(found: Agreement) -> str:
    """Say of several pairs which reads farthest apart on average."""
    pair = farthest_pair(found)
    told = difference_sentence(pair, found, len(found.pairs))
    return f"Of {count(len(found.pairs), 'pair')} the farthest apart on average: {told}"


def farthest_pair(found: Agreement) -> Pair:
    """Return the pair that reads farthest apart on average."""
    return max(found.pairs, key=_apart)


def _apart(pair: Pair) -> float:
    return abs(pair.difference)


def decimals_of(pair: Pair, found: Agreement) -> int:
    """Return how many decimals a pair's differences bear, by the interval of the mean difference."""
    low, high = (from_scale(value, found.scale) for value in (pair.low, pair.high))
    width = high - low if low is not None and high is not None else None
    return decimals_for(width, unit_on(found.scale, found.unit))


def beyond_chance(pair: Pair, picked_from: int = 1) -> bool:
    """Tell whether a difference is more than chance would do, also where its pair was picked out of several."""
    return picked_from * pair.p < 1 - pair.level


def difference_sentence(pair: Pair, found: Agreement, picked_from: int = 1) -> str:
    """Say who reads higher on the same edges, with the interval; of a pair picked out of several, with care."""
    unit = unit_on(found.scale, found.unit)
    mean, low, high = (from_scale(value, found.scale) for value in (pair.difference, pair.low, pair.high))
    width = high - low if low is not None and high is not None else None
    digits = decimals_for(width, unit, [(low, 0.0), (high, 0.0)])  # a limit beside zero must not look like zero
    how = difference(mean, unit, digits)
    read = "read the same, to within rounding," if how == SAME else f"reads {how} than {clip(pair.other.name)}"
    who = f"{clip(pair.one.name)} and {clip(pair.other.name)}" if how == SAME else clip(pair.one.name)
    among = f" among {count(picked_from, 'pair')}" if picked_from > 1 else ""
    sure = (f"That is more than chance would do{among}." if beyond_chance(pair, picked_from)
            else f"Chance alone could do as much{among}.")  # fmt: skip
    cuts = count(int(pair.one.cuts.sum() + pair.other.cuts.sum()), "cut")
    return sentence(f"{who} {read} on the same edges ({interval(low, high, unit, pair.level, digits)}; "
                    f"{count(len(pair.edges), 'edge')}, {cuts}). {sure}")  # fmt: skip


def limits_sentence(pair: Pair, found: Agreement) -> str:
    """Say between which differences most cuts, and most edge means, fall."""
    single = _between(pair.single, pair, found)
    told = f"One cut by each on the same edge: {_so_many(pair.single)} differences fall between {single}."
    if pair.averaged:
        told += f" Means of the cuts that each made on an edge: between {_between(pair.limits, pair, found)}."
    return told


def _so_many(found: AgreementLimits) -> str:
    return f"{100 * found.share:.3g}{NBSP}of{NBSP}100"


def _between(found: AgreementLimits, pair: Pair, agreement: Agreement) -> str:
    unit, digits = unit_on(agreement.scale, agreement.unit), decimals_of(pair, agreement)
    low, high = (from_scale(value, agreement.scale) for value in (found.low, found.high))
    return span(low, high, unit, digits).replace(" to ", " and ")


def margin_sentence(pair: Pair, found: Agreement) -> str:
    """Say what follows for the margin; empty where none was given."""
    held = pair.margin
    if held is None:
        return ""
    unit, bound = unit_on(found.scale, found.unit), from_scale(held.bound, found.scale)
    low, high = (from_scale(value, found.scale) for value in (held.low, held.high))
    width = high - low if low is not None and high is not None else None
    digits = decimals_for(width, unit, [(high, bound), (low, from_scale(-held.bound, found.scale))])
    within = f"to within {stated(held.margin)}"
    if found.scale == "log":  # 15 % higher and 13 % lower are the same ratio
        within += f" (from {span(from_scale(-held.bound, 'log'), bound, unit, max(digits, 1))})"
    says = {
        "shown": f"Shown: the two read the same on average {within}",
        "contradicted": f"Contradicted: the two do not read the same on average {within}",
        "open": f"Open: whether the two read the same on average {within} cannot be told yet",
    }
    return f"{says[held.finding]}; {interval(low, high, unit, held.level, digits)}."


def slope_sentence(pair: Pair, found: Agreement) -> str:
    """Say whether the difference is the same for keen and for dull edges."""
    one, other, slope = clip(pair.one.name), clip(pair.other.name), pair.slope
    if slope is None:
        return f"Whether the difference changes cannot be told: {one} and {other} do not rise together."
    log = found.scale == "log"
    # On the log scale a slope b makes 2^b of a doubling.
    shown = [2**value if log else 100 * value for value in (slope.estimate, slope.low, slope.high)]
    digits = 2 if log else 0
    estimate, low = (f"{value:.{digits}f}" for value in shown[:2])
    unit = " times" if log else f"{NBSP}{found.unit}"
    upper = "unlimited" if math.isinf(shown[2]) or shown[2] > 10 * shown[0] else f"{shown[2]:.{digits}f}"
    limits_text = f"{level_percent(slope.level)} interval: {low} to {upper}"
    rise = f"For each 100{NBSP}{found.unit} more of {other}, {one} reads {estimate}{unit} more ({limits_text})"
    if log:
        rise = f"Where {other} reads twice as much, {one} reads {estimate}{unit} as much ({limits_text})"
    return f"{rise}: {_constant(pair)}"


def _constant(pair: Pair) -> str:
    if not pair.changes_with_reading or pair.slope is None:
        return "that agrees with one and the same difference for keen and dull edges."
    way = "grows" if pair.slope.estimate > 1 else "shrinks"
    return (f"the difference {way} from keen edges to dull ones, so the mean difference and the limits hold only for "
            "edges like these, taken together.")  # fmt: skip


def _table(pair: Pair, found: Agreement) -> Table:
    """Show difference and limits with their intervals in the unit of a reader."""
    table = found.table
    shown: pd.DataFrame = table[table["at"] == pair.name].copy()
    for name in ("estimate", "low", "high"):
        shown[name] = [from_scale(value, found.scale) for value in shown[name]]
    unit, digits = unit_on(found.scale, found.unit), decimals_of(pair, found)
    if not pair.averaged:  # with one cut each both are the same
        shown = shown[~shown["term"].str.endswith("edge means")]
    higher = number("estimate", f"reads higher by, {unit}", digits)
    columns = (label("term", "what"), higher, limits(shown, digits, unit))
    share = f"{100 * pair.limits.share:.3g}{NBSP}of{NBSP}100 differences"
    return Table(shown, f"{clip(pair.name)}; limits hold {share}", columns)


def _method(found: Agreement) -> Iterator[str]:
    yield ("Each edge counts once, by the mean of its cuts, since every cut is at a fresh spot and has no twin. Limits "
           "of agreement after Bland & Altman (1986, 1999); for single cuts the spread that averaging takes away is "
           "put back (1999, section 5).")  # fmt: skip
    yield ("Intervals of the limits: noncentral t for edge means (Carkeet 2015), and for single cuts those of mean and "
           "standard deviation put together (Zou 2013).")  # fmt: skip
    yield ("The slope allows for error on both sides, in the ratio of their error variances (Deming 1943; interval by "
           "Creasy 1956). A plain regression of the difference on the mean would show a trend where one merely errs "
           f"more than the other; here its slope is {_trends(found)}.")  # fmt: skip


def _trends(found: Agreement) -> str:
    told = (f"{pair.trend:+.2f} ({pair.trend_low:+.2f} to {pair.trend_high:+.2f}) for {clip(pair.name)}"
            for pair in found.pairs)  # fmt: skip
    return "; ".join(told)
