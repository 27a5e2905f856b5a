"""Names of operators that a plan compares, replaced in everything of it that is published.

Where operators are a factor, their names stand in the plan: as levels, in claims, perhaps in a title.
Unless the plan asks for names as written, they are called "operator 1", "operator 2" and so on, in the
order in which the plan has them.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from sharpstats.trial.freeze import Freeze, plan_sha256
from sharpstats.trial.plan import Plan
from sharpstats.trial.spelling import tidy
from sharpstats.trial.tomltext import to_toml

OPERATOR = "operator"
REMARK = "# Names of operators are replaced in this published copy of the plan, and its remarks are left out.\n\n"
Names = Mapping[str, str]
"""Name of an operator -> what the operator is called in public."""


def public_names(plan: Plan, frozen: Freeze | None = None) -> Names:
    """Return what the operators of a plan are called in public; empty where nothing is to be replaced.

    Parameters
    ----------
    plan : Plan
    frozen : Freeze, optional
        What was frozen: earlier plans may have named others.

    Examples
    --------
    >>> public_names(Plan(title="", factors={"operator": ("Zoë", "Al")}))
    {'Zoë': 'operator 1', 'Al': 'operator 2'}
    """
    if plan.publishing.operators == "as written":
        return {}
    names = numbered(OPERATOR, planned(plan, frozen))
    return {} if all(name == public for name, public in names.items()) else names


def numbered(word: str, names: Iterable[str]) -> Names:
    """Call names "operator 1", "operator 2" and so on, in their order.

    Examples
    --------
    >>> numbered("shop", ["Zoë's", "Al's"])
    {"Zoë's": 'shop 1', "Al's": 'shop 2'}
    """
    return {name: f"{word} {number}" for number, name in enumerate(names, start=1)}


def planned(plan: Plan, frozen: Freeze | None) -> tuple[str, ...]:
    """Return the operators that the plan compares, then those that only an earlier one did."""
    chain = () if frozen is None else (*frozen.earlier, frozen)
    earlier = [name for freeze in chain for name in _operators(tomllib.loads(freeze.plan_text))]
    return tuple(dict.fromkeys((*plan.factors.get(OPERATOR, ()), *earlier)))


def hidden(text: str, names: Names, space: str = " ") -> str:
    """Replace names where they stand as words of their own, whatever their case.

    Examples
    --------
    >>> hidden("Zoë's edges are as Al's, not all", {"Zoë": "operator 1", "Al": "operator 2"})
    "operator 1's edges are as operator 2's, not all"
    """
    if not names:
        return text
    public = {name.casefold(): called.replace(" ", space) for name, called in names.items()}
    words = "|".join(re.escape(name) for name in sorted(names, key=len, reverse=True))
    pattern = rf"(?<![^\W_])(?:{words})(?![^\W_])"
    told = re.sub(pattern, lambda found: public.get(found[0].casefold(), OPERATOR), text, flags=re.IGNORECASE)
    return re.sub(rf"(?<![^\W_])([Aa]) (?={OPERATOR} \d)", r"\1n ", told)


def hidden_plan(plan: Plan, names: Names) -> Plan:
    """Return the plan with the title and the question that may be published."""
    return replace(plan, title=hidden(plan.title, names), question=hidden(plan.question, names))


def hidden_text(text: str, names: Names) -> str:
    r"""Return the text of a plan without the names: as levels, in claims, in its sentences and its remarks.

    Examples
    --------
    >>> text = 'title = "Zoë?" # not Al\n[factors]\noperator = ["Zoë", "Al"]\n'
    >>> print(hidden_text(text, {"Zoë": "operator 1", "Al": "operator 2"}).partition("\n\n")[2], end="")
    title = "operator 1?"
    <BLANKLINE>
    [factors]
    operator = ["operator 1", "operator 2"]
    """
    raw = tomllib.loads(text)
    for key in ("title", "question"):
        if key in raw:
            raw[key] = hidden(raw[key], names)
    if _operators(raw):
        raw["factors"][OPERATOR] = _called(raw["factors"][OPERATOR], names)
    raw |= {"claim": [_hidden_claim(claim, names) for claim in raw["claim"]]} if "claim" in raw else {}
    return REMARK + to_toml(raw)


def hidden_freeze(freeze: Freeze, names: Names) -> Freeze:
    """Return what was frozen without the names; its fingerprints are those of the texts that remain."""
    text = hidden_text(freeze.plan_text, names)
    earlier = tuple(hidden_freeze(one, names) for one in freeze.earlier)
    return replace(freeze, plan_text=text, plan_sha256=plan_sha256(text), reason=hidden(freeze.reason, names),
                   earlier=earlier)  # fmt: skip


def _operators(raw: Mapping[str, Any]) -> list[str]:
    return [tidy(name) for name in raw.get("factors", {}).get(OPERATOR, ())]


def _called(levels: list[str], names: Names) -> list[str]:
    return [names[tidy(level)] for level in levels]


def _hidden_claim(claim: Mapping[str, Any], names: Names) -> dict[str, Any]:
    changed = {**claim, "says": hidden(claim["says"], names), "id": hidden(claim["id"], names, space="-")}
    if OPERATOR in claim.get("where", ()):
        changed["where"] = {**claim["where"], OPERATOR: names[tidy(claim["where"][OPERATOR])]}
    if tidy(claim.get("across", "")) == OPERATOR and "levels" in claim:
        changed["levels"] = _called(claim["levels"], names)
    return changed
