"""A claim about a difference is a region of it; testing the region is the same for every kind."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

from scipy import stats

from sharpstats.trial.plan import Scale
from sharpstats.units import Quantity

Tail = Callable[[float], float]
"""Limit -> one-sided p value for a difference on one side of it."""


@dataclass(frozen=True, slots=True)
class Region:
    """Differences between `low` and `high` (on the fit's scale) make the claim true.

    One limit may be infinite.

    Attributes
    ----------
    low, high : float
    tails : int
        Sides on which a wrong "shown" can fall. The interval that decides it has the error rate
        divided by them on each side.
    """

    tails: ClassVar[int] = 1

    low: float
    high: float

    def p_shown(self, estimate: float, se: float, df: float) -> float:
        """Largest of the one-sided p values against the difference lying beyond either limit.

        With two finite limits this is the two one-sided tests procedure (Schuirmann 1987,
        Journal of Pharmacokinetics and Biopharmaceutics 15:657-680).

        Examples
        --------
        >>> round(Region(-1.0, 1.0).p_shown(0.0, 0.5, 10), 5)
        0.03669
        """
        return self.shown_by(*_tails(estimate, se, df))

    def p_contradicted(self, estimate: float, se: float, df: float) -> float:
        """Smaller one-sided p value against the difference lying within the limits.

        Examples
        --------
        >>> round(Region(-1.0, 1.0).p_contradicted(2.0, 0.5, 10), 5)
        0.03669
        """
        return self.contradicted_by(*_tails(estimate, se, df))

    def shown_by(self, above: Tail, below: Tail) -> float:
        """Put p values together into the one for the region: those for a difference above and below a limit.

        Examples
        --------
        >>> Region(-1.0, 1.0).shown_by(lambda limit: 0.02, lambda limit: 0.04)
        0.04
        """
        return max(above(self.low), below(self.high))

    def contradicted_by(self, above: Tail, below: Tail) -> float:
        """Put p values together into the one against the region: those for a difference above and below a limit.

        Examples
        --------
        >>> Region(-1.0, 1.0).contradicted_by(lambda limit: 0.02, lambda limit: 0.9)
        0.02
        """
        return min(below(self.low), above(self.high))


def _tails(estimate: float, se: float, df: float) -> tuple[Tail, Tail]:
    """One-sided p values of the t test for a difference above a limit, and for one below it."""

    def above(limit: float) -> float:
        return float(stats.t.sf((estimate - limit) / se, df))

    def below(limit: float) -> float:
        return float(stats.t.cdf((estimate - limit) / se, df))

    return above, below


@dataclass(frozen=True, slots=True)
class Outside(Region):
    """Differences below `low` or above `high` make the claim true.

    With the limits close together, or one and the same, a difference that is not there may be found
    below the one as well as above the other. So each side has half the error rate, which then holds
    wherever the limits are: the interval that decides is the two-sided one.
    """

    tails: ClassVar[int] = 2

    def shown_by(self, above: Tail, below: Tail) -> float:
        """Twice the smaller one-sided p value against the difference lying within the limits.

        Examples
        --------
        >>> round(Outside(0.0, 0.0).p_shown(1.0, 0.5, 10), 5) == round(2 * float(stats.t.sf(2, 10)), 5)
        True
        """
        return min(1.0, self.tails * Region.contradicted_by(self, above, below))

    def contradicted_by(self, above: Tail, below: Tail) -> float:
        """Largest of the one-sided p values against the difference lying beyond either limit."""
        return Region.shown_by(self, above, below)


def on_scale(margin: Quantity, scale: Scale) -> float:
    """A margin as a distance on the fit's scale.

    On the log scale "15 %" is ln 1.15 either way: the one reads up to 1.15 times the other,
    whichever of the two is named first.

    Examples
    --------
    >>> round(on_scale(Quantity(15.0, "%"), "log"), 4)
    0.1398
    """
    return math.log1p(margin.value / 100) if scale == "log" else margin.value


def reported(difference: float, scale: Scale) -> float:
    """A difference on the fit's scale as it is reported: percent on the log scale.

    Examples
    --------
    >>> round(reported(0.1398, "log"), 1)
    15.0
    """
    return 100 * math.expm1(difference) if scale == "log" else difference
