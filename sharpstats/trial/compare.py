"""Two plans compared: a sentence for each thing that was and is different."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import fields
from math import isclose
from typing import Any

from sharpstats.trial.plan import Claim, Layout, Level, Plan, Publishing
from sharpstats.units import Quantity

_NAMES = {"files": "readings"}  # fields whose key in the file has another name


def plan_differences(was: Plan, now: Plan) -> tuple[str, ...]:
    """Say how the plan `now` differs from the one that `was`.

    Claims belong together by their id; their order does not count. Nor does the unit in which
    a force is written.

    Examples
    --------
    >>> was = Plan(title="A or B?", factors={"medium": ("A", "B")})
    >>> plan_differences(was, Plan(title="A or B?", factors={"medium": ("A", "B", "C")}))
    ('`factors.medium` was "A", "B" and is "A", "B", "C".',)
    """
    return (*_changes(_keys(was), _keys(now)), *_claim_changes(was.claims, now.claims))


def _claim_changes(was: tuple[Claim, ...], now: tuple[Claim, ...]) -> Iterator[str]:
    before = {claim.id: claim for claim in was}
    after = {claim.id: claim for claim in now}
    for name in dict.fromkeys((*before, *after)):
        if name not in after:
            yield f"Claim {_words(name)} was taken out: {before[name].says}"
        elif name not in before:
            yield f"Claim {_words(name)} was added: {after[name].says}"
        else:
            for change in _changes(_keys(before[name]), _keys(after[name])):
                yield f"Claim {_words(name)}: {change}"


def _changes(was: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[str]:
    for key in dict.fromkeys((*was, *now)):
        old, new = was.get(key), now.get(key)
        if not _same(old, new):
            yield f"`{key}` was {_words(old)} and is {_words(new)}."


def _keys(thing: Plan | Layout | Publishing | Claim, under: str = "") -> dict[str, Any]:
    """Return the keys of a table as they are written in the plan, with their values."""
    found: dict[str, Any] = {"kind": thing.kind} if isinstance(thing, Claim) else {}
    for field in fields(thing):
        value, key = getattr(thing, field.name), under + _NAMES.get(field.name, field.name)
        if field.name == "claims" or not field.compare:
            continue
        if isinstance(value, Layout | Publishing):
            found |= _keys(value, f"{key}.")
        elif isinstance(value, Mapping):
            found |= {f"{key}.{name}": inner for name, inner in value.items()}
        elif isinstance(thing, Plan) and field.name == "levels":
            found |= {f"{key}.{level.name}": level.reading for level in value}
        else:
            found[key] = value
    return found


def _same(old: Any, new: Any) -> bool:
    if isinstance(old, Level) and isinstance(new, Level):
        return old.name == new.name and _same(old.reading, new.reading)
    if isinstance(old, Quantity) and isinstance(new, Quantity) and "%" not in (old.unit, new.unit):
        return isclose(old.to("gf").value, new.to("gf").value, rel_tol=1e-9)
    return bool(old == new)


def _words(value: Any) -> str:
    match value:
        case None | "" | ():
            return "not given"
        case Level():
            reading = str(value.reading)
            return _words(value.name if value.name == reading else f"{value.name} ({reading})")
        case Quantity():
            return _words(str(value))
        case tuple():
            return ", ".join(" x ".join(one) if isinstance(one, tuple) else _words(one) for one in value)
        case _:
            return json.dumps(value, ensure_ascii=False)
