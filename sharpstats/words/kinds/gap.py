"""Words for `gap`: the difference of two media depends on another factor, or does not."""

from __future__ import annotations

from sharpstats.claims.contrast import at_level
from sharpstats.claims.finding import Finding
from sharpstats.trial.plan import Gap
from sharpstats.words.kinds.shared import KindWords, decimals, quantity, unit_of
from sharpstats.words.labels import clip
from sharpstats.words.numbers import SAME, decimals_for, difference, fixed, level_percent, signed, signed_span, stated


def verdict(finding: Finding) -> str:
    """Say what was found: the two differences, and the gap between them."""
    return _found(finding, _told(finding))


def in_short(finding: Finding) -> str:
    """Say what was found by the gap alone, where the two differences are drawn beside it."""
    return _found(finding, gap_of(finding))


def _found(finding: Finding, numbers: str) -> str:
    claim, margin = _claim(finding), stated(quantity(finding.declared, "margin"))
    if finding.finding == "open":
        return f"{numbers}; {_asked(finding)}"
    if (finding.finding == "shown") != claim.depends:
        return f"the same difference to within your {margin}: {numbers}"
    beyond = f" by more than your {margin}" if claim.margin.value else ""
    return f"the difference depends on {clip(claim.across)}{beyond}: {numbers}"


def _asked(finding: Finding) -> str:
    """Return the margin, with what it means downwards on the log scale."""
    claim, margin = _claim(finding), stated(quantity(finding.declared, "margin"))
    if not claim.margin.value:
        return "the claim asks for any gap at all"
    if finding.unit == "%" and finding.bound_low is not None:
        digits = decimals_for(None, "%", [(-finding.bound_low, finding.bound_high)])
        margin = f"{margin} either way ({signed(finding.bound_low, '%', digits)} to +{margin})"
    return f"the claim asks for a gap of more than {margin}" if claim.depends else f"your margin is {margin}"


def _told(finding: Finding) -> str:
    """Return both differences and their gap, with its interval."""
    unit, digits = unit_of(finding), decimals(finding)
    medium, than = clip(finding.medium), clip(finding.than)
    first, second = (difference(part.estimate, unit, digits) for part in finding.parts)
    against = f"the same as {than} to within rounding" if first == SAME else f"{first} than {than}"
    return f"{medium} reads {against} {place(finding, 0)} and {second} {place(finding, 1)}: {gap_of(finding)}"


def gap_of(finding: Finding) -> str:
    """Return the gap with its interval: "a gap of +10 % (90 % interval: -2 % to +23 %)"."""
    unit, digits = unit_of(finding), decimals(finding)
    limits = signed_span(finding.low, finding.high, unit, digits)
    return f"a gap of {signed(finding.estimate, unit, digits)} ({level_percent(finding.level)} interval: {limits})"


def place(finding: Finding, which: int) -> str:
    """Return where one of the two differences was found: "where operator is learner"."""
    return f"where {at_level(clip(_claim(finding).across), clip(finding.parts[which].at))}"


def more(finding: Finding) -> list[str]:
    """Say which way the gap goes, and tell a real one from one that matters."""
    told = []
    if finding.real:
        worse = 0 if finding.estimate > 0 else 1
        told.append(f"{clip(finding.medium)} compares worse with {clip(finding.than)} {place(finding, worse)}.")
    return told + _small(finding) + _ratio(finding)


def _ratio(finding: Finding) -> list[str]:
    """Say how percentages were compared where a reader who subtracts them comes to another number."""
    unit, digits = unit_of(finding), decimals(finding)
    first, second = (part.estimate for part in finding.parts)
    if unit != "%" or fixed(first - second, digits) == fixed(finding.estimate, digits):
        return []
    return ["Percentages are ratios, so the gap is one ratio divided by the other, not one percentage less the other."]


def _small(finding: Finding) -> list[str]:
    if _claim(finding).depends or finding.finding == "contradicted":
        return []
    if finding.finding == "shown":
        return [f"A real gap this small {'exists' if finding.real else 'may exist'}; you said it does not matter."]
    return ["That there is a gap is clear; whether it matters is open."] if finding.real else []


def _claim(finding: Finding) -> Gap:
    if not isinstance(finding.declared, Gap):
        raise TypeError(f"a finding of the kind `gap` is needed, got one of the kind `{finding.kind}`")
    return finding.declared


GAP = KindWords(
    verdict,
    more,
    method="That the difference of two media is the same at two levels of another factor, within a margin, was tested "
    "on the difference of the two differences by two one-sided t tests; that it is not the same, by its two-sided "
    "interval lying wholly beyond the margin, which keeps the error rate whatever the margin.",
    references=("schuirmann",),
)
