"""The answer to one question of an examination, also where there is none."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from sharpstats.late import Shown
from sharpstats.tester.examine import Examination
from sharpstats.words.blocks import Block, Line
from sharpstats.words.tester.examination import told_parts
from sharpstats.words.told import blocks

NOT_ASKED = {
    "smallest": "Without the spread of cuts on an edge that cannot be told.",
    "needed": 'The plan does not say which difference is wanted: write for example wanted = "10 %" in tester.toml.',
    "calibration": "No known masses were hung on the tester: put what it shows under them in masses.csv.",
    "mass_drift": "Nothing says in which order the masses were hung, so a drift cannot be seen: give the column run of "
    "masses.csv a number for each reading.",
    "agreements": "One operator with one tester: nobody else read the same edges.",
    "round_robin": "No other shop cut like edges: put such cuts in shops.csv.",
}
"""What is said of a part that is missing for want of something to ask it of."""
WITHOUT_CUTS = ("calibration", "mass_drift", "round_robin")
"""Parts that need no cuts on edges."""


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


def answer(examination: Examination, name: str) -> Answer | None:
    """Return one part of an examination, to be shown; where it is missing, why.

    Parameters
    ----------
    examination : Examination
    name : str
        Name of the part, as `spreads`.

    Returns
    -------
    Answer or None
        None where there is nothing to say: in a study without cuts on edges every part that is about them.
    """
    return None if _is_idle(examination, name) else Answer(examination=examination, name=name)


def _is_idle(examination: Examination, name: str) -> bool:
    """Tell whether a part is missing for a reason that another part has told."""
    study = examination.study
    if name == "mass_drift" and examination.calibration is None:
        return True
    if name == "needed" and examination.spreads is None and study.plan.wanted is not None:
        return True
    return study.readings is None and name not in WITHOUT_CUTS


@blocks.register
def _(one: Answer) -> Iterator[Block]:
    """Tell the part, without the points that an earlier one made; of a missing one, why it is missing."""
    yield from _told(one.examination).get(one.name) or [Line(NOT_ASKED[one.name])]


@lru_cache(maxsize=1)
def _told(examination: Examination) -> dict[str, list[Block]]:
    return dict(told_parts(examination))
