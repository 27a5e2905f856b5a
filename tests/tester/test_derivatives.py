"""Derivatives of measurement models against exact ones."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sharpstats.errors import FitError
from sharpstats.tester.budget import budget_of
from sharpstats.tester.contribution import Contribution
from sharpstats.tester.derivatives import derivatives


@pytest.mark.parametrize("dtype", [int, float])
def test_exact_for_a_polynomial_whole_numbers_too(dtype: type) -> None:
    """x^3 y + 2 y^2 at (2, 3), by hand."""
    found = derivatives(lambda x, y: x**3 * y + 2 * y**2, np.array([2, 3], dtype=dtype), np.array([0.3, 0.2]))
    np.testing.assert_allclose(found.first, [36, 20], rtol=1e-10)
    np.testing.assert_allclose(found.second, [[36, 12], [12, 4]], rtol=1e-9)
    np.testing.assert_allclose(found.third, [[18, 0], [12, 0]], atol=1e-7)


@given(st.floats(-2, 2), st.floats(0.01, 0.5))
@settings(max_examples=40)
def test_an_exponential(x: float, u: float) -> None:
    """Every derivative is the value; the error is of the fourth order in u."""
    found = derivatives(np.exp, np.array([x]), np.array([u]))
    for one in (found.first[0], found.second[0, 0], found.third[0, 0]):
        assert one == pytest.approx(math.exp(x), rel=1e-4)


def test_a_constant_input_has_no_derivative() -> None:
    found = derivatives(lambda a, b: a / b, np.array([10.0, 2.0]), np.array([0.1, 0.0]))
    np.testing.assert_allclose(found.first, [0.5, 0.0], rtol=1e-10)


def test_uncertainty_of_an_exponential_given_whole_numbers() -> None:
    """First order f' u; the second order adds (f''^2 / 2 + f' f''') u^4 to the variance (JCGM 100, 5.1.2, note)."""
    x = [Contribution(name="x", value=1, standard=0.1)]
    e = math.e
    assert budget_of(np.exp, x, seed=None).combined == pytest.approx(0.1 * e, rel=1e-6)
    bent = budget_of(np.exp, x, second_order=True)
    assert bent.combined == pytest.approx(math.sqrt(0.01 * e**2 + 1.5 * e**2 * 1e-4), rel=1e-6)
    assert bent.check is not None
    assert bent.check.sd == pytest.approx(e * math.exp(0.005) * math.sqrt(math.expm1(0.01)), rel=0.01)  # lognormal


def test_a_large_offset_does_not_look_like_a_bend() -> None:
    parts = [Contribution(name=name, value=10.0, standard=0.1) for name in "ab"]
    found = budget_of(lambda a, b: 1e9 + a + b, parts, seed=None)
    assert found.combined == pytest.approx(0.1 * math.sqrt(2), rel=1e-4)
    assert found.notes == ()


def test_a_model_without_a_result() -> None:
    with pytest.raises(FitError, match="no finite result close to the estimates"):
        derivatives(np.log, np.array([0.01]), np.array([0.1]))
