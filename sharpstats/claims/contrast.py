"""What a comparison is about: the difference of two media, or how it differs between two places."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Place:
    """Where two media are compared.

    Attributes
    ----------
    where : mapping of str to str
        Levels of other factors.
    sign : float
        How the difference there counts.
    at : str
        What the place is called where there are several.
    """

    where: Mapping[str, str]
    sign: float = 1.0
    at: str = ""


@dataclass(frozen=True, slots=True)
class Contrast:
    """The difference `medium` minus `than`, added up over places with their signs.

    One place makes a difference, two of opposite signs make a gap.
    """

    medium: str
    than: str
    places: tuple[Place, ...]


def at_levels(where: Mapping[str, str]) -> str:
    """Levels of other factors as words.

    Examples
    --------
    >>> at_levels({"steel": "stainless", "operator": "operator 2"})
    ' where steel is stainless and operator is 2'
    """
    return f" where {' and '.join(at_level(name, level) for name, level in where.items())}" if where else ""


def at_level(name: str, level: str) -> str:
    """One level of a factor as words; a level that begins with the factor's name does not repeat it."""
    return f"{name} is {level.removeprefix(f'{name} ')}"
