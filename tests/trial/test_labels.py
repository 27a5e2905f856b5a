from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sharpstats.trial.labels import encode, key_of


@given(st.lists(st.text(max_size=3)))
def test_a_column_comes_back_from_its_codes(texts: list[str]):
    labels = encode(pd.Series(texts, dtype="str"))
    assert labels.column().tolist() == texts
    changed = labels.renamed([f"{text}!" for text in labels.texts])
    assert changed.column().tolist() == [f"{text}!" for text in texts]


def test_texts_that_become_the_same_are_put_together():
    labels = encode(pd.Series(["a", "b ", "b"], dtype="str")).renamed(["a", "b", "b"])
    assert labels.texts == ("a", "b")
    assert labels.codes.tolist() == [0, 1, 1]


def test_nothing_is_done_where_no_text_changes():
    labels = encode(pd.Series(["a", "b"], dtype="str"))
    assert labels.renamed(["a", "b"]) is labels


@pytest.mark.parametrize(
    ("one", "other"), [("Slate", " slate "), ("lapping  film", "Lapping\u00a0film"), ("50", "50.0"), ("ß", "SS")]
)
def test_spellings_of_one_label_have_one_key(one: str, other: str):
    assert key_of(one) == key_of(other)


@pytest.mark.parametrize(("one", "other"), [("50", "50.5"), ("a.0", "a"), ("slate", "slates"), ("1.0", "10")])
def test_different_labels_have_different_keys(one: str, other: str):
    assert key_of(one) != key_of(other)
