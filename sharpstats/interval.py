"""An interval never goes without its level."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

IntervalKind = Literal["confidence", "simultaneous", "tolerance", "profile"]


def check_level(level: float) -> None:
    """Refuse a level that is not between 0 and 1.

    Raises
    ------
    ValueError
    """
    if not 0 < level < 1:
        raise ValueError(f"`level` must lie between 0 and 1, got {level}")


@dataclass(frozen=True, slots=True)
class Interval:
    """Two limits, the level that was asked for, and what kind of interval it is.

    Attributes
    ----------
    low, high : float
        The limits, in the unit of the estimate; infinite where one side is open.
    level : float
        Level between 0 and 1.
    kind : str
        ``confidence``, ``simultaneous``, ``tolerance`` or ``profile``.

    Raises
    ------
    ValueError
        If the limits are the wrong way round or the level is not between 0 and 1.

    Examples
    --------
    >>> print(Interval(-0.02, 0.1, 0.9, "confidence"))
    -0.02 to 0.1 (90 % confidence interval)
    """

    low: float
    high: float
    level: float
    kind: IntervalKind = "confidence"

    def __post_init__(self) -> None:
        if self.low > self.high:
            raise ValueError(f"`low` must not exceed `high`, got {self.low} and {self.high}")
        check_level(self.level)

    def __contains__(self, value: float) -> bool:
        return self.low <= value <= self.high

    def __str__(self) -> str:
        return f"{self.low:.4g} to {self.high:.4g} ({100 * self.level:.4g} % {self.kind} interval)"
