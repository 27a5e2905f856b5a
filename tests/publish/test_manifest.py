"""`results.json`: plain data, strict JSON, and a comparison that sees every change."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sharpstats.notes import Note
from sharpstats.publish.manifest import Rerun, compare
from sharpstats.publish.plain import plain, to_json

NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
TREES = st.recursive(
    st.none() | st.booleans() | st.integers() | NUMBERS | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
)


def test_what_json_does_not_know_becomes_what_it_knows() -> None:
    given_values = {
        "nan": math.nan, "endless": -math.inf, "numpy": np.float64(1.5), "count": np.int64(3),
        "truth": np.True_, "array": np.array([1.0, np.nan]), "note": Note("code", "Text."), 5: ("a", "b"),
    }  # fmt: skip
    assert plain(given_values) == {
        "nan": None, "endless": None, "numpy": 1.5, "count": 3,
        "truth": True, "array": [1.0, None], "note": {"code": "code", "text": "Text."}, "5": ["a", "b"],
    }  # fmt: skip


def test_what_has_no_plain_form_is_refused() -> None:
    with pytest.raises(TypeError, match=r"results\.json cannot hold a object"):
        plain({"thing": object()})


@given(TREES)
def test_plain_data_stays_as_it_is_and_is_strict_json(tree: object) -> None:
    assert plain(tree) == tree
    assert json.loads(to_json(tree)) == tree


@settings(max_examples=25)
@given(st.dictionaries(st.text(min_size=1), TREES, max_size=5))
def test_a_result_is_the_same_as_itself(tree: dict[str, object]) -> None:
    assert compare(tree, json.loads(to_json(tree))).differences == ()


def test_each_difference_is_told_with_its_place() -> None:
    stored = {"findings": [{"finding": "shown", "p": 0.01}], "notes": ["one"]}
    fresh = {"findings": [{"finding": "open", "p": 0.01}], "notes": []}
    assert compare(stored, fresh) == Rerun(
        3, ("findings.0.finding: shown stored, open now", "notes.0: one stored, nothing now")
    )


def test_the_last_digits_may_differ_and_others_may_not() -> None:
    assert not compare({"p": 0.25}, {"p": 0.25 * (1 + 1e-9)}).differences
    assert compare({"p": 0.25}, {"p": 0.25 * (1 + 1e-5)}).differences


@pytest.mark.parametrize(("old", "new"), [(1, True), (None, 0), (0.0, None), ("1", 1), (1.5, "1.5")])
def test_values_of_another_kind_differ(old: object, new: object) -> None:
    assert len(compare({"x": old}, {"x": new}).differences) == 1


def test_other_versions_are_no_difference() -> None:
    stored = {"provenance": {"versions": {"numpy": "1"}}, "p": 0.5}
    assert compare(stored, {"provenance": {"versions": {"numpy": "2"}}, "p": 0.5}) == Rerun(1, ())


def test_a_rerun_says_what_came_of_it() -> None:
    assert str(Rerun(0, ())).startswith("results.json written.")
    assert str(Rerun(7, ())) == "The same results as in results.json: 7 numbers and texts compared."
    differs = Rerun(7, ("p: 0.01 stored, 0.02 now",))
    assert str(differs).splitlines()[0] == "1 of 7 numbers and texts differ from results.json:"
    assert "<li>p: 0.01 stored, 0.02 now</li>" in differs._repr_html_()


def test_a_rerun_shows_labels_as_letters() -> None:
    assert "<script>" not in Rerun(1, ("x: <script>hit()</script> stored, y now",))._repr_html_()
