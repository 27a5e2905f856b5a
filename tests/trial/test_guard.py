from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sharpstats.trial.guard import guard, guard_column, unguard, unguard_column

RISKY = ["=1+1", "+cmd", "-cmd", "@sum", "\tx", "\rx", "\nx", "＝1", "-1+2", "=", "-", "- 5"]


@pytest.mark.parametrize("text", RISKY)
def test_what_a_spreadsheet_would_run_gets_an_apostrophe(text: str):
    assert guard(text) == f"'{text}"


@pytest.mark.parametrize("text", ["-5", "+5.5", "-1e3", "-0,5", "slate", "", "'tis", "5-6", " =1"])
def test_what_a_spreadsheet_would_not_run_stays(text: str):
    assert guard(text) == text


@given(st.text())
@example("'=1")
@example("''=1")
@example("'-5")
def test_unguard_undoes_guard(text: str):
    assert unguard(guard(text)) == text


@given(st.lists(st.one_of(st.sampled_from(RISKY), st.text(max_size=5)), max_size=8))
def test_columns_are_guarded_cell_by_cell(texts: list[str]):
    column = pd.Series(texts, dtype="str")
    guarded = guard_column(column)
    assert guarded.tolist() == [guard(text) for text in texts]
    assert unguard_column(guarded).tolist() == texts
