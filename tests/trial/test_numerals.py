from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sharpstats.trial.numerals import parse_number, plain_numbers, read_numbers

NBSP, THIN, NARROW = "\u00a0", "\u2009", "\u202f"


@pytest.mark.parametrize(
    ("text", "value", "repair"),
    [
        ("152,5", 152.5, "decimal-comma"),
        ("0,150", 0.150, "decimal-comma"),
        (",5", 0.5, "decimal-comma"),
        ("1.520,5", 1520.5, "digit-groups"),
        ("1,520.5", 1520.5, "digit-groups"),
        ("1 520", 1520, "digit-groups"),
        (f"1{NBSP}520,5", 1520.5, "digit-groups"),
        (f"1{THIN}520", 1520, "digit-groups"),
        (f"1{NARROW}520", 1520, "digit-groups"),
        ("1,520,000", 1_520_000, "digit-groups"),
        ("'152", 152, "space-or-apostrophe"),
        (f"{NBSP}152 ", 152, "space-or-apostrophe"),
        ("−3", -3, ""),
        ("1,5e2", 150, "decimal-comma"),
    ],
)
def test_numbers_are_read_as_people_write_them(text: str, value: float, repair: str):
    number = parse_number(text)
    assert (number.value, number.repair, number.problem) == (pytest.approx(value), repair, "")


@pytest.mark.parametrize(("text", "unit"), [("152 g", "g"), ("152gf", "gf"), ("1,5 N", "N"), ("12 min", "min")])
def test_a_unit_behind_a_number_is_kept(text: str, unit: str):
    assert parse_number(text).unit == unit


@pytest.mark.parametrize("text", [">1500", "> 1500", "≥1500", ">= 1500", "'>1500", "> 1 500", ">1500 gf"])
def test_limits_are_over_range(text: str):
    number = parse_number(text)
    assert (number.value, number.over, number.problem) == (1500, True, "")


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "blank"),
        (f" {NBSP}", "blank"),
        ("'", "blank"),
        ("sharp", "not-a-number"),
        ("over 1500", "not-a-number"),
        ("1S2", "not-a-number"),
        ("152 153", "not-a-number"),
        ("1 52", "not-a-number"),
        ("12.34.56", "not-a-number"),
        ("1,2,3", "not-a-number"),
        ("1.2.3,4", "not-a-number"),
        ("152..5", "not-a-number"),
        ("5-6", "not-a-number"),
        ("2026-06-05", "not-a-number"),
        ("NaN", "not-finite"),
        ("-inf", "not-finite"),
        ("∞", "not-finite"),
        ("1e999", "not-finite"),
        ("<50", "under-range"),
        ("#N/A", "spreadsheet-error"),
        ("#ref!", "spreadsheet-error"),
        ("=A1+1", "formula"),
        ("1,500", "ambiguous-number"),
    ],
)
def test_what_is_no_number_is_told_by_its_kind(text: str, problem: str):
    number = parse_number(text)
    assert number.problem == problem
    assert math.isnan(number.value)


@pytest.mark.parametrize(
    ("texts", "values"),
    [
        (["1,500", "152,5"], [1.5, 152.5]),  # another text shows a decimal comma
        (["1,500", "152.5"], [1500, 152.5]),  # another text shows a decimal point
        (["1,500", "980"], [math.nan, 980]),  # nothing tells
        (["1,500", "152.5", "152,5"], [math.nan, 152.5, 152.5]),  # both: nothing tells
        (["1.500", "152,5"], [math.nan, 152.5]),  # thousands where decimals are commas?
        (["1.500", "152.5"], [1.5, 152.5]),
        (["1.500", "980"], [1.5, 980]),
    ],
)
def test_three_digits_behind_a_sign_are_read_by_the_rest_of_the_column(texts: list[str], values: list[float]):
    np.testing.assert_array_equal(read_numbers(texts).value, values)


@pytest.mark.parametrize(
    ("texts", "values"),
    [(["1,500", "980"], [1.5, 980]), (["1.500", "980"], [math.nan, 980]), (["1.493", "1.502"], [1.493, 1.502])],
)
def test_a_file_with_decimal_commas_tells_too(texts: list[str], values: list[float]):
    np.testing.assert_array_equal(read_numbers(texts, decimal_comma=True).value, values)


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1))
def test_plain_numbers_are_read_exactly(values: list[float]):
    texts = [repr(value) for value in values]
    assert read_numbers(texts).value.tolist() == values
    assert plain_numbers(pd.Series(texts, dtype="str")).tolist() == values  # type: ignore[union-attr]


@given(st.text())
def test_any_text_is_a_number_or_has_a_problem(text: str):
    number = parse_number(text)
    assert (number.problem == "") == math.isfinite(number.value)


@given(st.lists(st.text(max_size=8)), st.booleans())
def test_a_column_is_read_like_its_cells(texts: list[str], decimal_comma: bool):
    numbers = read_numbers(texts, decimal_comma=decimal_comma)
    assert ((numbers.problem == "") == np.isfinite(numbers.value)).all()
