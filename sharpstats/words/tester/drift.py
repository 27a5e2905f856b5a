"""Whether the tester stayed the same: the finding, what it rests on, and how often a steady tester looks so."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from sharpstats.tester.alarms import Alarms, Signal
from sharpstats.tester.circumstances import Slope
from sharpstats.tester.drift import Stability
from sharpstats.words.blocks import Block, Folded, Line, Points, Table
from sharpstats.words.labels import listing
from sharpstats.words.numbers import NBSP, count, fixed, p_value, sd
from sharpstats.words.onfit import P, notes_blocks
from sharpstats.words.tables import Form
from sharpstats.words.tester.lots import lot_lines, steps
from sharpstats.words.tester.slopes import finer, slope_words

RULES = {
    "far": "one {what} beyond {} SD",
    "two-of-three": "two of three {what}s beyond {} SD on the same side",
    "four-of-five": "four of five {what}s beyond {} SD on the same side",
    "one-side": "{} {what}s in a row on the same side of the mean",
    "one-way": "{} {what}s in a row, each above (or each below) the one before",
    "average": "the running average beyond {} of its own SD",
}
"""What a rule looks for, with its limit."""
SHORT = {
    "far": "a single one far off", "two-of-three": "two of three far off, on one side",
    "four-of-five": "four of five off, on one side", "one-side": "in a row on one side",
    "one-way": "in a row rising or falling", "average": "running average far off",
}  # fmt: skip
IN_A_ROW = ("one-side", "one-way")


def stability_blocks(found: Stability) -> Iterator[Block]:
    """Tell whether the tester stayed the same from the first cut to the last."""
    yield Line(finding(found))
    yield Line(f"{_pattern(found.alarms, found.what)} {_wolf(found.alarms)}")
    if found.alarms.signals:
        yield Line("Look up what changed at these places before the numbers are used:")
        yield Points(tuple(signal_sentences(found)))
    if found.trend is not None:
        yield Line(" ".join(_trend(found)))
    if found.lots is not None:
        yield from map(Line, lot_lines(found.lots))
    yield Line(_spread(found))
    yield from notes_blocks(found.notes)
    yield Folded("Which patterns were looked for, and how often a steady tester makes them", (
        _rules(found), Line(_average(found)), Line(_chance(found.alarms))))  # fmt: skip


CHANGES = {
    "pattern": "a pattern in their order",
    "trend": "a slow change",
    "lots": "a step between lots of filament",
}
"""What could show a change, as it is called in a sentence."""


def finding(found: Stability) -> str:
    """Say in one sentence whether anything shows a change, and what."""
    cuts = count(len(found.series.deviations), found.what) + (" under known loads" if found.what == "reading" else "")
    reasons = list(_reasons(found))
    if reasons:
        return f"Something changed over these {cuts}: {listing(reasons)}."
    alone = [f"{CHANGES[name]} ({p_value(p)})" for name, p in found.looked_at.items() if p < 1 - found.level]
    if not alone:
        return f"Nothing shows that the tester changed over these {cuts}."
    return (
        f"Nothing shows for sure that the tester changed over these {cuts}: {listing(alone)} would be more than chance "
        f"if looked at alone, but {count(len(found.looked_at), 'thing')} were looked at."
    )


def _reasons(found: Stability) -> Iterator[str]:
    if "pattern" in found.changed:
        yield f"the order of the {found.what}s has a pattern that a steady tester seldom makes"
    if found.trend is not None and "trend" in found.changed:
        how, _ = _from_first_to_last(found.trend.slope, found)
        yield f"from the first to the last it comes to read {how}"
    if found.lots is not None and "lots" in found.changed:
        yield from steps(found.lots)


def _from_first_to_last(slope: Slope, found: Stability) -> tuple[str, str]:
    """Tell a slow change over the study as it was, with its interval."""
    turns = found.series.cuts["turn"]
    steps = float(turns.max() - turns.min()) / slope.per
    return slope_words(slope, found.scale, found.unit, times=steps)


def _pattern(alarms: Alarms, what: str) -> str:
    """Say how rare the rarest pattern is."""
    share = 100 * alarms.p_joint
    rare = (
        f"{'fewer than 1' if share < 1 else fixed(share)} of 100 series of {count(alarms.cuts, what)} from a steady "
        "tester hold a pattern as rare"
    )
    if alarms.steady:
        return f"Patterns in the order of the {what}s by themselves prove no change: {rare}."
    return f"Patterns in the order of the {what}s: {rare}."


def _wolf(alarms: Alarms) -> str:
    """Say how often such limits give a false alarm, and how often the usual ones would."""
    usual, joint = fixed(100 * alarms.usual_joint), fixed(100 * alarms.joint)
    return (
        f"The limits used give a false alarm in {joint} of 100 such series; the usual ones would in {usual}."
    )


def signal_sentences(found: Stability) -> Iterator[str]:
    """Name for each rule the cuts where it speaks longest, by their place in the order of the study."""
    turns = found.series.cuts["turn"].to_numpy()
    for rule in found.alarms.rules:
        signals = [signal for signal in found.alarms.signals if signal.rule == rule]
        if signals:
            longest = max(signals, key=lambda signal: signal.last - signal.first)
            more = f" (and {count(len(signals) - 1, 'more place')})" if len(signals) > 1 else ""
            yield f"{_places(longest, turns, found.what)}: {_seen(longest, found)}{more}."


def _places(signal: Signal, turns: np.ndarray, what: str) -> str:
    first, last = turns[signal.first], turns[signal.last]
    name = what.capitalize()
    return f"{name} {first:g}" if signal.first == signal.last else f"{name}s {first:g} to {last:g}"


def _seen(signal: Signal, found: Stability) -> str:
    limit = found.alarms.limits[found.alarms.rules.index(signal.rule)]
    told = RULES[signal.rule]
    if signal.rule in IN_A_ROW:
        return f"{told.format(signal.last - signal.first + 1, what=found.what)}; {limit:.0f} would be rare"
    return told.format(f"{limit:.1f}", what=found.what)


def _limit(value: float, rule: str) -> str:
    return f"{value:.0f}" if rule in IN_A_ROW else f"{value:.1f}"


def _trend(found: Stability) -> Iterator[str]:
    trend = found.trend
    if trend is None:
        return
    how, sure = _from_first_to_last(trend.slope, found)
    held = ", steps between lots taken out" if trend.lots_held else ""
    real = "more than chance would do" if trend.slope.p < 1 - found.level else "chance alone could do as much"
    yield f"Slow change: from the first {found.what} to the last the tester comes to read {how}{held} ({sure}): {real}."
    if trend.without_wear is not None:
        how, sure = _from_first_to_last(trend.without_wear, found)
        yield f"With the wear of the edges by their own cuts taken out as well: {how} ({sure})."
    if trend.like_wear:
        yield (
            "Cuts late in the study were also late on their edge, so wear of the edges would look the same. Only a "
            "check mass, which nothing wears, read again every ten cuts or so, tells the two apart."
        )


def _spread(found: Stability) -> str:
    """Say how far a single cut spreads, by neighbours and by all."""
    limits, digits = found.limits, finer(found.limits.sd_neighbours, found.scale, found.unit)
    near, all_ = (sd(value, found.scale, found.unit, digits) for value in (limits.sd_neighbours, limits.sd_all))
    out = found.series.taken_out
    like = f"its like (same {listing(out)})" if out else "their mean"
    return (
        f"Spread (standard deviation, SD) of a single {found.what} about {like}: {near} judged by neighbours in the "
        f"order, which a slow change hardly touches; {all_} judged by all. Farther off than 3{NBSP}SD judged by "
        f"neighbours: {len(limits.outside) or 'none'} of {count(len(found.series.deviations), found.what)}."
    )


def _rules(found: Stability) -> Table:
    """Show each rule with its usual limit, the limit used here, and what a steady tester does."""
    columns = (
        Form("pattern", lambda row: SHORT[row["term"]]),
        Form("usual limit", lambda row: _limit(row["usual"], row["term"]), number=True),
        Form("false alarms in 100", lambda row: fixed(100 * row["usual_rate"]), number=True),
        Form("limit here", lambda row: _limit(row["limit"], row["term"]), number=True),
        Form("most seen", lambda row: _limit(row["worst"], row["term"]), number=True),
        P,
    )
    return Table(found.alarms.table, f"Patterns in the order of {count(found.alarms.cuts, found.what)}", columns)


def _chance(alarms: Alarms) -> str:
    """Say where the false alarms are from."""
    known = fixed(100 * alarms.usual_joint_known)
    return (
        f"False alarms were counted in {alarms.draws:,} simulated steady series with the same layout, the mean and the "
        f"SD estimated from each as here (seed {alarms.seed}); were both known beforehand, the usual limits would cry "
        f"wolf in {known} of 100. Each pattern has the same share of the false alarms."
    )


def _average(found: Stability) -> str:
    return (
        f"The running average gives the newest {found.what} a weight of {found.average.weight:g} and all before it the "
        f"rest. With its limits here, and the mean and SD known, a steady tester would cross them once in "
        f"{found.average.run_length:,.0f} {found.what}s."
    )
