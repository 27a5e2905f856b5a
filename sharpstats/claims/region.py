"""A claim about a difference is a region of it; testing the region is the same for every kind."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

from scipy import stats

from sharpstats.trial.plan import Scale
from sharpstats.units import Quantity


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
        above_low = float(stats.t.sf((estimate - self.low) / se, df))
        below_high = float(stats.t.cdf((estimate - self.high) / se, df))
        return max(above_low, below_high)

    def p_contradicted(self, estimate: float, se: float, df: float) -> float:
        """Smaller one-sided p value against the difference lying within the limits.

        Examples
        --------
        >>> round(Region(-1.0, 1.0).p_contradicted(2.0, 0.5, 10), 5)
        0.03669
        """
        below_low = float(stats.t.cdf((estimate - self.low) / se, df))
        above_high = float(stats.t.sf((estimate - self.high) / se, df))
        return min(below_low, above_high)


@dataclass(frozen=True, slots=True)
class Outside(Region):
    """Differences below `low` or above `high` make the claim true.

    With the limits close together, or one and the same, a difference that is not there may be found
    below the one as well as above the other. So each side has half the error rate, which then holds
    wherever the limits are: the interval that decides is the two-sided one.
    """

    tails: ClassVar[int] = 2

    def p_shown(self, estimate: float, se: float, df: float) -> float:
        """Twice the smaller one-sided p value against the difference lying within the limits.

        Examples
        --------
        >>> round(Outside(0.0, 0.0).p_shown(1.0, 0.5, 10), 5) == round(2 * float(stats.t.sf(2, 10)), 5)
        True
        """
        return min(1.0, self.tails * Region.p_contradicted(self, estimate, se, df))

    def p_contradicted(self, estimate: float, se: float, df: float) -> float:
        """Largest of the one-sided p values against the difference lying beyond either limit."""
        return Region.p_shown(self, estimate, se, df)


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
