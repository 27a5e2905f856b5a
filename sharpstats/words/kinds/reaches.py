"""Words for `reaches`: at least a share of the medium's edges reads below a level."""

from __future__ import annotations

import math

from sharpstats.claims.finding import Finding
from sharpstats.trial.plan import Reaches
from sharpstats.words.kinds.shared import KindWords, decimals, unit_of
from sharpstats.words.labels import clip
from sharpstats.words.numbers import amount, amounts, level_percent, plainly


def verdict(finding: Finding) -> str:
    """Say what was found."""
    result = {"shown": "reached: ", "contradicted": "not reached: "}.get(finding.finding, "")
    return f"{result}{bound(finding)}; the level is {plainly(finding.bound_high, unit_of(finding))}"


def bound(finding: Finding) -> str:
    """Return below which reading the share of edges falls, with the interval."""
    unit, digits = unit_of(finding), decimals(finding)
    share = level_percent(_claim(finding).share)
    limits = amounts(finding.low, finding.high, unit, digits)
    if not math.isfinite(finding.estimate):
        where = f"no estimate of the reading below which {share} of the edges of {clip(finding.medium)} lie"
    else:
        where = f"{share} of the edges of {clip(finding.medium)} read below {amount(finding.estimate, unit, digits)}"
    return f"{where} ({level_percent(finding.level)} interval: {limits})"


def more(finding: Finding) -> list[str]:
    """Name the level."""
    level = _claim(finding).level
    told = [f"The level stands for: {clip(level.name)}."] if level.name != str(level.reading) else []
    return told if math.isfinite(finding.high) else [*told, "So few edges put no upper limit on it."]


def _claim(finding: Finding) -> Reaches:
    if not isinstance(finding.declared, Reaches):
        raise TypeError(f"a finding of the kind `reaches` is needed, got one of the kind `{finding.kind}`")
    return finding.declared


REACHES = KindWords(
    verdict,
    more,
    method="That a share of a medium's edges reads below a level was tested by a one-sided tolerance bound on edge "
    "means, exact where edges are independent and by a generalised pivotal quantity where they come in blocks; beside "
    "it stands the exact binomial test of the edges counted below the level.",
    references=("krishnamoorthy", "clopper"),
)
