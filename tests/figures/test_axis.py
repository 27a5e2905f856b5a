"""Round ticks, and limits with room."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sharpstats.figures import style
from sharpstats.figures.axis import padded, plain_axis, reading_axis, ticks


@pytest.mark.parametrize(
    ("low", "high", "log", "found"),
    [
        (-12.0, 31.0, False, [-10, 0, 10, 20, 30]), (0.0, 0.14, False, [0, 0.025, 0.05, 0.075, 0.1, 0.125]),
        (90.0, 250.0, True, [100, 150, 200, 250]), (90.0, 900.0, True, [100, 200, 500]),
        (1.0, 1000.0, True, [1, 10, 100, 1000]),
    ],
)  # fmt: skip
def test_ticks(low: float, high: float, log: bool, found: list[float]) -> None:
    assert ticks(low, high, log=log) == pytest.approx(found)


@given(st.floats(0.1, 1e4), st.floats(1.01, 1e4))
def test_ticks_of_a_log_axis_are_few_and_inside(low: float, ratio: float) -> None:
    found = ticks(low, low * ratio, log=True)
    assert len(found) <= 9
    assert all(low <= tick <= low * ratio for tick in found)


@pytest.mark.parametrize(
    ("values", "log", "limits"),
    [
        ([0.0, 10.0], False, (-0.5, 10.5)), ([5.0], False, (4.75, 5.25)), ([0.0], False, (-1.0, 1.0)),
        ([math.nan, math.inf, 0.0, 10.0], False, (-0.5, 10.5)), ([], False, (-1.0, 1.0)), ([], True, (1.0, 10.0)),
        ([1.0, 100.0, 0.0, -3.0], True, (100 ** -0.05, 100**1.05)),
    ],
)  # fmt: skip
def test_padded(values: list[float], log: bool, limits: tuple[float, float]) -> None:
    assert padded(values, log=log) == pytest.approx(limits)


@pytest.mark.parametrize(
    ("log", "label"), [(True, "reading, gf (log axis); lower is keener"), (False, "reading, gf; lower is keener")]
)
def test_an_axis_of_readings_names_unit_and_direction(log: bool, label: str) -> None:
    with style.styled():
        axes = style.place(style.sheet(3.0), 1, 1, 4, 1)
        reading_axis(axes, (90.0, 250.0), "gf", log=log)
    assert axes.get_xlabel() == label
    assert axes.get_xlim() == (90.0, 250.0)
    assert axes.get_xscale() == ("log" if log else "linear")
    assert [tick.get_text() for tick in axes.get_xticklabels()][:2] == ["100", "150"]


def test_a_plain_axis_can_go_down() -> None:
    with style.styled():
        axes = style.place(style.sheet(3.0), 1, 1, 4, 1)
        plain_axis(axes, (-5.0, 5.0), "residual, %", down=True)
    assert (axes.get_ylabel(), axes.get_ylim()) == ("residual, %", (-5.0, 5.0))
