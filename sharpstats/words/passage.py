"""A passage: a heading, paragraphs and points, shown as rich text in a notebook."""

from __future__ import annotations

from dataclasses import dataclass

from sharpstats.late import Shown


@dataclass(frozen=True, slots=True)
class Passage(Shown):
    """Text of the report that is made from results.

    Attributes
    ----------
    heading : str
    paragraphs : tuple of str
    points : tuple of str
        Shown as a list below the paragraphs.
    """

    heading: str
    paragraphs: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
