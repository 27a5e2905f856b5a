"""What would change a finding, in one sentence a claim."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sharpstats.claims.finding import Finding, Outcome
from sharpstats.claims.fragility import SCALE, SET_ASIDE, Changed, Fragility, Group
from sharpstats.words.blocks import Block, Line, Points
from sharpstats.words.findings import answered
from sharpstats.words.labels import clip, listing, one_line, sentence
from sharpstats.words.numbers import count

NAMED = 3
"""Edges or levels that a sentence names; more are counted."""
SCALES = {"as read": "with the readings analysed as read", "log": "with the readings analysed as logarithms"}


def fragility_blocks(fragility: Fragility) -> Iterator[Block]:
    """Tell what would change each finding, a point a claim."""
    told = [f"{clip(finding.says, 120)}: {what_changes(fragility, finding)}" for finding in fragility.findings.findings
            if answered(finding) and fragility.groups(finding.claim)]  # fmt: skip
    if told:
        yield Line(_introduction(fragility))
        yield Points(tuple(told))
    for note in fragility.notes:
        yield Line(sentence(one_line(note.text)))


def _introduction(fragility: Fragility) -> str:
    kinds = dict.fromkeys(one.change.kind for one in fragility.changed)
    left_out = [clip(kind) for kind in kinds if kind not in (SET_ASIDE, SCALE)]
    ways = [f"without each {listing(left_out)} in turn"] if left_out else []
    ways += ["with the rows put back that were set aside by hand"] if SET_ASIDE in kinds else []
    ways += ["on the other scale"] if SCALE in kinds else []
    return f"What would change the findings: the model was fitted and all claims were judged anew {listing(ways)}."


def what_changes(fragility: Fragility, finding: Finding) -> str:
    """Say what would change a finding, and what it stands firm against.

    Parameters
    ----------
    fragility : Fragility
    finding : Finding
        One of its findings.

    Returns
    -------
    str
        For example: "Shown; it would be open without edge e17 (one of 48); it stays shown without any one blade and
        with the readings analysed as read."
    """
    groups = fragility.groups(finding.claim)
    parts = [finding.finding, *_changes(groups), *_held(groups, finding.finding), *_unanswered(groups)]
    return sentence("; ".join(parts))


def _changes(groups: Sequence[Group]) -> Iterator[str]:
    """Say what changes the finding, outcome by outcome."""
    for outcome in ("shown", "open", "contradicted"):
        phrases = [_with(group, [one for one in group.other if one.finding == outcome]) for group in groups]
        if any(phrases):
            yield f"it would be {outcome} {listing([phrase for phrase in phrases if phrase], 'or')}"


def _with(group: Group, members: Sequence[Changed]) -> str:
    """Name the changes of one kind, in words that end a sentence."""
    if not members:
        return ""
    if group.kind == SCALE:
        return SCALES[members[0].change.name]
    if group.kind == SET_ASIDE:
        return _put_back(members[0])
    names, tried = [clip(one.change.name, 30) for one in members], len(group.members)
    kind = clip(group.kind)
    if len(names) == tried > 1:
        return f"without any one of the {count(tried, kind)}"
    if len(names) == 1:
        return f"without {kind} {names[0]} (one of {tried:,})"
    if len(names) <= NAMED:
        return f"without {kind} {listing(names, 'or')} ({len(names)} of {tried:,})"
    return f"without any one of {len(names):,} of the {count(tried, kind)} ({', '.join(names[:NAMED])} among them)"


def _put_back(one: Changed) -> str:
    number = int(one.change.name)
    return f"with the {count(number, 'row') if number > 1 else 'row'} set aside put back"


def _held(groups: Sequence[Group], finding: Outcome) -> Iterator[str]:
    """Say what the finding stands firm against, whole kinds of change only."""
    firm = [group for group in groups if not group.other and not group.unanswered]
    left_out = [clip(group.kind) for group in firm if group.kind not in (SET_ASIDE, SCALE)]
    phrases = [f"without any one {listing(left_out, 'or')}"] if left_out else []
    phrases += [_with(group, group.members) for group in firm if group.kind in (SET_ASIDE, SCALE)]
    if phrases:
        yield f"it stays {finding} {listing(phrases)}"


def _unanswered(groups: Sequence[Group]) -> Iterator[str]:
    """Say which changed trials cannot answer, and why not."""
    lost = [(group, group.unanswered) for group in groups if group.unanswered]
    if lost:
        phrases = [_with(group, members) for group, members in lost]
        yield f"{listing(phrases, 'or')} it cannot be judged"
