"""The claims of a plan: which keys each kind has, and what may stand in them.

A new kind of claim needs its dataclass in `plan.py`, with a place in `CLAIM_KINDS`: its
fields are its keys. A key that no other kind has gets its entry in `claim_keys`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from functools import partial

from sharpstats.errors import PlanError
from sharpstats.trial.claimvalues import (
    Ground,
    claim_id,
    difference_from_zero,
    level,
    margin_above_zero,
    medium,
    percent_from_zero,
    share,
    where,
)
from sharpstats.trial.gapvalues import across, complete_gap, two_levels
from sharpstats.trial.item import Item, Key, folded, list_of, read_table, report_repeats
from sharpstats.trial.plan import CLAIM_KINDS, Claim, Steadier
from sharpstats.trial.plankeys import unknown_in_plan
from sharpstats.trial.spelling import listed, quoted, tidy
from sharpstats.trial.values import choice, table, text, yes_no
from sharpstats.units import Quantity

KINDS: Mapping[str, type[Claim]] = {kind.kind: kind for kind in CLAIM_KINDS}
"""The word for each kind of claim in a plan."""

INSTEAD: Mapping[str, str] = {"margin": "by", "by": "margin"}
"""Keys that are easily taken for each other: a kind has one of them or the other."""


def claim_keys(ground: Ground) -> dict[str, Key]:
    """Return every key that a claim of some kind may have."""
    margin = '"15 %"' if ground.difference_unit == "%" else f'"15 {ground.unit}"'
    keys = (
        Key(name="id", read=claim_id, example='"slate-as-plate"', required=True),
        Key(name="says", read=text, example='"Slate reaches the same edge as the plate"', required=True),
        Key(name="kind", read=choice(KINDS), example='"same"', required=True),
        Key(name="medium", read=partial(medium, ground=ground), example='"roofing slate"', required=True),
        Key(name="than", read=partial(medium, ground=ground), example='"diamond plate"', required=True),
        Key(name="margin", read=partial(margin_above_zero, ground=ground), example=margin, required=True),
        Key(name="across", read=partial(across, ground=ground), example='"operator"', required=True),
        Key(name="levels", read=two_levels, example='["learner", "practised"]'),
        Key(name="depends", read=yes_no, example="true"),
        Key(name="by", read=partial(difference_from_zero, ground=ground), example=margin),
        Key(name="level", read=partial(level, ground=ground), example='"150 gf"', required=True),
        Key(name="share", read=share, example='"90 %"', required=True),
        Key(name="where", read=partial(where, ground=ground), example='{ steel = "stainless" }'),
        Key(name="primary", read=yes_no, example="false"),
    )
    return {key.name: key for key in keys}


def keys_of(kind: type[Claim]) -> tuple[str, ...]:
    """Return the keys that a kind of claim has in a plan.

    Examples
    --------
    >>> keys_of(KINDS["keener"])
    ('kind', 'id', 'says', 'medium', 'where', 'primary', 'than', 'by')
    """
    return ("kind", *(field.name for field in fields(kind) if field.name != "line"))


def kind_of(raw: object) -> type[Claim] | None:
    """Return the kind of a claim as it stands in the file, or None if there is no such kind."""
    word = raw.get("kind") if isinstance(raw, dict) else None
    return KINDS.get(tidy(word)) if isinstance(word, str) else None


def compares(raw: object) -> bool:
    """Return whether a claim, as it stands in the file, is about two media.

    Examples
    --------
    >>> compares({"kind": "same"}), compares({"kind": "reaches"})
    (True, False)
    """
    kind = kind_of(raw)
    return isinstance(raw, dict) and ("than" in raw or (kind is not None and "than" in keys_of(kind)))


def read_claims(item: Item, *, ground: Ground) -> tuple[Claim, ...]:
    """Read `[[claim]]`, the list of claims."""
    if not isinstance(item.raw, list):
        mend = "Write [[claim]], with two brackets on each side."
        raise item.wrong("wrong-type", "`claim` must be a list of tables.", mend)
    claims = list_of(partial(_read_claim, ground=ground))(item)
    ids = [claim.child("id") for claim in item.children() if isinstance(claim.raw, dict) and "id" in claim.raw]
    report_repeats(ids, "duplicate-id", "Give each claim its own id; capitals do not count.", same=folded)
    return claims


def _read_claim(item: Item, *, ground: Ground) -> Claim | None:
    before = len(table(item).problems)
    kind = kind_of(item.raw)
    names = keys_of(kind) if kind else tuple(claim_keys(ground))
    keys = _keys(item, names, ground)
    values = read_table(item, keys, unknown=partial(_stray_key, names=names))
    if "than" in values and values["than"] == values.get("medium"):
        item.report(_same_medium(item.child("than")))
    if "across" in values:
        complete_gap(item, values, ground=ground)
    needed = {key.name for key in keys if key.required} | ({"levels"} & set(names))
    complete = needed <= set(values)
    if kind is None or not complete or len(item.problems) > before:
        return None
    if "by" in names:
        values.setdefault("by", Quantity(0.0, "%" if kind is Steadier else ground.difference_unit))
    del values["kind"]
    return kind(**values, line=item.line)


def _keys(item: Item, names: tuple[str, ...], ground: Ground) -> list[Key]:
    """Return the keys of a claim. One is not missing too where its like stands in its place."""
    known = claim_keys(ground)
    if item.raw.get("depends") is True:  # "it depends at all" is a claim, "it differs by less than nothing" is none
        known["margin"] = replace(known["margin"], read=partial(difference_from_zero, ground=ground))
    if kind_of(item.raw) is Steadier:  # spreads are compared as ratios on either scale, whether or not means interact
        known["by"] = replace(known["by"], read=percent_from_zero, example='"20 %"')
        known["where"] = replace(known["where"], read=partial(where, ground=ground, differences=False))
    common = keys_of(kind_of(item.raw) or Claim)
    mistaken = {INSTEAD[name] for name in item.raw if name in INSTEAD and name not in names}
    return [
        replace(known[name], required=known[name].required and name in common and name not in mistaken)
        for name in names
    ]


def _stray_key(item: Item, names: tuple[str, ...]) -> PlanError:
    owners = [word for word, kind in KINDS.items() if item.name in keys_of(kind)]
    if not owners:
        return unknown_in_plan(item, names)
    like = INSTEAD.get(item.name)
    other = f"Take it out, or change `kind` to {listed(owners)}."
    mend = f"Write `{like}` instead." if like in names else other
    return item.wrong("wrong-key", f"A claim of this kind has no `{item.name}`.", mend)


def _same_medium(item: Item) -> PlanError:
    return item.wrong(
        "same-medium", f"The claim compares {quoted(item.raw)} with itself.", "Name another medium in `than`."
    )
