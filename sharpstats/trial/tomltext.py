"""A plan as TOML text, from the plain values that `tomllib` reads."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def to_toml(tables: Mapping[str, Any]) -> str:
    r"""Write a plan: single keys first, then its tables, then its lists of tables.

    Parameters
    ----------
    tables : mapping
        What `tomllib.loads` gave. Tables inside tables are written on one line.

    Returns
    -------
    str

    Examples
    --------
    >>> print(to_toml({"title": "A", "layout": {"cuts": 3}, "claim": [{"id": "a"}]}), end="")
    title = "A"
    <BLANKLINE>
    [layout]
    cuts = 3
    <BLANKLINE>
    [[claim]]
    id = "a"
    """
    lists = {key: value for key, value in tables.items() if _is_list_of_tables(value)}
    sections = {key: value for key, value in tables.items() if isinstance(value, Mapping)}
    parts = [_lines({key: value for key, value in tables.items() if key not in sections and key not in lists})]
    parts += [f"[{_key(key)}]\n{_lines(table)}" for key, table in sections.items()]
    parts += [f"[[{_key(key)}]]\n{_lines(table)}" for key, tables in lists.items() for table in tables]
    return "\n".join(part for part in parts if part)


def _is_list_of_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(one, Mapping) for one in value)


def _lines(table: Mapping[str, Any]) -> str:
    return "".join(f"{_key(key)} = {_value(value)}\n" for key, value in table.items())


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _text(name)


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def _value(value: Any) -> str:
    match value:
        case bool():
            return str(value).lower()
        case str():
            return _text(value)
        case Mapping():
            return "{ " + ", ".join(f"{_key(key)} = {_value(inner)}" for key, inner in value.items()) + " }"
        case list():
            return f"[{', '.join(map(_value, value))}]"
        case _:
            return str(value)
