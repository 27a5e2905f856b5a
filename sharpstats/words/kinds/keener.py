"""Words for `keener`: the medium reads lower than the other one, by at least so much."""

from __future__ import annotations

from sharpstats.claims.finding import Finding
from sharpstats.words.kinds.shared import KindWords, quantity, reads, unit_of, wholly_below_zero
from sharpstats.words.labels import clip
from sharpstats.words.numbers import amount, decimals_for, stated


def verdict(finding: Finding) -> str:
    """Say what was found."""
    by = quantity(finding.declared, "by")
    wanted = f" by {stated(by)}" if by.value else ""
    if finding.finding == "shown":
        return f"keener{wanted and f'{wanted} or more'}: {reads(finding)}"
    if finding.finding == "contradicted":
        return f"not keener{wanted}: {reads(finding)}"
    return f"{reads(finding)}; the claim asks for {_asked(finding)}"


def _asked(finding: Finding) -> str:
    if not finding.bound_high:
        return "a difference in its favour"
    low = -finding.bound_high
    by = quantity(finding.declared, "by").value
    return f"{amount(low, unit_of(finding), decimals_for(None, unit_of(finding), [(low, by)]))} lower or more"


def more(finding: Finding) -> list[str]:
    """Say how much was asked, and what is known where that was too much."""
    by, medium = quantity(finding.declared, "by"), clip(finding.medium)
    told = []
    if by.unit == "%" and by.value:
        told.append(
            f"Keener by {stated(by)} means that {clip(finding.than)} reads at least {1 + by.value / 100:.6g} times as "
            f"much: {medium} {_asked(finding)}."
        )
    if finding.finding != "shown" and by.value and wholly_below_zero(finding):
        told.append(f"{medium} is keener, but by less than the claim asks." if finding.finding == "contradicted"
                    else f"That {medium} is keener is clear; whether by that much is open.")  # fmt: skip
    if finding.finding == "contradicted" and finding.low > 0:
        told.append(f"{medium} is in fact the duller one.")
    return told


KEENER = KindWords(
    verdict,
    more,
    method="That a medium is keener, by so much or at all, was tested by a one-sided t test against that difference.",
)
