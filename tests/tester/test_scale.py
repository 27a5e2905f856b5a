"""Readings and margins on the scale of a study."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from sharpstats.errors import FitError
from sharpstats.tester.scale import check_scale, margin_on_scale, on_scale
from sharpstats.units import Quantity


def test_readings() -> None:
    np.testing.assert_allclose(on_scale(pd.DataFrame({"reading": [-1.0, 2.0]}), "as read"), [-1, 2])
    np.testing.assert_allclose(on_scale(pd.DataFrame({"reading": [1.0, math.e]}), "log"), [0, 1])
    with pytest.raises(FitError, match=r"1 reading\(s\) are not above zero, which has no logarithm"):
        on_scale(pd.DataFrame({"reading": [-1.0, 2.0]}), "log")


def test_margins() -> None:
    assert margin_on_scale(Quantity(15.0, "%"), "N", "log") == pytest.approx(math.log(1.15))
    assert margin_on_scale(Quantity(100.0, "gf"), "N", "as read") == pytest.approx(0.980665)


@pytest.mark.parametrize(
    ("margin", "scale", "says"),
    [(Quantity(25.0, "gf"), "log", 'write it like "15 %"'), (Quantity(15.0, "%"), "as read", 'write it like "25 gf"'),
     (Quantity(0.0, "%"), "log", "above zero, got 0 %")],
)  # fmt: skip
def test_margins_that_do_not_fit(margin: Quantity, scale: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        margin_on_scale(margin, "gf", scale)


def test_other_words_for_a_scale() -> None:
    with pytest.raises(ValueError, match="got 'linear'"):
        check_scale("linear")
