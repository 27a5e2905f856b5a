"""What would change a finding, in one sentence a claim."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sharpstats.claims.finding import Finding
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
    told = [
        f"{clip(finding.says, 120)} ({finding.finding}): {what_changes(fragility, finding)}"
        for finding in fragility.findings.findings
        if answered(finding) and fragility.groups(finding.claim)
    ]
    if told:
        yield Line(_introduction(fragility))
        yield Points(tuple(told))
    for note in fragility.notes:
        yield Line(sentence(one_line(note.text)))


def _introduction(fragility: Fragility) -> str:
    first = {one.change.kind: one for one in reversed(fragility.changed)}
    kinds = dict.fromkeys(one.change.kind for one in fragility.changed)
    left_out = [clip(kind) for kind in kinds if kind not in (SET_ASIDE, SCALE)]
    ways = [f"without each {listing(left_out)} in turn"] if left_out else []
    ways += [_otherwise(first[kind]) for kind in kinds if kind in (SET_ASIDE, SCALE)]
    return f"What would change the findings? Every claim was judged anew {listing(ways)}."


def what_changes(fragility: Fragility, finding: Finding) -> str:
    """Say what would change a finding.

    Parameters
    ----------
    fragility : Fragility
    finding : Finding
        One of its findings.

    Returns
    -------
    str
        For example: "would change to open without edge e17 (one of 48); otherwise it stays shown."
    """
    groups = fragility.groups(finding.claim)
    parts = [*_changes(groups), *_unanswered(groups)]
    if not parts:
        return f"stays {finding.finding} under every change."
    if any(one.finding == finding.finding for group in groups for one in group.members):
        parts.append(f"otherwise it stays {finding.finding}")
    return f"{'; '.join(parts)}."


def _changes(groups: Sequence[Group]) -> Iterator[str]:
    """Say what changes the finding, outcome by outcome."""
    for outcome in ("shown", "open", "contradicted"):
        members = [[one for one in group.other if one.finding == outcome] for group in groups]
        if any(members):
            yield f"would change to {outcome} {_when(groups, members)}"


def _unanswered(groups: Sequence[Group]) -> Iterator[str]:
    """Say which changed trials cannot answer."""
    members = [group.unanswered for group in groups]
    if any(members):
        yield f"could not be judged {_when(groups, members)}"


def _when(groups: Sequence[Group], members: Sequence[Sequence[Changed]]) -> str:
    """Name some changes of each kind, in words that end a sentence."""
    named = [(group, some) for group, some in zip(groups, members, strict=True) if some]
    lost = [_left_out(group, some) for group, some in named if group.kind not in (SET_ASIDE, SCALE)]
    ways = [f"without {listing(lost, 'or')}"] if lost else []
    ways += [_otherwise(some[0]) for group, some in named if group.kind in (SET_ASIDE, SCALE)]
    return listing(ways, "or")


def _left_out(group: Group, members: Sequence[Changed]) -> str:
    tried, kind = len(group.members), clip(group.kind)
    names = [clip(one.change.name, 30) for one in members]
    if len(names) == tried > 1:
        return f"any one of the {count(tried, kind)}"
    if len(names) > NAMED:
        return f"any one of {len(names):,} of the {count(tried, kind)} ({', '.join(names[:NAMED])} among them)"
    said = "" if all(name.startswith(kind) for name in names) else f"{kind} "
    return f"{said}{listing(names, 'or')} ({'one' if len(names) == 1 else len(names)} of {tried:,})"


def _otherwise(one: Changed) -> str:
    """Name a change that leaves nothing out."""
    if one.change.kind == SCALE:
        return SCALES[one.change.name]
    number = int(one.change.name)
    return f"with the {count(number, 'row') if number > 1 else 'row'} set aside put back"
