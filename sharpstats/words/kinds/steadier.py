"""Words for `steadier`: edges of the medium spread less than those of the other one."""

from __future__ import annotations

import math

from sharpstats.claims.finding import Finding
from sharpstats.words.kinds.shared import KindWords, decimals, quantity
from sharpstats.words.labels import clip
from sharpstats.words.numbers import SAME, amount, decimals_for, difference, interval, stated

WAYS = ("less", "more")


def verdict(finding: Finding) -> str:
    """Say what was found."""
    by = quantity(finding.declared, "by")
    wanted = f" by {stated(by)}" if by.value else ""
    if finding.finding == "shown":
        return f"steadier{wanted and f'{wanted} or more'}: {_spread(finding)}"
    if finding.finding == "contradicted":
        return f"not steadier{wanted}: {_spread(finding)}"
    return f"{_spread(finding)}; the claim asks for {_asked(finding)}"


def in_short(finding: Finding) -> str:
    """Say by how much one spread is the larger, with the interval."""
    digits = decimals(finding)
    limits = _limits(finding)
    if math.isnan(finding.estimate):
        return f"no two spreads to compare ({limits})"
    if math.isinf(finding.estimate):
        return f"no spread to compare with ({limits})"
    how = difference(finding.estimate, "%", digits, WAYS)
    return f"{'the same spread to within rounding' if how == SAME else f'{how} spread'} ({limits})"


def _spread(finding: Finding) -> str:
    """Return for example: "edges of slate spread 40 % less than those of plate (90 % interval: ...)"."""
    digits, limits = decimals(finding), _limits(finding)
    medium, than = clip(finding.medium), clip(finding.than)
    if math.isnan(finding.estimate):
        return f"neither the edges of {medium} nor those of {than} spread more than cuts do ({limits})"
    if math.isinf(finding.estimate):
        return f"edges of {medium} spread, those of {than} no more than cuts do ({limits})"
    if (how := difference(finding.estimate, "%", digits, WAYS)) == SAME:
        return f"edges of {medium} spread as those of {than} do, to within rounding ({limits})"
    return f"edges of {medium} spread {how} than those of {than} ({limits})"


def _limits(finding: Finding) -> str:
    """Return the interval; from 100 % less to anything is no limit on either side."""
    low = -math.inf if finding.low <= -100 and math.isinf(finding.high) else finding.low
    return interval(low, finding.high, "%", finding.level, decimals(finding), WAYS)


def _asked(finding: Finding) -> str:
    by = quantity(finding.declared, "by").value
    if not by or finding.bound_high is None:
        return "less"
    less = -finding.bound_high
    return f"at least {amount(less, '%', decimals_for(None, '%', [(less, by)]))} less"


def more(finding: Finding) -> list[str]:
    """Say what was asked, which way it is, and where one of the spreads is zero."""
    by, medium, than = quantity(finding.declared, "by"), clip(finding.medium), clip(finding.than)
    told = []
    if by.value:
        told.append(f"Steadier by {stated(by)} means that edges of {than} spread at least {1 + by.value / 100:.6g} "
                    f"times as much, those of {medium} {_asked(finding)}.")  # fmt: skip
    if finding.finding != "shown" and by.value and finding.high < 0:
        told.append(f"{medium} is steadier, but by less than the claim asks." if finding.finding == "contradicted"
                    else f"That {medium} is steadier is clear; whether by that much is open.")  # fmt: skip
    if finding.finding == "contradicted" and finding.low > 0:
        told.append(f"{medium} is in fact the less steady one.")
    for name, limit in ((medium, -100.0), (than, math.inf)):
        if finding.estimate == limit:
            told.append(f"Cuts alone explain how far edges of {name} differ: their own spread is estimated as zero.")
    if math.isinf(finding.high) and finding.low > -100:
        told.append(f"These edges put no upper limit on it: {than} may have no spread of its own.")
    if finding.finding != "open" and any(not opinion.agrees for opinion in finding.opinions):
        told.append("The finding leans on edges that follow a normal distribution, the second opinions do not: "
                    "where they differ, keep to the more cautious one.")  # fmt: skip
    return told


STEADIER = KindWords(
    verdict,
    more,
    method="That edges of one medium spread less than those of another was tested on the ratio of their standard "
    "deviations between edges, from a fit in which each medium has its own and the error of a cut is taken out: by the "
    "signed root of the restricted profile likelihood, corrected for small samples after Skovgaard. Beside it stand "
    "Brown and Forsythe's test and Bonett's interval on what media and blocks leave of the edge means; they keep the "
    "error of a cut inside, and lean less on normal edges.",
    references=("skovgaard", "brown", "bonett"),
)
