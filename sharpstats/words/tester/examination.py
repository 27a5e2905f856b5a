"""Everything that a tester study told, question by question; and the answers alone, in a few sentences."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from sharpstats.tester.examine import Examination
from sharpstats.words.blocks import Block, Heading, Line, Points
from sharpstats.words.numbers import level_percent
from sharpstats.words.passage import Passage
from sharpstats.words.tester.brief import brief
from sharpstats.words.told import blocks

QUESTIONS: dict[str, str] = {
    "spreads": "How far do two cuts differ by chance?",
    "smallest": "How small a difference can it show?",
    "needed": "How many cuts does the wanted difference take?",
    "wear": "Does testing wear the edge?",
    "drift": "Does it drift?",
    "calibration": "What does it read under known loads?",
    "mass_drift": "Does it read the same under known loads from first to last?",
    "rounding": "How finely does it read?",
    "agreements": "Do two of them agree?",
    "budget": "What goes into its uncertainty?",
    "round_robin": "Do other shops read the same?",
}
"""The parts of an examination, in the order in which they are told, each with what it answers."""
NOTHING = "These readings tell nothing yet; below it is said why."

SLIPS = ("unit-unlikely", "reading-far-off", "over-range-far-off")
"""Codes of cautions about readings that are probably not what was meant."""


def examination_blocks(examination: Examination) -> Iterator[Block]:
    """Tell what the tester is worth, then every part under its question; of a missing one, why it is missing."""
    yield from blocks(worth(examination))
    for name, told in told_parts(examination):
        yield Heading(QUESTIONS[name])
        yield from told


def told_parts(examination: Examination) -> Iterator[tuple[str, list[Block]]]:
    """Yield each part of which there is something to tell, in order; no point, such as a caveat, is made twice."""
    said: set[str] = set()
    for name in QUESTIONS:
        told = list(part_blocks(examination, name))
        if told:
            yield name, list(_once(told, said))


def _once(told: Iterable[Block], said: set[str]) -> Iterator[Block]:
    """Leave out points, such as caveats, that an earlier part made; and their heading where none is left."""
    heading: list[Block] = []
    for block in told:
        if isinstance(block, Heading):
            yield from heading
            heading = [block]
            continue
        if isinstance(block, Points):
            block = Points(tuple(item for item in block.items if item not in said))
            said.update(block.items)
            if not block.items:
                heading = []
                continue
        yield from heading
        heading = []
        yield block
    yield from heading


def part_blocks(examination: Examination, name: str) -> Iterator[Block]:
    """Tell one part; nothing where nothing was asked."""
    for result in results(examination, name):
        yield from blocks(result)
    if why := examination.why_not(name):
        yield Line(why)


def results(examination: Examination, name: str) -> tuple[Any, ...]:
    """Return the results that make up a part: none, one or several."""
    part = getattr(examination, name)
    return () if part is None else part if isinstance(part, tuple) else (part,)


def worth(examination: Examination) -> Passage:
    """Tell what the tester is worth: a short sentence of each part.

    Parameters
    ----------
    examination : Examination

    Returns
    -------
    Passage
    """
    told = (brief(result) for name in QUESTIONS for result in _leading(examination, name))
    points = tuple(filter(None, told))
    first = f"In brackets: {level_percent(examination.study.plan.level)} intervals." if points else NOTHING
    return Passage("What this tester is worth", (*_slips(examination), first), points)


def _slips(examination: Examination) -> Iterator[str]:
    """Point out readings or loads that are probably slips, since they would spoil every number below."""
    yield from (f"Look at this first: {note.text}" for note in examination.study.cautions if note.code in SLIPS)


def _leading(examination: Examination, name: str) -> tuple[Any, ...]:
    """Return the results of a part that sum it up: of the ways of cutting two edges, the first, which needs least."""
    found = results(examination, name)
    return found[:1] if name == "needed" else found
