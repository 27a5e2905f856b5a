"""Names of operators and shops of a study, replaced in everything of it that is published.

They stand in its tables, and perhaps in its title. Unless the plan asks for names as written, they are called
"operator 1", "shop 1" and so on, in the order in which they first occur, in all its tables alike.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from sharpstats.tester.plan import StudyPublishing, TesterPlan
from sharpstats.trial.labelrules import NO_VALUE
from sharpstats.trial.pseudonyms import OPERATOR, Names, hidden, numbered
from sharpstats.trial.published import Rows, mended
from sharpstats.trial.tomltext import to_toml

SHOP = "shop"
REMARK = (
    "# Names of operators and shops are replaced in this published copy of the plan, and its remarks are left out.\n\n"
)
SENTENCES = ("title", "question", "name", "source")
"""Keys of a plan, and of what it says makes readings uncertain, that hold a person's own words."""
FEWEST_LETTERS = 2
"""Letters that a name has, to be looked for in sentences: a shorter one is a code, and perhaps an article as well."""


def public_names(tables: Mapping[str, Rows], publishing: StudyPublishing) -> dict[str, Names]:
    """Return what operators and shops are called in public: by column, then by name.

    Parameters
    ----------
    tables : mapping of str to Rows
        The tables of the study, in the order in which names are looked for.
    publishing : StudyPublishing

    Returns
    -------
    dict
        Without a column whose names the plan wants as written. Names that are such pseudonyms already stay.
    """
    wanted = {OPERATOR: publishing.operators, SHOP: publishing.shops}
    return {word: _called(word, tables) for word, how in wanted.items() if how == "pseudonyms"}


def _called(word: str, tables: Mapping[str, Rows]) -> Names:
    names = tuple(dict.fromkeys(name for rows in tables.values() for name in _occurring(rows, word)))
    if all(re.fullmatch(rf"{word} [1-9][0-9]*", name) for name in names):
        return {name: name for name in names}
    return numbered(word, names)


def _occurring(rows: Rows, word: str) -> Iterator[str]:
    """Yield the names in a column, rows that do not fit the header apart: anything may stand in their cells."""
    if word in rows.text.names:
        names = mended(rows, word, rows.is_used)[~rows.is_damaged].str.strip()
        yield from (name for name in names.unique() if name.casefold() not in NO_VALUE)


def sentence_names(names: Mapping[str, Names]) -> Names:
    """Return the names to be looked for in sentences: those that are changed, and long enough to be one."""
    changed = {name: called for column in names.values() for name, called in column.items() if name != called}
    return {name: called for name, called in changed.items() if sum(map(str.isalpha, name)) >= FEWEST_LETTERS}


def hidden_plan(plan: TesterPlan, names: Names) -> TesterPlan:
    """Return the plan with the title and the question that may be published."""
    return replace(plan, title=hidden(plan.title, names), question=hidden(plan.question, names))


def hidden_text(text: str, names: Names) -> str:
    r"""Return the text of a plan without the names; as it is where none of them stands in it.

    Examples
    --------
    >>> print(hidden_text('title = "Is Zoë steady?" # ask Zoë\n', {"Zoë": "operator 1"}).splitlines()[-1])
    title = "Is operator 1 steady?"
    """
    if hidden(text, names) == text:
        return text
    return REMARK + to_toml(_without(tomllib.loads(text), names))


def _without(table: dict[str, Any], names: Names) -> dict[str, Any]:
    """Return a table of a plan, and those in its lists, without the names in their sentences."""
    found = {key: hidden(value, names) if key in SENTENCES else value for key, value in table.items()}
    return found | {key: [_without(one, names) if isinstance(one, dict) else one for one in value]
                    for key, value in table.items() if isinstance(value, list)}  # fmt: skip
