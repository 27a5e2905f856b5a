"""Words for `same`: the two media differ by less than the margin, either way."""

from __future__ import annotations

from sharpstats.claims.finding import Finding
from sharpstats.words.kinds.shared import KindWords, margin_both_ways, quantity, reads, way
from sharpstats.words.labels import clip
from sharpstats.words.numbers import stated


def verdict(finding: Finding) -> str:
    """Say what was found."""
    margin = stated(quantity(finding.declared, "margin"))
    if finding.finding == "shown":
        return f"the same to within your {margin}: {reads(finding)}"
    if finding.finding == "contradicted":
        return f"not the same: {reads(finding)}; it is {way(finding)} by more than your {margin}"
    return f"{reads(finding)}; your margin is {margin_both_ways(finding)}"


def more(finding: Finding) -> list[str]:
    """Tell a real difference from one that matters."""
    which = f"{clip(finding.medium)} being the {way(finding)} one"
    if finding.finding == "shown" and finding.real:
        return [f"A real difference this small exists, {which}; you said it does not matter."]
    if finding.finding == "shown":
        return ["A real difference this small may exist; you said it does not matter."]
    if finding.finding == "open" and finding.real:
        return [f"That there is a difference is clear, {which}; whether it matters is open."]
    return []


SAME = KindWords(
    verdict,
    more,
    method="That two media are the same within a margin was tested by two one-sided t tests, which is to ask whether "
    "the interval of their difference lies inside the margin.",
    references=("schuirmann",),
)
