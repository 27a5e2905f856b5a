"""Everything that a tester study told, question by question; and the answers alone, in a few sentences."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sharpstats.tester.examine import Examination
from sharpstats.words.blocks import Block, Heading, Line
from sharpstats.words.passage import Passage
from sharpstats.words.told import blocks

QUESTIONS: dict[str, str] = {
    "spreads": "How far do two cuts differ by chance?",
    "smallest": "How small a difference can it show?",
    "needed": "How many cuts does the wanted difference take?",
    "wear": "Does testing wear the edge?",
    "drift": "Does it drift?",
    "rounding": "How finely does it read?",
    "agreements": "Do two of them agree?",
    "round_robin": "Do other shops read the same?",
}
"""The parts of an examination, in the order in which they are told, each with what it answers."""


def examination_blocks(examination: Examination) -> Iterator[Block]:
    """Tell every part of an examination under its question; of a missing one, why it is missing."""
    for name, question in QUESTIONS.items():
        told = list(part_blocks(examination, name))
        if told:
            yield Heading(question)
            yield from told


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
    """Tell what the tester is worth: the first sentence of each part.

    Parameters
    ----------
    examination : Examination

    Returns
    -------
    Passage
    """
    told = (first for name in QUESTIONS for result in results(examination, name) if (first := _first(result)))
    return Passage("What this tester is worth", points=tuple(told))


def _first(result: Any) -> str:
    """Return the sentence with which a result begins."""
    return next((block.text for block in blocks(result) if isinstance(block, Line)), "")
