"""Value -> text, as tables."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sharpstats.trial.plan import Scale
from sharpstats.units import Quantity
from sharpstats.words import numbers

NAN, INF = math.nan, math.inf
UNITS = st.sampled_from(["gf", "N", "%"])
ANY = st.floats(-1e6, 1e6)


def plain(text: str) -> str:
    """The text with ordinary spaces, to keep the tables below legible."""
    return text.replace(numbers.NBSP, " ")


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (152.34, 0, "152"), (152.34, 1, "152.3"), (-0.04, 1, "0.0"), (-0.0, 0, "0"), (-0.6, 0, "-1"), (0.5, 1, "0.5"),
        (NAN, 1, "unknown"), (None, 1, "unknown"), (INF, 0, "no upper limit"), (-INF, 0, "no lower limit"),
    ],
)  # fmt: skip
def test_fixed(value: float | None, decimals: int, text: str) -> None:
    assert numbers.fixed(value, decimals) == text


@pytest.mark.parametrize(
    ("width", "unit", "decimals"),
    [
        (12.0, "%", 0), (5.0, "%", 0), (4.9, "%", 1), (0.3, "%", 1), (200.0, "gf", 0), (3.0, "gf", 1), (0.2, "gf", 1),
        (0.3, "N", 2), (0.04, "N", 3), (1e-6, "N", 3), (None, "gf", 0), (None, "N", 2), (INF, "gf", 0), (0.0, "%", 0),
        (NAN, "%", 0),
    ],
)  # fmt: skip
def test_decimals_follow_the_unit_and_the_width(width: float | None, unit: numbers.Unit, decimals: int) -> None:
    assert numbers.decimals_for(width, unit) == decimals


@pytest.mark.parametrize(
    ("pair", "decimals"),
    [
        ((14.98, 15.0), 2), ((14.4, 15.0), 0), ((15.0, 15.0), 0), ((14.9996, 15.0), 4), ((None, 15.0), 0),
        ((INF, 15.0), 0),
    ],
)
def test_a_limit_near_the_margin_gets_digits_that_tell_them_apart(
    pair: tuple[float | None, float | None], decimals: int
) -> None:
    assert numbers.decimals_for(12.0, "%", [pair]) == decimals


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (152.0, "gf", "152 gf"), (1.4912, "N", "1.49 N"), (4.2, "%", "4 %"), (0.31, "%", "0.3 %"),
        (0.04, "%", "0.04 %"),
        (0.4, "gf", "0.4 gf"), (0.004, "N", "0.004 N"), (0.0, "%", "0 %"), (-12.3, "gf", "-12 gf"),
        (1500.0, "gf", "1500 gf"),
        (None, "gf", "unknown"), (NAN, "%", "unknown"), (INF, "gf", "no upper limit"),
    ],
)  # fmt: skip
def test_amount(value: float | None, unit: numbers.Unit, text: str) -> None:
    assert plain(numbers.amount(value, unit)) == text


def test_a_number_and_its_unit_stay_on_one_line() -> None:
    joined = (numbers.amount(4.0, "%"), numbers.count(16, "edge"), numbers.degrees(11.0), numbers.level_percent(0.9))
    assert all(" " not in text.removesuffix(" of freedom") and numbers.NBSP in text for text in joined)


@pytest.mark.parametrize(
    ("quantity", "text"),
    [
        (Quantity(15.0, "%"), "15 %"), (Quantity(7.5, "%"), "7.5 %"), (Quantity(0.25, "N"), "0.25 N"),
        (Quantity(200.0, "gf").to("N"), "1.961 N"), (Quantity(25.0, "gf"), "25 gf"), (Quantity(0.0, "%"), "0 %"),
    ],
)  # fmt: skip
def test_what_a_person_stated_keeps_its_digits(quantity: Quantity, text: str) -> None:
    assert plain(numbers.stated(quantity)) == text


@pytest.mark.parametrize(
    ("value", "unit", "decimals", "text"),
    [
        (4.2, "%", None, "4 % higher"), (-12.0, "gf", None, "12 gf lower"),
        (0.2, "gf", 0, "the same to within rounding"),
        (-0.004, "%", 1, "the same to within rounding"), (0.0, "N", None, "the same to within rounding"),
        (-0.31, "N", None, "0.31 N lower"), (NAN, "%", None, "unknown"), (2.04, "%", 1, "2.0 % higher"),
    ],
)  # fmt: skip
def test_difference(value: float, unit: numbers.Unit, decimals: int | None, text: str) -> None:
    assert plain(numbers.difference(value, unit, decimals)) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (-2.0, 10.0, "2 % lower to 10 % higher"), (1.0, 12.0, "1 % to 12 % higher"), (-15.0, -1.0, "1 % to 15 % lower"),
        (0.0, 10.0, "0 % to 10 % higher"), (-10.0, 0.0, "0 % to 10 % lower"), (-0.2, 10.0, "0 % to 10 % higher"),
        (-10.0, 0.3, "0 % to 10 % lower"), (-INF, 10.0, "up to 10 % higher"), (-12.0, INF, "from 12 % lower upwards"),
        (None, None, "no limit on either side"), (NAN, NAN, "no limit on either side"),
        (-0.01, 0.01, "the same to within rounding"),
    ],
)  # fmt: skip
def test_span(low: float | None, high: float | None, text: str) -> None:
    assert plain(numbers.span(low, high, "%")) == text


def test_an_interval_says_its_level() -> None:
    assert plain(numbers.interval(-2.0, 10.0, "%", 0.9)) == "90 % interval: 2 % lower to 10 % higher"


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        (141.2, 160.0, "141 gf to 160 gf"), (141.2, 143.0, "141.2 gf to 143.0 gf"), (141.2, INF, "141 gf or more"),
        (-INF, 160.0, "160 gf or less"), (None, None, "no limit on either side"),
    ],
)  # fmt: skip
def test_amounts(low: float | None, high: float | None, text: str) -> None:
    assert plain(numbers.amounts(low, high, "gf")) == text


@pytest.mark.parametrize(
    ("level", "text"),
    [
        (0.9, "90 %"), (0.95, "95 %"), (0.975, "97.5 %"), (1 - 0.1 / 6, "98.3 %"), (0.9875, "98.75 %"),
        (0.9995, "99.95 %"),
    ],
)
def test_level(level: float, text: str) -> None:
    assert plain(numbers.level_percent(level)) == text


@pytest.mark.parametrize(
    ("p", "text"),
    [
        (0.03, "p = 0.03"), (0.0312, "p = 0.031"), (0.0496, "p = 0.0496"), (0.05, "p = 0.05"), (0.0504, "p = 0.05"),
        (0.00999, "p = 0.00999"), (0.00004, "p < 0.001"), (0.001, "p = 0.001"), (0.34567, "p = 0.35"),
        (0.999, "p > 0.99"),
        (1.0, "p > 0.99"), (0.0, "p < 0.001"), (NAN, "p unknown"), (None, "p unknown"),
    ],
)  # fmt: skip
def test_p_value(p: float | None, text: str) -> None:
    assert numbers.p_value(p) == text


@pytest.mark.parametrize(
    ("number", "noun", "text"),
    [
        (16, "edge", "16 edges"), (1, "edge", "1 edge"), (0, "cut", "0 cuts"), (1250, "cut", "1,250 cuts"),
        (2, "medium", "2 media"), (3, "control edge", "3 control edges"), (17, "more edge", "17 more edges"),
    ],
)  # fmt: skip
def test_count(number: int, noun: str, text: str) -> None:
    assert plain(numbers.count(number, noun)) == text


@pytest.mark.parametrize(
    ("df", "text"),
    [
        (11.0, "11 degrees of freedom"), (11.34, "11.3 degrees of freedom"), (1.0, "1 degree of freedom"),
        (482.7, "483 degrees of freedom"), (INF, "unlimited degrees of freedom"), (NAN, "unknown degrees of freedom"),
    ],
)  # fmt: skip
def test_degrees_of_freedom(df: float, text: str) -> None:
    assert plain(numbers.degrees(df)) == text


@pytest.mark.parametrize(
    ("value", "scale", "text"),
    [(0.08, "log", "8 %"), (12.0, "as read", "12 gf"), (0.0, "log", "0 %"), (None, "log", "unknown")],
)
def test_standard_deviation(value: float | None, scale: Scale, text: str) -> None:
    assert plain(numbers.sd(value, scale, "gf")) == text


@given(value=ANY, unit=UNITS, decimals=st.integers(0, 4))
def test_nothing_reads_minus_zero(value: float, unit: numbers.Unit, decimals: int) -> None:
    for text in (numbers.amount(value, unit, decimals), numbers.fixed(value, decimals)):
        assert not (text.startswith("-") and not any(sign in "123456789" for sign in text))


@given(value=ANY, unit=UNITS, decimals=st.integers(0, 3))
def test_turning_a_difference_round_turns_only_its_word(value: float, unit: numbers.Unit, decimals: int) -> None:
    turned = {"higher": "lower", "lower": "higher"}
    words = numbers.difference(value, unit, decimals).split(" ")
    assert numbers.difference(-value, unit, decimals).split(" ") == [turned.get(word, word) for word in words]


@given(low=st.floats(-500, 500), width=st.floats(0, 500), unit=UNITS)
def test_a_span_on_one_side_names_the_smaller_limit_first(low: float, width: float, unit: numbers.Unit) -> None:
    text = plain(numbers.span(low, low + width, unit))
    if text.count("lower") + text.count("higher") == 1:
        first, second = (float(part.split(" ")[0]) for part in text.split(" to "))
        assert first <= second


@given(p=st.floats(0, 1))
def test_a_p_value_is_never_rounded_across_a_border(p: float) -> None:
    text = numbers.p_number(p)
    if text[0].isdigit():
        assert all((float(text) < border) == (p < border) for border in (0.01, 0.05))
