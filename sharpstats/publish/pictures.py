"""Pictures as files, beside being shown in the notebook."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from sharpstats.publish.publication import FIGURES

if TYPE_CHECKING:
    from sharpstats.claims.finding import Findings
    from sharpstats.figures.picture import Picture


def kept(picture: Picture | None, folder: str | Path = FIGURES, *, name: str = "") -> Picture | None:
    """Write a picture as PNG and SVG, and return it to be shown.

    Parameters
    ----------
    picture : Picture or None
        None where there was nothing to draw: then nothing is written.
    folder : str or Path, optional
        Made if it does not exist.
    name : str, optional
        Name of the files; the picture's own if left out.

    Returns
    -------
    Picture or None
    """
    if picture is None:
        return None
    place = Path(folder)
    place.mkdir(exist_ok=True)
    picture.png(place / f"{name or picture.name}.png")
    picture.svg(place / f"{name or picture.name}.svg")
    return picture


def keep_claims(findings: Findings, folder: str | Path = FIGURES) -> None:
    """Write one wide picture for each claim, for a slide or a video.

    Parameters
    ----------
    findings : Findings
    folder : str or Path, optional
        Made if it does not exist. Claims whose short names make the same file name get a number.
    """
    from sharpstats.figures.album import claim_pictures

    taken: set[str] = set()
    for picture in claim_pictures(findings):
        name = next(free for free in _names(picture.name) if free not in taken)
        taken.add(name)
        kept(picture, folder, name=name)


def _names(name: str) -> Iterator[str]:
    yield name
    yield from (f"{name}-{number}" for number in count(2))
