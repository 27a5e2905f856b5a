"""Two testers or operators on the edges that both read: difference, limits of agreement, slope, margin."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sharpstats.model.student import reach, two_sided_p
from sharpstats.notes import Note
from sharpstats.tester.agreelimits import AgreementLimits, exact_limits, summed_limits
from sharpstats.tester.deming import DemingSlope, deming_slope
from sharpstats.tester.scale import margin_on_scale
from sharpstats.trial.plan import Scale
from sharpstats.units import ForceUnit, Quantity

Floats = NDArray[np.float64]
Finding = Literal["shown", "contradicted", "open"]

ERROR_RATE = 0.05
"""Of a finding about a margin: the interval that decides has the level 1 - 2 x this."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Side:
    """What one tester or operator read on the edges that both read.

    Attributes
    ----------
    name : str
    means : ndarray of shape (edges,)
        Mean of each edge's cuts, on the scale of the study.
    cuts : integer ndarray of shape (edges,)
    variance : float
        Variance of single cuts on one edge; not a number where no edge was cut twice.
    df : int
        Its degrees of freedom.
    """

    name: str
    means: Floats
    cuts: NDArray[np.int64]
    variance: float
    df: int

    @property
    def of_a_mean(self) -> float:
        """Mean over the edges of one over the number of cuts."""
        return float(np.mean(1 / self.cuts))


@dataclass(frozen=True, eq=False, kw_only=True)
class Margin:
    """What the readings say about a difference that would not matter.

    Attributes
    ----------
    margin : Quantity
        As it was given.
    bound : float
        The same on the scale of the study, either way.
    finding : str
        ``shown``: the difference lies within the margin; ``contradicted``: beyond it; or ``open``.
    low, high, level : float
        The interval of the difference that decides.
    """

    margin: Quantity
    bound: float
    finding: Finding
    low: float
    high: float
    level: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Pair:
    """Two testers or operators on the edges that both read; every difference is `one` minus `other`.

    On the log scale differences are of logarithms, so that they and the limits are ratios of readings.

    Attributes
    ----------
    one, other : Side
    edges : tuple of str
        The edges that both read.
    difference, se, low, high : float
        Mean difference over the edges, and its t interval.
    df : int
        Degrees of freedom: edges less one.
    p : float
        p value against no difference.
    limits : AgreementLimits
        Between which the differences of edge means fall, with as many cuts as were made.
    single : AgreementLimits
        The same for one cut by each.
    slope : DemingSlope or None
        Of `one` against `other`, both with error; None where the two do not rise together.
    trend, trend_low, trend_high : float
        Change of the difference for a change of one in the mean of the two, by least squares.
    margin : Margin or None
    level : float
        Level of all intervals but that of `margin`.
    notes : tuple of Note
    """

    one: Side
    other: Side
    edges: tuple[str, ...]
    difference: float
    se: float
    df: int
    low: float
    high: float
    p: float
    limits: AgreementLimits
    single: AgreementLimits
    slope: DemingSlope | None
    trend: float
    trend_low: float
    trend_high: float
    margin: Margin | None
    level: float
    notes: tuple[Note, ...] = ()

    @property
    def name(self) -> str:
        """The pair as text, the one whose readings are taken first."""
        return f"{self.one.name} minus {self.other.name}"

    @property
    def differences(self) -> Floats:
        """Difference of each edge's means, on the scale of the study."""
        return self.one.means - self.other.means

    @property
    def averages(self) -> Floats:
        """Mean of both on each edge, on the scale of the study."""
        return (self.one.means + self.other.means) / 2

    @property
    def averaged(self) -> bool:
        """Whether any edge mean is one of several cuts."""
        return self.one.of_a_mean < 1 or self.other.of_a_mean < 1

    @property
    def changes_with_reading(self) -> bool:
        """Whether the slope's interval leaves out 1: the difference is not the same over the range."""
        return self.slope is not None and not self.slope.low <= 1 <= self.slope.high


def compare(
    one: Side, other: Side, edges: tuple[str, ...], *, level: float, share: float, notes: tuple[Note, ...] = ()
) -> Pair:
    """Compare two sides that differ.

    Parameters
    ----------
    one, other : Side
        On the same edges, three at least; their differences are not all the same.
    edges : tuple of str
    level, share : float
        Between 0 and 1.
    notes : tuple of Note

    Returns
    -------
    Pair
    """
    d, middle = one.means - other.means, (one.means + other.means) / 2
    n, mean, variance = len(d), float(d.mean()), float(d.var(ddof=1))
    se = math.sqrt(variance / n)
    far = reach(level, n - 1) * se
    trend, low, high = _trend(d, middle, level)
    return Pair(
        one=one, other=other, edges=edges, difference=mean, se=se, df=n - 1, low=mean - far, high=mean + far,
        p=float(two_sided_p(np.array(mean / se), np.array(n - 1.0))),
        limits=exact_limits(mean, math.sqrt(variance), n, share, level),
        single=_single(one, other, mean, variance, share, level), trend=trend, trend_low=low, trend_high=high,
        slope=deming_slope(one.means, other.means, error_ratio(one, other), level), margin=None, level=level,
        notes=notes,
    )  # fmt: skip


def error_ratio(one: Side, other: Side) -> float:
    """Error variance of the one's edge means over that of the other's.

    Each is the variance of a mean of cuts, and half of what differences of edge means vary beyond
    both. Taken as 1 where the spread of cuts is not known for both, or there is none.
    """
    own = [side.variance * side.of_a_mean for side in (one, other)]
    if not all(map(math.isfinite, own)):
        return 1.0
    beyond = max(float((one.means - other.means).var(ddof=1)) - sum(own), 0.0) / 2
    above, below = own[0] + beyond, own[1] + beyond
    return above / below if above > 0 and below > 0 else 1.0


def _single(one: Side, other: Side, mean: float, variance: float, share: float, level: float) -> AgreementLimits:
    """Limits for one cut by each: what averaging took off the variance of differences is put back."""
    n = len(one.means)
    parts = [(side.variance, side.df, 1 - side.of_a_mean) for side in (one, other) if side.of_a_mean < 1]
    if not parts:
        return exact_limits(mean, math.sqrt(variance), n, share, level)
    squares, df, weights = zip((variance, n - 1, 1.0), *parts, strict=True)
    return summed_limits(mean, squares, df, weights, n, share, level)


def _trend(d: Floats, middle: Floats, level: float) -> tuple[float, float, float]:
    """Slope of the differences on the means by least squares, and its t interval."""
    x = middle - middle.mean()
    sxx = float(x @ x)
    if sxx == 0:
        return math.nan, math.nan, math.nan
    slope = float(x @ d) / sxx
    left = d - d.mean() - slope * x
    far = reach(level, len(d) - 2) * math.sqrt(left @ left / (len(d) - 2) / sxx)
    return slope, slope - far, slope + far


def held_against(pair: Pair, margin: Quantity, unit: ForceUnit, scale: Scale) -> Pair:
    """Hold the mean difference of a pair against a margin.

    Two one-sided t tests (Schuirmann 1987, Journal of Pharmacokinetics and Biopharmaceutics
    15:657-680): shown where the interval of level 1 - 2 alpha lies within the margin.

    Raises
    ------
    ValueError
        If the margin does not fit the scale, or is not above zero.
    """
    bound = margin_on_scale(margin, unit, scale)
    far = reach(1 - 2 * ERROR_RATE, pair.df) * pair.se
    low, high = pair.difference - far, pair.difference + far
    finding: Finding = "open"
    if -bound < low and high < bound:
        finding = "shown"
    elif low >= bound or high <= -bound:
        finding = "contradicted"
    held = Margin(margin=margin, bound=bound, finding=finding, low=low, high=high, level=1 - 2 * ERROR_RATE)
    return replace(pair, margin=held)
