"""A finding as sentences that can be read aloud: headline, verdict, details."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sharpstats.claims.contrast import at_level
from sharpstats.claims.finding import Finding, Findings, SecondOpinion
from sharpstats.words.kinds import KINDS
from sharpstats.words.labels import clip, listing, one_line, sentence
from sharpstats.words.numbers import count, degrees, level_percent, p_number, p_value

DIRECTION = "A lower reading is a keener edge."
OPEN = 'Open does not mean "no difference": these readings cannot tell.'
_TOLD = {"family"}
"""Notes that are told in other words here."""
_COMMON = {"zero-variance"}
"""Notes about the fit: told once where findings stand together."""


@dataclass(frozen=True, slots=True)
class Told:
    """A finding in words.

    Attributes
    ----------
    finding : str
        ``shown``, ``contradicted`` or ``open``.
    headline : str
        The claim.
    verdict : str
        What was found, by how much, how sure.
    details : tuple of str
        Sentences: how many edges, what is real, what would settle it, the second opinion.
    """

    finding: str
    headline: str
    verdict: str
    details: tuple[str, ...]

    def __str__(self) -> str:
        return "\n".join([self.headline, f"{self.finding}: {self.verdict}.", *self.details])


def tell(finding: Finding, *, alone: bool = True) -> Told:
    """Tell one finding.

    Parameters
    ----------
    finding : Finding
    alone : bool
        Whether it stands by itself, so that its notes about the fit are told as well.

    Returns
    -------
    Told
    """
    return Told(finding.finding, one_line(finding.says), _verdict(finding), tuple(_details(finding, alone)))


def _verdict(finding: Finding) -> str:
    if not answered(finding):
        return "the edges of this trial do not answer it"
    return KINDS[finding.kind].verdict(finding)


def answered(finding: Finding) -> bool:
    """Whether the layout can answer the claim at all."""
    return not math.isnan(finding.p)


def _details(finding: Finding, alone: bool) -> list[str]:
    there = [at_level(clip(name), clip(level)) for name, level in finding.where.items()]
    told = [f"Only where {listing(there)}."] if there else []
    told.append(edges_behind(finding))
    if answered(finding):
        told += map(sentence, KINDS[finding.kind].more(finding))
        told += [more_edges(finding)] if finding.finding == "open" else []
        told += map(second_opinion, finding.opinions)
        told.append(_for_statisticians(finding))
    told += [sentence(one_line(note)) for note in finding.notes if alone or note.code not in _COMMON]
    told += [] if finding.primary else ["Looked at on the side: it is no primary claim of the plan."]
    return [text for text in told if text]


def edges_behind(finding: Finding) -> str:
    """Say on how many edges and cuts a finding rests."""
    if finding.parts:
        return _in_cells(finding)
    media, edges, cuts = list(finding.edges), list(finding.edges.values()), list(finding.cuts.values())
    if len(media) == 1:
        return f"{count(edges[0], 'edge')}, {count(cuts[0], 'cut')}."
    if len({*edges}) == 1 and len({*cuts}) == 1:
        return f"{count(edges[0], 'edge')} each, {count(cuts[0], 'cut')} each."
    parts = [
        f"{clip(medium)} {count(number, 'edge')} and {count(finding.cuts[medium], 'cut')}"
        for medium, number in finding.edges.items()
    ]
    return sentence("; ".join(parts))


def _in_cells(finding: Finding) -> str:
    """Count edges and cuts in the four cells that a gap rests on."""
    cells = [(part, medium) for part in finding.parts for medium in part.edges]
    edges, cuts = {part.edges[medium] for part, medium in cells}, {part.cuts[medium] for part, medium in cells}
    if len(edges) == len(cuts) == 1:
        return f"{count(edges.pop(), 'edge')} and {count(cuts.pop(), 'cut')} in each of the four cells."
    return sentence("; ".join(
        f"{clip(medium)}, {clip(part.at)}: {count(part.edges[medium], 'edge')} and {count(part.cuts[medium], 'cut')}"
        for part, medium in cells
    ))  # fmt: skip


def more_edges(finding: Finding) -> str:
    """Say about how many more edges would settle an open claim."""
    each = " for each medium" if len(finding.edges) > 1 else ""
    each = " in each of the four cells" if finding.parts else each
    if finding.more_edges is not None:
        return (
            f"About {count(finding.more_edges, 'more edge')}{each} would settle it four times in five, "
            "if the spread stays as it is."
        )
    if finding.more_edges_capped:
        return (
            f"More than 1,000 more edges{each} would be needed: the result is too close to your number "
            "for more edges to settle it soon."
        )
    return "How many more edges would settle it cannot be said from these readings."


def second_opinion(second: SecondOpinion) -> str:
    """Say whether another way of judging agrees."""
    text = one_line(second.text)
    text = f"{text[0].lower()}{text[1:]}" if text else second.name
    if second.agrees:
        return sentence(f"A second opinion agrees: {text}")
    manner = "is not as sure" if second.outcome == "open" else "differs"
    return sentence(f"A second opinion {manner}: {text}")


def _for_statisticians(finding: Finding) -> str:
    """Give p value and degrees of freedom; a contradicted claim has no p value of interest."""
    if finding.finding == "contradicted":
        return "" if math.isnan(finding.df) else f"{degrees(finding.df)}."
    parts = [p_value(finding.p_adjusted)]
    if p_number(finding.p) != p_number(finding.p_adjusted):
        parts = [f"{parts[0]} among all primary claims, {p_number(finding.p)} alone"]
    parts += [] if math.isnan(finding.df) else [degrees(finding.df)]
    return f"Test: {'; '.join(parts)}."


def family(findings: Findings) -> list[str]:
    """Say how the primary claims share the error rate, and what that does to the intervals.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    list of str
        Sentences; none where there is one primary claim.
    """
    plan = findings.trial.plan
    primary = [finding for finding in findings.findings if finding.primary]
    alone = level_percent(1 - 2 * plan.alpha)
    if len(primary) < 2:
        return []
    if plan.family == "none":
        return [
            f"Each claim was judged by itself, with a {alone} interval. With {count(len(primary), 'claim')} the chance "
            f"that one of them is wrongly shown is larger than {level_percent(plan.alpha)}."
        ]
    return [
        f"The {len(primary)} primary claims share one error rate of {level_percent(plan.alpha)} by Holm's method. That "
        f"is why their intervals have levels of {_levels(primary)} instead of the {alone} of a claim alone: the more "
        "is claimed, the more it takes to show each."
    ]


def _levels(findings: Sequence[Finding]) -> str:
    levels = sorted({finding.level for finding in findings})
    ends = [level_percent(levels[0]), level_percent(levels[-1])]
    return ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


def other_notes(findings: Findings) -> list[str]:
    """Return the notes of all findings together that are not told in other words, each once."""
    common = [note for finding in findings.findings for note in finding.notes if note.code in _COMMON]
    notes = [note for note in (*findings.notes, *common) if note.code not in _TOLD]
    return list(dict.fromkeys(sentence(one_line(note)) for note in notes))
