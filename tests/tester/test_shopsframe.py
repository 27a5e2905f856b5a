"""What a table of shops must be: each refusal says what, where and what to do."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from sharpstats.errors import FitError
from sharpstats.tester.shopsframe import checked_shops


def table(**columns: object) -> pd.DataFrame:
    plain = {"shop": ["A", "A", "B", "B"], "batch": ["keen"] * 4, "cut": [1, 2, 1, 2], "reading": [90.0, 95, 100, 97]}
    return pd.DataFrame({**plain, **columns})


def test_what_is_used() -> None:
    found = checked_shops(table(note="x").set_index(np.array([7, 7, 3, 3])), "log")
    assert list(found.columns) == ["shop", "batch", "reading"]
    assert list(found.index) == [0, 1, 2, 3]


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ({"shop": "A", "cut": [1, 2, 3, 4]}, "A round robin compares shops, and here is one. Two are the fewest"),
        ({"shop": ["A", None, "B", "B"]}, "Row 2 of those used names no shop or no batch"),
        ({"batch": ["keen", "keen", "keen", None]}, "Row 4 of those used names no shop or no batch"),
        ({"reading": [90, 95, np.nan, 97]}, r"Shop B, batch keen \(row 3 of those used\): the reading is no number"),
        ({"reading": [90, np.inf, 100, 97]}, r"\(row 2 of those used\): the reading is no number"),
        ({"reading": [90, 95, 100, 0.0]}, r"\(row 4 of those used\): the reading is not above zero, and has no log"),
        ({"cut": [1, 1, 1, 2]}, "Shop A has cut 1 of batch keen more than once. Was a row copied twice"),
    ],
)
def test_refusals(columns: dict[str, object], says: str) -> None:
    with pytest.raises(FitError, match=says):
        checked_shops(table(**columns), "log")


def test_an_empty_table() -> None:
    with pytest.raises(FitError, match="here is none"):
        checked_shops(table().head(0), "log")


def test_as_read_bears_zero_and_less() -> None:
    assert len(checked_shops(table(reading=[0.0, -1, 2, 3]), "as read")) == 4


def test_cuts_without_numbers_are_no_copies() -> None:
    assert len(checked_shops(table(cut=[None, None, 1, 2]), "log")) == 4


def test_wrong_arguments() -> None:
    with pytest.raises(ValueError, match="batch not found"):
        checked_shops(table().drop(columns="batch"), "log")
    with pytest.raises(ValueError, match='must be "log" or "as read", got \'linear\''):
        checked_shops(table(), "linear")  # type: ignore[arg-type]
