"""The smallest difference that cuts can show, in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from sharpstats.tester.smallest import COUNTED_TO, CutsNeeded, Smallest, Way
from sharpstats.words.blocks import Block, Line, Table
from sharpstats.words.numbers import amount, count, decimals_for, fixed, from_scale, level_percent, unit_on
from sharpstats.words.onfit import notes_blocks
from sharpstats.words.tables import Form, Row, label, limits, number, whole

WAYS: dict[Way, str] = {
    "one operator": "one operator cuts both edges",
    "two operators": "each edge has its own operator",
    "all different": "all differs that the study changed",
}
TOLD = (1, 2, 4, 10)
"""Numbers of cuts in the table of a page; all stand in `.table`."""
SAID = (1, 4, 10)
"""Numbers of cuts in the sentence."""
USELESS = 10.0
"""An upper end of an interval that is so many times the number itself is told as "or more" in the table."""


def smallest_blocks(found: Smallest) -> Iterator[Block]:
    """Tell the smallest difference by number of cuts."""
    for way in found.ways:
        yield Line(smallest_sentence(found, way))
    yield _table(found)
    yield Line(
        "Smallest: two equal edges differ by more only 5 times in 100. It allows for spreads that few cuts show "
        "(Student's t); the number by ISO 5725-6, with 1.96, does not, and the interval is that number's. Found: a "
        "true difference of that size comes out above the smallest 9 times in 10."
    )
    yield from notes_blocks(found.notes)


def smallest_sentence(found: Smallest, way: Way) -> str:
    """Say what one, four and ten cuts on each edge show."""
    told = [f"{value} with {count(cuts, 'cut')}" for value, cuts in values_told(found, way)]
    return f"Where {who(found, way)}, the smallest difference between two edges is {', '.join(told)} on each."


def values_told(found: Smallest, way: Way) -> list[tuple[str, int]]:
    """Return the smallest difference for each number of cuts that is said, with that number."""
    unit = unit_on(found.scale, found.unit)
    shown = [i for i, cuts in enumerate(found.cuts) if cuts in SAID] or [0]
    values = [from_scale(float(found.smallest[found.ways.index(way), i]), found.scale) for i in shown]
    digits = decimals_for(min(value or 0 for value in values), unit)
    return [(amount(value, unit, digits), int(found.cuts[i])) for i, value in zip(shown, values, strict=True)]


def who(found: Smallest, way: Way) -> str:
    """Say who cuts the two edges, and what else differs."""
    changing = ", ".join(found.changing).replace(" = ", ", ")
    return f"{WAYS[way]} ({changing})" if way == "all different" else WAYS[way]


def _table(found: Smallest) -> Table:
    frame, unit = found.table, unit_on(found.scale, found.unit)
    frame = frame[frame["cuts"].isin(TOLD)] if set(found.cuts) & set(TOLD) else frame
    frame = frame.copy()
    for name in ("smallest", "by_standard", "low", "high", "found"):
        frame[name] = [from_scale(value, found.scale) for value in frame[name]]
    digits = decimals_for(float(frame["smallest"].min()), unit)
    columns = (whole("cuts", "cuts on each"), number("smallest", f"smallest, {unit}", digits),
               number("by_standard", "by ISO 5725-6", digits), _ends(limits(frame, digits, unit), digits),
               number("found", "found 9 in 10", digits))  # fmt: skip
    way = Form("who cuts", lambda row: row["at"], about=label("at").about)
    shown = (way, *columns) if len(found.ways) > 1 else columns
    return Table(frame, "Smallest difference between two edges, by cuts on each", shown)


def _ends(form: Form, digits: int) -> Form:
    """Leave out an upper end that is too far off to be of any use."""
    def text(row: Row) -> str:
        useless = row["high"] > USELESS * row["smallest"]
        return f"{fixed(row['low'], digits)} or more" if useless else form.text(row)

    return replace(form, text=text)


def cuts_blocks(found: CutsNeeded) -> Iterator[Block]:
    """Tell how many cuts a wanted difference needs."""
    yield Line(cuts_sentence(found))


def cuts_sentence(found: CutsNeeded) -> str:
    """Say how many cuts on each edge show the wanted difference, or that none do."""
    unit = unit_on(found.scale, found.unit)
    wanted, floor = (from_scale(value, found.scale) for value in (found.wanted, found.floor))
    goal = f"To show a difference of {amount(wanted, unit)} where {WAYS[found.way]}"
    if found.cuts is None and found.floor >= found.wanted:
        mend = "Let one operator cut both edges, or make" if found.way != "one operator" else "Make"
        return (
            f"{goal}: cannot, however many cuts. What cuts do not average out comes to {amount(floor, unit)} by "
            f"itself. {mend} more edges rather than more cuts."
        )
    if found.cuts is None:
        return f"{goal}: not with {COUNTED_TO:,} cuts on each edge."
    return f"{goal}: {count(found.cuts, 'cut')} on each edge ({_range(found)}). {_sure(found)}"


def _sure(found: CutsNeeded) -> str:
    """Say how often a true difference of the wanted size is seen with so many cuts."""
    if found.surely == found.cuts:
        return "A true difference of that size is then seen 9 times in 10 or more."
    takes = "no number of cuts is enough" if found.surely is None else f"it takes {count(found.surely, 'cut')}"
    return f"A true difference of that size is then seen about every other time; to see it 9 times in 10 {takes}."


def _range(found: CutsNeeded) -> str:
    level = f"{level_percent(found.level)} interval"
    if found.high is None:
        return f"{level}: {found.low} or more; at its upper end no number of cuts is enough"
    return f"{level}: {found.low} to {found.high}"
