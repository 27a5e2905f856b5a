"""All pictures of an examination, part by part."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from sharpstats.figures.picture import Picture
from sharpstats.figures.tester.agreement import agreement_picture
from sharpstats.figures.tester.budget import budget_picture
from sharpstats.figures.tester.cells import cells_picture
from sharpstats.figures.tester.consistency import consistency_picture
from sharpstats.figures.tester.drift import drift_picture
from sharpstats.figures.tester.masses import masses_picture
from sharpstats.figures.tester.rounding import rounding_picture
from sharpstats.figures.tester.roundrobin import round_robin_picture
from sharpstats.figures.tester.smallest import smallest_picture
from sharpstats.figures.tester.spreads import spreads_picture
from sharpstats.figures.tester.wear import wear_picture
from sharpstats.tester.drift import Stability
from sharpstats.tester.examine import Examination
from sharpstats.words.tester.examination import results

Draw = Callable[[Any], Picture | None]


def _mass_drift(found: Stability) -> Picture:
    return replace(drift_picture(found), name="tester-mass-drift")


PICTURES: Mapping[str, tuple[Draw, ...]] = {
    "spreads": (spreads_picture, cells_picture),
    "wear": (wear_picture,),
    "drift": (drift_picture,),
    "calibration": (masses_picture,),
    "mass_drift": (_mass_drift,),
    "rounding": (rounding_picture,),
    "agreements": (agreement_picture,),
    "budget": (budget_picture,),
    "round_robin": (round_robin_picture, consistency_picture),
}
"""What is drawn of each part; `smallest` is drawn with the difference that the plan wants."""


def pictures(examination: Examination, name: str) -> list[Picture]:
    """Draw one part of an examination.

    Parameters
    ----------
    examination : Examination
    name : str
        Name of the part, as `spreads`.

    Returns
    -------
    list of Picture
        Each with a name of its own; none where there is nothing to draw.
    """
    return list(_each_named(_smallest(examination) if name == "smallest" else _drawn(examination, name)))


def _drawn(examination: Examination, name: str) -> Iterator[Picture]:
    for result in results(examination, name):
        yield from filter(None, (draw(result) for draw in PICTURES.get(name, ())))


def _smallest(examination: Examination) -> Iterator[Picture]:
    wanted = next((one.wanted for one in examination.needed), None)
    if examination.smallest is not None:
        yield smallest_picture(examination.smallest, wanted)


def _each_named(drawn: Iterator[Picture]) -> Iterator[Picture]:
    """Number pictures that have the same name, so that none takes the file of another."""
    seen: dict[str, int] = {}
    for picture in drawn:
        number = seen[picture.name] = seen.get(picture.name, 0) + 1
        yield picture if number == 1 else replace(picture, name=f"{picture.name}-{number}")
