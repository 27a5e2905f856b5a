"""Coded notes that travel with a result, so that no caveat is lost on the way to the page."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Note:
    """A caveat or choice that belongs to a result.

    Attributes
    ----------
    code : str
        Short fixed name, for example ``zero-variance``; the same case always has the same code.
    text : str
        The note as a sentence.

    Examples
    --------
    >>> print(Note("zero-variance", "The spread between blades is estimated as zero."))
    The spread between blades is estimated as zero.
    """

    code: str
    text: str

    def __str__(self) -> str:
        return self.text
