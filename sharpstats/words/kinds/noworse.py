"""Words for `no worse`: the medium is not duller than the other one by more than the margin."""

from __future__ import annotations

from sharpstats.claims.finding import Finding
from sharpstats.words.kinds.shared import KindWords, quantity, reads, wholly_below_zero
from sharpstats.words.labels import clip
from sharpstats.words.numbers import stated


def verdict(finding: Finding) -> str:
    """Say what was found."""
    margin = stated(quantity(finding.declared, "margin"))
    if finding.finding == "shown":
        return f"not duller by your {margin}: {reads(finding)}"
    if finding.finding == "contradicted":
        return f"duller by more than your {margin}: {reads(finding)}"
    return f"{reads(finding)}; your margin is {margin} higher"


def more(finding: Finding) -> list[str]:
    """Say where it is even keener, or duller by less than matters."""
    medium = clip(finding.medium)
    if finding.finding == "shown" and wholly_below_zero(finding):
        return [f"The whole interval lies below zero: {medium} is in fact keener."]
    if finding.finding == "shown" and finding.real:
        return [f"A real difference this small exists, {medium} being the duller one; you said it does not matter."]
    return []


NO_WORSE = KindWords(
    verdict,
    more,
    method="That a medium is no worse by more than a margin was tested by a one-sided t test against the margin.",
)
