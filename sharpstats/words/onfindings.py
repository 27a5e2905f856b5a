"""How findings show themselves: a card each, and what they do not say."""

from __future__ import annotations

from collections.abc import Iterator

from sharpstats.claims.finding import Finding, Findings
from sharpstats.words.blocks import Block, Card, Heading, Line, Points
from sharpstats.words.cautions import limits
from sharpstats.words.findings import DIRECTION, OPEN, family, other_notes, tell
from sharpstats.words.labels import listing
from sharpstats.words.numbers import count
from sharpstats.words.resolving import HEADING, resolution_blocks, resolution_of


def finding_blocks(finding: Finding, *, alone: bool = True) -> Iterator[Block]:
    """Tell one finding."""
    told = tell(finding, alone=alone)
    yield Card(told.finding, told.headline, told.verdict, told.details)


def findings_blocks(findings: Findings) -> Iterator[Block]:
    """Tell all findings of a trial."""
    yield Line(f"{tally(findings)} {DIRECTION}")
    for finding in findings.findings:
        yield from finding_blocks(finding, alone=False)
    remarks = [*family(findings), *([OPEN] if any(f.finding == "open" for f in findings.findings) else [])]
    remarks += other_notes(findings)
    if remarks:
        yield Heading("How to read this")
        yield Points(tuple(remarks))
    yield from _by_the_tester(findings)
    passage = limits(findings)
    yield Heading(passage.heading)
    yield Points(passage.points)


def _by_the_tester(findings: Findings) -> Iterator[Block]:
    """Hold the margins against the tester study, where the plan names one."""
    found = resolution_of(findings)
    if isinstance(found, str):
        yield Heading(HEADING)
        yield Line(found)
    elif found is not None:
        yield from resolution_blocks(found)


def tally(findings: Findings) -> str:
    """Return how many claims ended how, as a sentence."""
    outcomes = [finding.finding for finding in findings.findings]
    parts = [f"{outcomes.count(word)} {word}" for word in ("shown", "contradicted", "open") if word in outcomes]
    return f"{count(len(outcomes), 'claim')}: {listing(parts)}."
