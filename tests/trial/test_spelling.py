"""Words for choices: what is proposed, and how values are shown."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sharpstats.trial.spelling import closest, did_you_mean, listed, quoted, suggest

MEDIA = ("oilstone", "roofing slate", "lapping film", "diamond plate")


@pytest.mark.parametrize(
    ("word", "meant"),
    [
        ("oilstne", "oilstone"),
        ("Oilstone ", "oilstone"),
        ("SLATE", "roofing slate"),
        ("film", "lapping film"),
        ("l", None),  # part of every one
        ("quartz", None),
        ("", None),
        (" ", None),
        ("x" * 100_000, None),
    ],
)
def test_closest_is_what_was_probably_meant(word: str, meant: str | None) -> None:
    assert closest(word, MEDIA) == meant


def test_without_a_near_option_all_are_named() -> None:
    assert did_you_mean("quartz", MEDIA) == ""
    assert suggest("quartz", MEDIA) == 'Known: "oilstone", "roofing slate", "lapping film", "diamond plate".'
    assert suggest("quartz", ()) == ""


def test_three_options_in_a_sentence() -> None:
    assert listed("abc", last="and") == '"a", "b" and "c"'
    assert listed(["a"]) == '"a"'


@given(st.recursive(st.text() | st.integers() | st.floats() | st.booleans(), st.lists, max_leaves=5))
def test_a_quoted_value_is_one_short_line(value: object) -> None:
    shown = quoted(value)
    assert shown
    assert len(shown) <= 6 * 60 + 2  # an escaped character is up to six long
    assert not [sign for sign in shown if sign < " "]
