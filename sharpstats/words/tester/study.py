"""How a tester study shows itself: what was asked, what was read, what was set aside, what is next."""

from __future__ import annotations

from collections.abc import Iterator

from sharpstats.tester.study import TesterStudy
from sharpstats.words.blocks import Block, Heading, Line
from sharpstats.words.numbers import count, stated
from sharpstats.words.ontrial import noted, set_aside_blocks

LAYOUTS = {
    "crossed": "every operator cuts every edge",
    "nested": "each edge is cut by one operator only",
    "one operator": "one operator alone",
    "like edges": "edges made so alike that their differences are ignored",
}


def study_blocks(study: TesterStudy) -> Iterator[Block]:
    """Tell a study as it was opened."""
    plan = study.plan
    yield Heading(plan.title)
    if plan.question:
        yield Line(plan.question)
    if plan.publishing.invented:
        yield Line("The readings of this study are invented.")
    yield Line(" ".join(_counts(study)))
    if plan.layout.kind is not None:
        yield Line(f"Laid out as {plan.layout.kind}: {LAYOUTS[plan.layout.kind]}.")
    if plan.wanted is not None:
        yield Line(f"Wanted: to tell two edges apart that differ by {stated(plan.wanted)}.")
    yield from set_aside_blocks(study.set_aside)
    yield from noted("Repaired in order to read the files", study.repairs)
    yield from noted("Cautions", study.cautions)
    yield Line("Next: study.examine() tells what the tester's numbers are worth.")


def _counts(study: TesterStudy) -> Iterator[str]:
    counts = study.counts
    yield f"{count(counts['read'], 'row')} read: {counts['used']:,} used, {counts['set_aside']:,} set aside."
    if study.readings is not None:
        by = f" by {count(counts['operators'], 'operator')}" if counts["operators"] else ""
        yield f"{count(counts['cuts'], 'cut')} on {count(counts['edges'], 'edge')}{by}."
    if over := counts["over_range"]:
        yield f'{count(over, "cut")} over the tester\'s range: taken as "at least so much", not left out.'
    if study.masses is not None:
        yield f"{count(counts['loads'], 'reading')} under known loads."
    if study.shops is not None:
        yield f"{count(len(study.shops), 'cut')} in {count(counts['shops'], 'shop')}."
