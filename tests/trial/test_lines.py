"""The line finder: explicit cases, and agreement with tomllib on generated documents."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from itertools import count
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sharpstats.trial.lines import KeyPath, key_lines

DOCUMENT = '''\
# a comment = 1
title = "a # b"   # line 2

"quoted key".inner = 'x'   # 4
text = """
[not.a.table]
key = 1 \\""" still
"""
list = [   # 9
  "one", # with ] comment
  [ 1,
    2 ],
]
inline = { a = 1, b = { c = "}" }, "d.e" = [3] }   # 14

[factors] # 16
medium = ["slate",
          "plate"]
[layout.deep."er x"]   # 19
a.b = 1979-05-27 07:32:00

[[claim]]   # 22
id = "one"
[claim.where]   # 24
steel = "plain"
[[claim]]   # 26
id = "two"
[[claim.part]]   # 28
x = 1
[[claim.part]]   # 30
x = 2
'''

CASES: list[tuple[KeyPath, int]] = [
    (("title",), 2),
    (("quoted key",), 4),
    (("quoted key", "inner"), 4),
    (("text",), 5),
    (("list",), 9),
    (("list", 0), 10),
    (("list", 1), 11),
    (("list", 1, 1), 12),
    (("inline", "b", "c"), 14),
    (("inline", "d.e", 0), 14),
    (("factors",), 16),
    (("factors", "medium"), 17),
    (("factors", "medium", 1), 18),
    (("layout",), 19),
    (("layout", "deep", "er x"), 19),
    (("layout", "deep", "er x", "a", "b"), 20),
    (("claim",), 22),
    (("claim", 0), 22),
    (("claim", 0, "where", "steel"), 25),
    (("claim", 1), 26),
    (("claim", 1, "id"), 27),
    (("claim", 1, "part", 0), 28),
    (("claim", 1, "part", 1, "x"), 31),
]


@pytest.mark.parametrize(("path", "line"), CASES)
def test_finds_the_line_of(path: KeyPath, line: int) -> None:
    assert key_lines(DOCUMENT)[path] == line


def test_windows_line_ends_count_once() -> None:
    assert key_lines(DOCUMENT.replace("\n", "\r\n")) == key_lines(DOCUMENT)


def test_an_escaped_key_is_found_by_its_meaning() -> None:
    assert key_lines('"a\\u0062\\"" = 1') == {('ab"',): 1}


SCALARS = (
    "1",
    "-inf",
    "1_000.5e3",
    "true",
    "1979-05-27 07:32:00",
    "07:32:00",
    '""',
    "''",
    '"\\" # ] }"',
    "'\\'",
    '"""\n[x]\n# y = """',
    '"""a\\"""b"""',
    '"""two quotes"""""',
    "'''\n\n{ ] '' '''''",
    '"""\\\n   x"""',
)


@st.composite
def documents(draw: st.DrawFn) -> str:
    """Write documents in every style of TOML; no two keys have the same name."""
    numbers = count()

    def key() -> str:
        n = next(numbers)
        return draw(st.sampled_from([f"k{n}k", f'"k {n} # [k"', f"'k{n}.]=k'"]))

    def value(depth: int) -> str:
        kind = draw(st.sampled_from(["scalar", "scalar", "list", "table"])) if depth else "scalar"
        if kind == "scalar":
            return draw(st.sampled_from(SCALARS))
        size = draw(st.integers(0, 3))
        if kind == "table":
            return "{" + ", ".join(pair(depth - 1) for _ in range(size)) + "}"
        gap = draw(st.sampled_from(["", " ", "\n  ", " # , ] }\n"]))
        last = draw(st.sampled_from(["", ","])) if size else ""
        return "[" + gap + f"{gap},{gap}".join(value(depth - 1) for _ in range(size)) + gap + last + gap + "]"

    def pair(depth: int) -> str:
        dotted = " . ".join(key() for _ in range(draw(st.integers(1, 2))))
        return f"{dotted} = {value(depth)}"

    def header() -> list[str]:
        name = f"{key()}. {key()}"
        if draw(st.booleans()):
            return [f" [ {name} ] # [["]
        return [f"[[{name}]]", *(pair(1) for _ in range(draw(st.integers(0, 2)))), f"[[ {name} ]]"]

    rows: list[str] = []
    for _ in range(draw(st.integers(0, 6))):
        rows += draw(st.sampled_from([lambda: [pair(2)], header, lambda: ["", "# k = 1"]]))()
    return "\n".join(rows) + draw(st.sampled_from(["", "\n"]))


def paths(value: Any, path: KeyPath = ()) -> Iterator[KeyPath]:
    if path:
        yield path
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in inside:
        yield from paths(inner, (*path, key))


@given(documents())
def test_knows_every_key_that_tomllib_knows(document: str) -> None:
    lines = key_lines(document)
    assert set(lines) == set(paths(tomllib.loads(document)))
    rows = document.split("\n")
    for path, line in lines.items():
        if isinstance(path[-1], str):
            assert path[-1] in rows[line - 1]
            assert not any(path[-1] in row for row in rows[: line - 1])
