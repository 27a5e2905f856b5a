"""Pictures as files, beside being shown in the notebook."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sharpstats.publish.folder import FIGURES

if TYPE_CHECKING:
    from sharpstats.figures.picture import Picture


def kept(picture: Picture, folder: str | Path = FIGURES) -> Picture:
    """Write a picture as PNG and SVG, and return it to be shown.

    Parameters
    ----------
    picture : Picture
        Its name becomes the name of the files.
    folder : str or Path, optional
        Made if it does not exist.

    Returns
    -------
    Picture
    """
    place = Path(folder)
    place.mkdir(exist_ok=True)
    picture.png(place / f"{picture.name}.png")
    picture.svg(place / f"{picture.name}.svg")
    return picture
