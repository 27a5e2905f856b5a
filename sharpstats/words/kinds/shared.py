"""Sentences that several kinds of claim share."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from sharpstats.claims.finding import Finding
from sharpstats.trial.plan import Claim
from sharpstats.units import Quantity, Unit
from sharpstats.words.labels import clip
from sharpstats.words.numbers import SAME, amount, decimals_for, difference, interval, stated


@dataclass(frozen=True, slots=True)
class KindWords:
    """How findings of one kind are told.

    Attributes
    ----------
    verdict : callable
        Finding -> what was found, as a sentence without its stop.
    more : callable
        Finding -> further sentences that belong to this kind alone.
    method : str
        How such a claim is tested, for the report.
    references : tuple of str
        Keys of the works that the method leans on.
    """

    verdict: Callable[[Finding], str]
    more: Callable[[Finding], list[str]]
    method: str
    references: tuple[str, ...] = ()


def unit_of(finding: Finding) -> Unit:
    """Return the unit of a finding's numbers."""
    return "%" if finding.unit == "%" else "N" if finding.unit == "N" else "gf"


def decimals(finding: Finding) -> int:
    """Return decimals that keep a limit and a bound apart where they differ."""
    limits, bounds = (finding.low, finding.high), (finding.bound_low, finding.bound_high)
    width = finding.high - finding.low
    return decimals_for(width, unit_of(finding), [(limit, bound) for limit in limits for bound in bounds])


def reads(finding: Finding) -> str:
    """Return how the medium reads against the other one, with the interval.

    For example: "slate reads 4 % higher than plate (90 % interval: 2 % lower to 10 % higher)".
    """
    unit, digits = unit_of(finding), decimals(finding)
    medium, than = clip(finding.medium), clip(finding.than)
    limits = interval(finding.low, finding.high, unit, finding.level, digits)
    if (how := difference(finding.estimate, unit, digits)) == SAME:
        return f"{medium} reads the same as {than} to within rounding ({limits})"
    return f"{medium} reads {how} than {than} ({limits})"


def way(finding: Finding) -> str:
    """Return whether the medium is the duller or the keener one, by its estimate."""
    return "duller" if finding.estimate > 0 else "keener"


def quantity(claim: Claim, name: str) -> Quantity:
    """Return the number that a claim states."""
    stated_number: Quantity = getattr(claim, name)
    return stated_number


def margin_both_ways(finding: Finding) -> str:
    """Return the margin with what it means downwards, which on the log scale is another percentage.

    "15 %" either way is a ratio of 1.15: 13 % lower to 15 % higher.
    """
    text = stated(quantity(finding.declared, "margin"))
    if finding.unit != "%" or finding.bound_low is None:
        return f"{text} either way"
    below = amount(-finding.bound_low, "%", decimals_for(None, "%", [(-finding.bound_low, finding.bound_high)]))
    return f"{text} either way ({below} lower to {text} higher)"


def wholly_below_zero(finding: Finding) -> bool:
    """Whether the whole interval says that the medium reads lower."""
    return math.isfinite(finding.high) and finding.high < 0
