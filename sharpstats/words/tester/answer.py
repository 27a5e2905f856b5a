"""The answer to one question of an examination, also where there is none."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sharpstats.late import Shown
from sharpstats.tester.examine import Examination
from sharpstats.words.blocks import Block, Line
from sharpstats.words.tester.examination import told_parts
from sharpstats.words.told import blocks

CUTS = "Nobody cut edges in this study: put cuts on edges in readings.csv."
NOT_ASKED = {
    "needed": 'The plan does not say which difference is wanted: write for example wanted = "10 %" in tester.toml.',
    "agreements": "One operator with one tester: nobody else read the same edges.",
    "mass_drift": "Nothing says in which order the masses were hung, so a drift cannot be seen: give the column run of "
    "masses.csv a number for each reading.",
    "calibration": "No known masses were hung on the tester: put what it shows under them in masses.csv.",
    "round_robin": "No other shop cut like edges: put such cuts in shops.csv.",
}
"""What is said of a part that the study was not asked for."""


@dataclass(frozen=True, kw_only=True)
class Answer(Shown):
    """One part of an examination, to be shown.

    Attributes
    ----------
    examination : Examination
    name : str
        Name of the part.
    """

    examination: Examination
    name: str


def answer(examination: Examination, name: str) -> Answer:
    """Return one part of an examination, to be shown; where it is missing, why.

    Parameters
    ----------
    examination : Examination
    name : str
        Name of the part, as `spreads`.
    """
    return Answer(examination=examination, name=name)


@blocks.register
def _(one: Answer) -> Iterator[Block]:
    """Tell the part, without the points that an earlier one made; of a missing one, why it is missing."""
    told = dict(told_parts(one.examination)).get(one.name)
    yield from told or map(Line, filter(None, [_why_not_asked(one)]))


def _why_not_asked(one: Answer) -> str:
    examination = one.examination
    if one.name == "mass_drift" and examination.calibration is None:
        return ""  # that there is nothing about masses is said already
    about_cuts = one.name not in ("calibration", "mass_drift", "round_robin")
    return CUTS if about_cuts and examination.study.readings is None else NOT_ASKED.get(one.name, CUTS)
