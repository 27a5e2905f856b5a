"""What the tester can tell apart, beside the margins of the claims, in words."""

from __future__ import annotations

from collections.abc import Iterator

from sharpstats.claims.finding import Findings
from sharpstats.claims.resolving import Resolution, Resolved
from sharpstats.errors import SharpstatsError
from sharpstats.trial.plan import Scale
from sharpstats.units import Unit
from sharpstats.words.blocks import Block, Heading, Line, Points
from sharpstats.words.labels import clip
from sharpstats.words.numbers import (
    amount,
    amounts,
    count,
    decimals_for,
    fixed,
    from_scale,
    level_percent,
    stated,
    unit_on,
)

HEADING = "Can the tester see such differences?"
AVERAGES = (
    "This is about one edge against another. A trial compares averages of many edges, which chance sets less far "
    "apart; but what one operator, day or filament lot does to all readings of a medium does not average out."
)


def resolution_of(findings: Findings) -> Resolution | str | None:
    """Return what the tester can tell apart; why that is unknown, if the study is in disorder; None without a study.

    A study in disorder stops no finding.
    """
    try:
        return findings.resolution
    except SharpstatsError as error:
        return str(error)


def resolution_blocks(resolution: Resolution) -> Iterator[Block]:
    """Tell for each margin whether it is larger than what the tester can tell apart."""
    yield Heading(HEADING)
    title = clip(resolution.study.plan.title, 80)
    yield Line(f'From the tester study "{title}": {_when(resolution)}.')
    yield Points(tuple(f"{clip(one.claim.says, 120)}: {sentence(one, resolution)}" for one in resolution.claims))
    yield Line(AVERAGES)


def _when(resolution: Resolution) -> str:
    if not resolution.claims:
        return "no claim has a margin above zero to hold it against"
    return "with the cuts that are planned" if resolution.planned else "with the cuts that were taken"


def sentence(one: Resolved, resolution: Resolution) -> str:
    """Say whether a margin is larger than the smallest difference that the tester shows.

    Parameters
    ----------
    one : Resolved
    resolution : Resolution
        That it belongs to.

    Returns
    -------
    str
    """
    scale = resolution.spreads.scale
    unit = unit_on(scale, resolution.spreads.unit)
    found = one.smallest
    size, low, high = (from_scale(value, scale) for value in (found.estimate, found.low, found.high))
    digits = decimals_for(None if low is None or high is None else high - low, unit, [(size, one.margin.value)])
    apart = (
        f"the {amount(size, unit, digits)} ({level_percent(found.level)} interval: "
        f"{amounts(low, high, unit, digits)}) that the tester can show between two edges with {_cuts(one.cuts)} each"
    )
    others = _by_two(one, scale, unit, digits)
    return f"your margin of {stated(one.margin)} is {_verdict(one, apart)}{_enough(one)}{others}"


def _verdict(one: Resolved, apart: str) -> str:
    return {
        "larger": f"larger than {apart}.",
        "perhaps larger": f"larger than {apart}, but by so little that the study does not prove it.",
        "perhaps smaller": f"smaller than {apart}, though by so little that the study does not prove it.",
        "smaller": f"smaller than {apart}.",
    }[one.verdict]


def _enough(one: Resolved) -> str:
    if one.verdict in ("larger", "perhaps larger"):
        return ""
    if one.enough is None:
        return " No number of cuts on two edges would show it."
    return f" It would take {count(one.enough, 'cut')} on each of two edges to show it."


def _by_two(one: Resolved, scale: Scale, unit: Unit, digits: int) -> str:
    if one.apart is None:
        return ""
    size = from_scale(one.apart.estimate, scale)
    return f" Where two people cut one edge each it is {amount(size, unit, digits)}."


def _cuts(cuts: float) -> str:
    return count(int(cuts), "cut") if cuts == int(cuts) else f"about {fixed(cuts, 1)} cuts"


def warnings(resolution: Resolution) -> tuple[str, ...]:
    """Return a sentence for each claim whose margin is not larger than what the tester can show.

    Parameters
    ----------
    resolution : Resolution

    Returns
    -------
    tuple of str
        For `sharpstats check`, which is run before the first reading.
    """
    return tuple(
        f"{clip(one.claim.id, 60)}: {sentence(one, resolution)} Choose a larger margin, take more cuts, or be prepared "
        "for many edges."
        for one in resolution.claims
        if one.verdict in ("smaller", "perhaps smaller")
    )
