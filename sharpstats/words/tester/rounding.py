"""Rounding in words: the step, whether it is fine enough, and which last digits are preferred by whom."""

from __future__ import annotations

import math
from collections.abc import Iterator

from sharpstats.tester.digits import Digits
from sharpstats.tester.grid import Grid
from sharpstats.tester.rounding import COARSE, TOO_COARSE, Habit, Rounding, verdict_on
from sharpstats.units import ForceUnit
from sharpstats.words.blocks import Block, Folded, Line, Points, Table
from sharpstats.words.labels import listing
from sharpstats.words.numbers import NBSP, amount, amounts, count, decimals_for, level_percent, p_number, p_value
from sharpstats.words.onfit import notes_blocks
from sharpstats.words.tables import Form, label, whole

_ORDINALS = ("", "first", "second", "third", "fourth", "fifth", "sixth")
_ALWAYS = 0.995
"""Share from which a percentage would round to 100."""


def rounding_blocks(found: Rounding) -> Iterator[Block]:
    """Tell the rounding of a study's readings."""
    yield Line(f"{step_sentence(found)} {coarseness_sentence(found)}".rstrip())
    if sentence := sureness_sentence(found):
        yield Line(sentence)
    if found.digits is not None and found.grid is not None:
        yield Line(digits_sentence(found.digits, found.grid, found))
    if len(found.operators) > 1:
        yield _operators_table(found)
    yield from notes_blocks(found.notes)
    yield Folded("How this is judged", (Points(tuple(_method(found))),))


def step_sentence(found: Rounding) -> str:
    """Say on what step the readings lie."""
    grid, all_of_them = found.grid, f"all {found.readings:,} readings"
    if grid is None:
        return f"The {found.readings:,} readings lie on no step: they have more decimals than anybody reads."
    step = step_text(grid, found.unit)
    if grid.sure:
        return f"Readings are rounded to {step}."
    coarsest = _force(grid.coarsest, found.unit)
    return (
        f"The step cannot be told: {all_of_them} are multiples of {coarsest}, but chance would do that "
        f"{rarely(grid.coarsest_chance)}. Readings that differ more, or more of them, would tell."
    )


def sureness_sentence(found: Rounding) -> str:
    """Say how sure the step is; empty where there is none, or none that is sure."""
    grid = found.grid
    if grid is None or not grid.sure:
        return ""
    came = "" if grid.unit == found.unit else f" They were read in {grid.unit} and converted."
    told = f"All {found.readings:,} readings lie on that step, which chance would do {rarely(grid.chance)}."
    return f"{told}{came}{_perhaps_coarser(grid, found)}"


def _perhaps_coarser(grid: Grid, found: Rounding) -> str:
    if grid.coarsest <= grid.step * 1.001:
        return ""
    return (f" All are multiples of {_force(grid.coarsest, found.unit)} too, but chance would do that "
            f"{rarely(grid.coarsest_chance)}: not enough to call it the step.")  # fmt: skip


def coarseness_sentence(found: Rounding) -> str:
    """Say whether the step is fine enough for the spread of cuts; empty where that cannot be said."""
    if found.grid is None or not found.grid.sure or found.ratio is None or found.share is None:
        return ""
    if math.isinf(found.ratio):
        return ("That is too coarse: cuts on one edge never differ, so their true spread is hidden inside one step. "
                "Use a finer display, or read between the marks.")  # fmt: skip
    sd, ratio = _sd(found.repeatability_sd, found), f"{found.ratio:.2g}"
    spread = f"cuts on one edge differ by a standard deviation of {sd}"
    makes = f"rounding makes up {_percent(found.share)} of their variance"
    if found.verdict == "fine enough":
        return f"That is fine enough: {spread}, and a step is {ratio} times that; {makes}."
    if found.verdict == "coarse":
        return (f"That is coarse: {spread}, and a step is {ratio} times that; {makes}. Without it the standard "
                f"deviation would be {_sd(found.sd_without, found)}.")  # fmt: skip
    return (f"That is too coarse for the tester's own repeatability: {spread}, and a step is {ratio} times that. The "
            "spread that is read then depends on where an edge happens to lie between two steps, and cannot be put "
            "right. Use a finer display, or read between the marks.")  # fmt: skip


def digits_sentence(digits: Digits, grid: Grid, found: Rounding) -> str:
    """Say which last digits occur too often, against what to expect."""
    tested, unit = p_value(digits.p), found.unit
    if digits.favoured is not None:
        seen, expected = digits.share(digits.favoured)
        which = [digit for digit in digits.digits if digit % digits.favoured == 0]
        lean = f"About {_percent(digits.leaning)} of the readings ({_lean_interval(digits)}) look"
        lean = lean if digits.leaning < _ALWAYS else f"All look ({_lean_interval(digits)})"
        step = _force(digits.favoured * grid.place, grid.unit)
        return (f"Readings{_in(grid, unit)} {ending(which, grid)} in {_percent(seen)} of cuts; {_percent(expected)} "
                f"would be expected ({tested}). {lean} rounded to {step} by whoever read them."
                f"{_habit_too_coarse(digits.favoured, found)}")  # fmt: skip
    if digits.overused:
        some = [digits.digits.index(digit) for digit in digits.overused]
        seen, expected = (float(part[some].sum()) / digits.cuts for part in (digits.counts, digits.expected))
        return (f"Readings{_in(grid, unit)} {ending(sorted(digits.overused), grid)} in {_percent(seen)} of cuts; "
                f"{_percent(expected)} would be expected ({tested}).")  # fmt: skip
    if digits.p < 0.05:
        return f"Last digits do not occur as they should ({tested}), but no single one stands out."
    return f"Last digits show no habit of whoever read: each occurs about as often as it should ({tested})."


def _lean_interval(digits: Digits) -> str:
    limits = amounts(100 * digits.leaning_low, 100 * digits.leaning_high, "%", 0)
    return f"{level_percent(digits.level)} interval: {limits}"


def _habit_too_coarse(favoured: int, found: Rounding) -> str:
    assert found.grid is not None
    verdict = verdict_on(found.ratio_of(found.grid.step * favoured / found.grid.count))
    return f" Against the spread of cuts that is {verdict}." if "coarse" in verdict else ""


def ending(digits: list[int], grid: Grid) -> str:
    """Say what readings end in.

    Examples
    --------
    >>> from sharpstats.tester.grid import find_grid
    >>> ending([0, 5], find_grid([151, 152, 167, 134], "gf"))
    'end in 0 or 5'
    >>> ending([0, 5], find_grid([1.51, 1.52, 1.67, 1.34], "N"))
    'have 0 or 5 as their second decimal'
    """
    place = round(math.log10(grid.place))
    if place >= 0:
        ends = [f"{digit}{'0' * place}" for digit in digits]
        return f"end in {listing(ends, 'or')}"
    return f"have {listing([str(digit) for digit in digits], 'or')} as their {_ORDINALS[-place]} decimal"


def rarely(p: float) -> str:
    """Say how often chance does something.

    Examples
    --------
    >>> rarely(0.0203), rarely(3e-5), rarely(1e-12), rarely(0.3)
    ('once in 49 studies', 'once in 33,000 studies', 'less than once in a million studies', 'once in 3.3 studies')
    """
    if p < 1e-6:
        return "less than once in a million studies"
    often = float(f"{1 / p:.2g}")
    return f"once in {often:,.1f} studies" if often < 10 and often % 1 else f"once in {often:,.0f} studies"


def step_text(grid: Grid, unit: ForceUnit) -> str:
    r"""Return a step in its own unit, and in the study's where that is another.

    Examples
    --------
    >>> from sharpstats.tester.grid import find_grid
    >>> step_text(find_grid([1.422, 1.471, 1.618, 1.373, 1.520, 1.765], "N"), "N")
    '5\xa0gf (0.04903\xa0N)'
    """
    own = _force(grid.round_step, grid.unit)
    return own if grid.unit == unit else f"{own} ({_force(grid.step, unit)})"


def _force(value: float, unit: ForceUnit) -> str:
    return f"{value:.4g}{NBSP}{unit}"


def _sd(value: float | None, found: Rounding) -> str:
    at = f" at a reading of {amount(found.typical, found.unit)}" if found.scale == "log" else ""
    return f"{amount(value, found.unit, decimals_for(value, found.unit))}{at}"


def _percent(share: float) -> str:
    return amount(100 * share, "%")


def _in(grid: Grid, unit: ForceUnit) -> str:
    return "" if grid.unit == unit else f" in {grid.unit}"


def _operators_table(found: Rounding) -> Table:
    habits = {one.name: one for one in found.operators}
    columns = (
        label("term", "operator"), whole("cuts"),
        Form("all readings on a step of", lambda row: _own_step(habits[row["term"]], found)),
        Form("habit", lambda row: _habit(habits[row["term"]], found)),
        Form("p", lambda row: p_number(row["p"]) if habits[row["term"]].digits else "", number=True),
    )  # fmt: skip
    return Table(found.by_operator, "Last digits by operator (p values adjusted for their number, after Holm)", columns)


def _own_step(one: Habit, found: Rounding) -> str:
    return step_text(one.grid, found.unit) if one.grid and one.grid.sure else "cannot be told"


def _habit(one: Habit, found: Rounding) -> str:
    if one.digits is None or found.grid is None:
        return "cannot be told"
    if one.p >= 0.05:
        return "none seen"
    if one.digits.favoured is not None:
        step = _force(one.digits.favoured * found.grid.place, found.grid.unit)
        return f"rounds {_percent(one.digits.leaning) if one.digits.leaning < _ALWAYS else 'all'} to {step}"
    if one.digits.overused:
        return f"readings {ending(sorted(one.digits.overused), found.grid)}"
    return "uneven, no digit alone"


def _method(found: Rounding) -> Iterator[str]:
    yield ("Rounding to a step adds the variance step x step / 12 to that of the cuts (JCGM 100:2008, F.2.2.1; "
           "Sheppard 1898).")  # fmt: skip
    yield (f"A step of up to {COARSE:g} standard deviation makes that deviation come out 5{NBSP}% too high at most, "
           f"and that can be put right. At {TOO_COARSE:g} it comes out 15 to 30{NBSP}% too high, and what is left "
           f"after the correction is up to 10{NBSP}% off; beyond, the place of the edge between two steps decides "
           "(integrals of a normal density over each step).")  # fmt: skip
    if found.digits is not None:
        yield _digit_method(found.digits)


def _digit_method(digits: Digits) -> str:
    how = {
        "chi-square": "Chi-square test of the last digits against equal shares.",
        "simulated": f"Chi-square test of the last digits against equal shares, its p value from {digits.draws:,} "
        "simulated studies.",
        "simulated from edges": "Cuts on one edge differ too little for equal shares of the last digits: the shares to "
        f"expect come from each edge's mean and spread, and the p value from {digits.draws:,} simulated studies.",
    }
    return f"{how[digits.method]} {count(digits.cuts, 'cut')}."
