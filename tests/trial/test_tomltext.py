from __future__ import annotations

import tomllib
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from sharpstats.trial.toml import parse_plan
from sharpstats.trial.tomltext import to_toml

TEXTS = st.text(st.characters(exclude_categories=("Cs",)), max_size=8)
SIMPLE = TEXTS | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False) | st.booleans() | st.dates()
INNER = st.recursive(SIMPLE, lambda one: st.lists(one, max_size=3) | st.dictionaries(TEXTS, one, max_size=3))
TABLES = st.dictionaries(TEXTS, INNER | st.lists(st.dictionaries(TEXTS, INNER, max_size=2), max_size=3), max_size=4)


@given(TABLES)
def test_what_is_written_reads_the_same(tables: dict[str, object]) -> None:
    assert tomllib.loads(to_toml(tables)) == tables


def test_the_plan_of_the_demo_comes_back(demo: Path) -> None:
    text = (demo / "trial.toml").read_text(encoding="utf-8")
    assert parse_plan(to_toml(tomllib.loads(text))) == parse_plan(text)
