"""What a tester shows under known loads, in words: first how far it is off where it is farthest off."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from sharpstats.tester.amounts import Amount, Amounts
from sharpstats.tester.line import Force
from sharpstats.tester.masses import HYSTERESIS, Calibration
from sharpstats.units import Unit
from sharpstats.words.blocks import Block, Folded, Line, Points, Table
from sharpstats.words.numbers import (
    SAME,
    amount,
    count,
    decimals_for,
    difference,
    fixed,
    interval,
    level_percent,
    p_value,
    signed,
    signed_span,
)
from sharpstats.words.onfit import notes_blocks
from sharpstats.words.tables import Form, limits, number, whole

MORE = ("less", "more")
ABOVE = ("lower", "higher")
SAFELY = (
    "Hang masses low and so that they cannot fall: over a padded tray, hands and feet from under them, and no more "
    "than the tester is made for.",
    "The masses must be known better than the tester reads: a kitchen scale will do for a first look only (common "
    "practice, no source).",
)


def calibration_blocks(found: Calibration) -> Iterator[Block]:
    """Tell what the tester shows under known loads."""
    yield Line(bias_sentence(found))
    yield Line(line_sentence(found))
    for sentence in (_straight(found), _both_ways(found), _without_a_load(found)):
        if sentence:
            yield Line(sentence)
    yield Line(_corrected(found))
    yield _by_load(found)
    yield from notes_blocks(found.notes)
    if found.hysteresis is not None:
        yield Folded("Down against up, load by load", (_hysteresis_table(found.hysteresis, found),))
    yield Folded("When you hang masses on a tester", (Points(SAFELY),))


def digits_of(found: Calibration) -> int:
    """Decimals to show beside the intervals of the biases."""
    widths = (found.bias["high"] - found.bias["low"]).to_numpy(float)
    known = widths[np.isfinite(widths)]
    return decimals_for(float(np.median(known)) if len(known) else None, found.unit)


def bias_sentence(found: Calibration) -> str:
    """Say how far off the tester is at the load where it is farthest off."""
    row, digits, unit = found.bias.iloc[found.largest], digits_of(found), found.unit
    applied, mean = amount(row["applied"], unit), amount(row["mean"], unit, digits)
    off = f"{amount(abs(row['bias']), unit, digits)} too {'much' if row['bias'] > 0 else 'little'}"
    if np.isfinite(row["percent"]):
        off += f" ({signed(row['percent'], '%', decimals_for(2.0, '%'))})"
    far = found.farthest
    if not np.isfinite(far.low):
        return f"Farthest off, under {applied}, the tester shows {mean}: {off}. No interval can be given."
    sure = (
        f"{level_percent(found.level)} interval: {signed_span(far.low, far.high, unit, digits)}, wide enough for a "
        f"load picked out of {len(found.bias)}"
    )
    chance = "Chance alone could do as much" if far.low <= 0 <= far.high else "That is more than chance would do"
    return f"Farthest off, under {applied}, the tester shows {mean}: {off}. {chance} ({sure})."


def line_sentence(found: Calibration) -> str:
    """Say how the reading grows with the load, and whether it does so as it should."""
    slope, unit = found.slope, found.unit
    digits = _ratio_digits(slope)
    percent = 100 * (slope.estimate - 1)
    more = f"{fixed(abs(percent), max(digits - 2, 0))} % too {'much' if percent > 0 else 'little'}"
    return (
        f"For each {unit} of load the reading grows by {fixed(slope.estimate, digits)} {unit}, {more} "
        f"({level_percent(found.level)} interval: {fixed(slope.low, digits)} to {fixed(slope.high, digits)}), "
        f"beginning at {_with_limits(found.intercept, unit)}. {_as_it_should(found)}"
    )


def _as_it_should(found: Calibration) -> str:
    p = found.as_it_should.p
    if np.isnan(p):
        return "Too few series tell whether that is what it should show."
    if p > 1 - found.level:
        return f"That agrees with a tester that shows what it should ({p_value(p)})."
    return f"A tester that shows what it should would hardly do that ({p_value(p)})."


def _ratio_digits(slope: Amount) -> int:
    width = slope.high - slope.low
    return int(min(max(np.ceil(-np.log10(width)) + 1, 2), 6)) if np.isfinite(width) and width > 0 else 4


def _with_limits(one: Amount, unit: Unit) -> str:
    digits = decimals_for(one.high - one.low if np.isfinite(one.high - one.low) else None, unit)
    value = signed(one.estimate, unit, digits)
    if not np.isfinite(one.low):
        return f"{value} (no interval can be given)"
    return f"{value} ({level_percent(one.level)} interval: {signed_span(one.low, one.high, unit, digits)})"


def _more_or_less(one: Amount, unit: Unit, ways: tuple[str, str] = MORE) -> str:
    known = np.isfinite(one.high - one.low)
    digits = decimals_for(one.high - one.low if known else None, unit)
    told = difference(one.estimate, unit, digits, ways)
    if not known:
        return f"{told} (no interval can be given)"
    return f"{told} ({interval(one.low, one.high, unit, one.level, digits, ways)})"


def _than(told: str) -> str:
    """Return the word that goes on after `_more_or_less`."""
    return "as" if told.startswith(SAME) else "than"


def _straight(found: Calibration) -> str:
    if found.straight is None:
        return ""
    away = amount(float(np.abs(found.from_the_line).max()), found.unit, digits_of(found))
    bent = found.straight.p <= 1 - found.level
    told = f"The means of the loads lie up to {away} off a straight line"
    told += ", more than chance would do" if bent else "; chance alone could do as much"
    told += f" ({p_value(found.straight.p)})."
    if bent and found.curve is not None:
        told += f" Bent like a bow, its ends lie {_more_or_less(found.curve, found.unit, ABOVE)} than its middle."
    return told


def _both_ways(found: Calibration) -> str:
    if found.hysteresis is None:
        return ""
    one, largest = found.hysteresis[HYSTERESIS], float(found.readings["applied"].max())
    share = fixed(100 * abs(one.estimate) / largest, 1)
    how = _more_or_less(one, found.unit)
    return (
        f"On the way down the tester shows {how} {_than(how)} on the way up (hysteresis, {share} % of the largest "
        f"load).{_beyond_chance(one)}"
    )


def _without_a_load(found: Calibration) -> str:
    if found.zero is None:
        return ""
    how = _more_or_less(found.zero, found.unit)
    told = f"Without a load it shows {how} after a series {_than(how)} before it (shift of zero)."
    return f"{told}{_beyond_chance(found.zero)}"


def _beyond_chance(one: Amount) -> str:
    if not np.isfinite(one.low):
        return ""
    return " Chance alone could do as much." if one.low <= 0 <= one.high else " That is more than chance would do."


def _corrected(found: Calibration) -> str:
    """Correct one reading in the middle of the loads, as an example."""
    middle = float(np.median(found.readings.loc[found.readings["applied"] > 0, "applied"]))
    reading = float(f"{float(found.line.at(middle)):.2g}")
    return force_sentence(found.line.force_behind(reading))


def force_blocks(force: Force) -> Iterator[Block]:
    """Tell a corrected reading."""
    yield Line(force_sentence(force))


def force_sentence(force: Force) -> str:
    """Say what force is behind a reading.

    Parameters
    ----------
    force : Force

    Returns
    -------
    str
    """
    unit: Unit = force.unit
    shown = f"A reading of {amount(force.reading, unit)}"
    if force.shape == "everything":
        return f"{shown} could stand for any force: the reading is not shown to grow with the load."
    digits = decimals_for(force.high - force.low, unit)
    low, high = amount(force.low, unit, digits), amount(force.high, unit, digits)
    if force.shape == "outside":
        return f"{shown} rules out only forces between {low} and {high}: the reading hardly grows with the load."
    what = "a single reading" if force.readings == 1 else f"the mean of {force.readings:,} readings"
    sure = f"{level_percent(force.level)} interval for {what}: {low} to {high}"
    return f"{shown} stands for a force of {amount(force.estimate, unit, digits)} ({sure})."


def _by_load(found: Calibration) -> Table:
    unit, digits = found.unit, digits_of(found)
    percent = Form("%", lambda row: fixed(row["percent"], 1) if np.isfinite(row["percent"]) else "", number=True)
    load_digits = max((len(f"{value:.10g}".partition(".")[2]) for value in found.bias["applied"]), default=0)
    columns = (
        number("applied", f"load, {unit}", min(load_digits, digits + 1)), whole("cuts", "readings"),
        number("mean", f"shows, {unit}", digits), number("bias", f"too much, {unit}", digits),
        limits(found.table, digits, unit), percent,
    )  # fmt: skip
    return Table(found.table, f"What {count(len(found.readings), 'reading')} show, load by load", columns)


def _hysteresis_table(hysteresis: Amounts, found: Calibration) -> Table:
    table = hysteresis.table
    loads = table[table["term"] != HYSTERESIS]
    shown = pd.DataFrame(loads).assign(applied=loads["term"].astype(float))
    digits = digits_of(found)
    columns = (
        Form(f"load, {found.unit}", lambda row: f"{row['applied']:.4g}", number=True),
        number("estimate", f"down minus up, {found.unit}", digits), limits(shown, digits, found.unit),
    )  # fmt: skip
    return Table(shown, "Readings on the way down minus those on the way up", columns)

