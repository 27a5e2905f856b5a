"""Quantities as people write them: "25 gf", "0.25 N", "15 %"; and gf to newtons."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

ForceUnit = Literal["gf", "N"]
Unit = Literal["gf", "N", "%"]

FORCE_UNITS: tuple[ForceUnit, ...] = ("gf", "N")
NEWTONS_PER_GF = 0.00980665
"""One gram-force in newtons: exact, from the standard acceleration of free fall
9.80665 m/s2 (3rd General Conference on Weights and Measures, 1901)."""

# "g" is what a scale displays; as a mass it is not a force, but at the bench it means gf.
_SPELLINGS: dict[str, Unit] = {"gf": "gf", "g": "gf", "grams-force": "gf", "n": "N", "%": "%", "percent": "%"}
_QUANTITY = re.compile(r"^\s*([+-]?\d+(?:[.,]\d+)?)\s*(gf|g|grams-force|N|%|percent)?\s*$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its unit.

    Examples
    --------
    >>> Quantity(25.0, "gf")
    Quantity(value=25.0, unit='gf')
    >>> print(Quantity(25.0, "gf"))
    25 gf
    """

    value: float
    unit: Unit

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit}"

    def to(self, unit: ForceUnit) -> Quantity:
        """Return the same force in another unit.

        Raises
        ------
        ValueError
            If this is a percentage.

        Examples
        --------
        >>> Quantity(100.0, "gf").to("N")
        Quantity(value=0.980665, unit='N')
        """
        if self.unit == "%":
            raise ValueError(f"{self} is a percentage, not a force; it cannot be given in {unit}")
        if self.unit == unit:
            return self
        factor = NEWTONS_PER_GF if unit == "N" else 1 / NEWTONS_PER_GF
        return Quantity(self.value * factor, unit)


def parse_quantity(text: str) -> Quantity | None:
    """Read a quantity with its unit; a missing or unknown unit gives None.

    Parameters
    ----------
    text : str
        A number (decimal point or comma) and ``gf``, ``g``, ``N`` or ``%``.

    Returns
    -------
    Quantity or None

    Examples
    --------
    >>> parse_quantity("15 %")
    Quantity(value=15.0, unit='%')
    >>> parse_quantity("0,25 N")
    Quantity(value=0.25, unit='N')
    >>> parse_quantity("15") is None
    True
    """
    match = _QUANTITY.match(text)
    if match is None or match.group(2) is None:
        return None
    return Quantity(float(match.group(1).replace(",", ".")), _SPELLINGS[match.group(2).lower()])
