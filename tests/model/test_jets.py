"""Jets against derivatives worked by hand and by central differences."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sharpstats.model.jets import Jet, pair

finite = st.floats(0.3, 3.0)


def variables(x: float, y: float) -> tuple[Jet, Jet]:
    one = np.array(1.0)
    return Jet(np.array(x), {0: one}), Jet(np.array(y), {1: one})


FUNCTIONS: dict[str, tuple[Callable[[Jet, Jet], Jet], Callable[[float, float], float]]] = {
    "x y^2": (lambda x, y: x * y * y, lambda x, y: x * y * y),
    "1 / (x + x y)": (lambda x, y: (x + x * y).reciprocal(), lambda x, y: 1 / (x + x * y)),
    "log(x y) / y - x": (lambda x, y: (x * y).log() * y.reciprocal() - x, lambda x, y: np.log(x * y) / y - x),
    "y - x x": (lambda x, y: y - x * x, lambda x, y: y - x * x),
}


@pytest.mark.parametrize("name", FUNCTIONS)
@given(x=finite, y=finite)
def test_derivatives_are_those_of_central_differences(name: str, x: float, y: float) -> None:
    jet_of, plain = FUNCTIONS[name]
    jet, at, step = jet_of(*variables(x, y)), np.array([x, y]), 1e-4
    assert jet.value == pytest.approx(plain(x, y), rel=1e-14, abs=1e-14)
    moves = np.eye(2) * step
    for i in range(2):
        slope = (plain(*(at + moves[i])) - plain(*(at - moves[i]))) / (2 * step)
        assert jet.first[i] == pytest.approx(slope, rel=1e-5, abs=1e-5)
        for j in range(i, 2):
            corners = [plain(*(at + one * moves[i] + two * moves[j])) * one * two for one in (1, -1) for two in (1, -1)]
            assert jet.second.get(pair(i, j), 0.0) == pytest.approx(sum(corners) / (4 * step**2), rel=1e-4, abs=1e-4)


def test_a_linear_map_goes_through_all_parts() -> None:
    x, y = variables(2.0, 3.0)
    twice = (x * y).map(lambda part: 2 * part)
    assert (twice.value, twice.first[0], twice.second[0, 1]) == (12.0, 6.0, 2.0)


def test_derivatives_that_are_nil_are_left_out() -> None:
    x, _ = variables(2.0, 3.0)
    constant = Jet(np.array(4.0))
    assert (x * constant).second == {}
    assert (constant - x).first == {0: -1.0}
