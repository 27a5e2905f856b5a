"""Spread against level: the four relations recovered, ISO's own fit, the choice and how often it errs."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parents[1]))

from reference.stored import stored_json, stored_table

from sharpstats.tester.dependence import dependence

M = np.array([50.0, 120.0, 260.0, 400.0])
DF = np.full(4, 16.0)
TRUE = {"constant": np.full(4, 5.0), "through the origin": 0.04 * M, "line": 2 + 0.03 * M, "power": 0.5 * M**0.6}


@pytest.mark.parametrize("kind", TRUE)
def test_each_relation_is_recovered(kind: str) -> None:
    found = dependence(M, TRUE[kind], DF)
    assert found is not None
    relation = next(one for one in found.relations if one.kind == kind)
    np.testing.assert_allclose(relation.at(M), TRUE[kind], rtol=1e-9)
    assert not found.contradicted


def test_the_choice_is_the_first_that_stands() -> None:
    many = np.full(4, 400.0)  # with so many df only the true relation fits
    for kind, sd in TRUE.items():
        found = dependence(M, sd, many)
        assert found is not None and found.chosen.kind == kind
    found = dependence(M, [5, 9, 5, 9], many)
    assert found is not None and found.contradicted
    assert found.chosen.p == max(one.p for one in found.relations)


def test_creosote_is_through_the_origin() -> None:
    """ISO 5725-2, annex B.3 prints s_r = 0.019 m."""
    printed, table = stored_json("interlab/iso5725_annex_b")["creosote"], stored_table("interlab/iso5725_creosote")
    cells = table[(table["lab"] != 1) & ((table["lab"] != 6) | (table["level"] != 5))].groupby("level")
    sd = [np.sqrt(level.groupby("lab")["value"].var().mean()) for _, level in cells]
    found = dependence(cells["value"].mean(), sd, cells["lab"].nunique())
    assert found is not None and found.chosen.kind == "through the origin"
    assert f"{found.chosen.b:.3f}" == printed["through_the_origin_s_r"]


def test_the_line_is_weighted_three_times_in_turn() -> None:
    m, s = np.array([10.0, 20.0, 40.0, 80.0]), np.array([1.0, 1.4, 3.1, 4.4])
    weights = 1 / s**2
    for _ in range(3):
        t = [weights.sum(), weights @ m, weights @ m**2, weights @ s, weights @ (m * s)]
        below = t[0] * t[2] - t[1] ** 2
        a, b = (t[2] * t[3] - t[1] * t[4]) / below, (t[0] * t[4] - t[1] * t[3]) / below  # equations of clause 7.5
        weights = 1 / (a + b * m) ** 2
    found = dependence(m, s, [8, 8, 8, 8])
    assert found is not None
    line = next(one for one in found.relations if one.kind == "line")
    assert (line.a, line.b) == pytest.approx((a, b), rel=1e-10)


class TestTooLittle:
    def test_two_batches(self) -> None:
        assert dependence([1, 2], [1, 2], [5, 5]) is None

    def test_an_sd_of_zero(self) -> None:
        assert dependence([1, 2, 3], [1, 0, 2], [5, 5, 5]) is None

    def test_levels_that_are_not_above_zero_can_be_constant_only(self) -> None:
        found = dependence([-1, 0, 3], [1, 1.1, 1.2], [5, 5, 5])
        assert found is not None and [one.kind for one in found.relations] == ["constant"]

    @pytest.mark.parametrize("last", [5.0, 5.0001, 6.2])
    def test_levels_that_hardly_differ_have_no_slope(self, last: float) -> None:
        found = dependence([5, 5, last], [1, 1.1, 1000], [5, 5, 5])
        assert found is not None and [one.kind for one in found.relations] == ["constant", "through the origin"]

    def test_a_power_beyond_all_numbers_is_no_relation(self) -> None:
        found = dependence([700, 720, 900], [1e-9, 1, 1e15], [5, 5, 5])
        assert found is not None and "power" not in [one.kind for one in found.relations]

    def test_a_line_below_zero_is_no_relation(self) -> None:
        found = dependence([1, 10, 11, 12], [1.0, 0.01, 3, 9], [50] * 4)
        assert found is not None and "line" not in [one.kind for one in found.relations]


@given(st.lists(st.tuples(st.floats(10, 900), st.floats(0.5, 40)), min_size=3, max_size=6), st.floats(0.01, 100))
def test_the_unit_alters_no_choice(batches: list[tuple[float, float]], by: float) -> None:
    m, s = np.array(batches).T
    df = np.arange(6, 6 + m.size)
    one, other = dependence(m, s, df), dependence(by * m, by * s, df)
    assert one is not None and other is not None
    pairs = list(zip(one.relations, other.relations, strict=True))
    for a, b in pairs:
        assert b.p == pytest.approx(a.p, rel=1e-4, abs=1e-9)
        np.testing.assert_allclose(b.at(by * m), by * a.at(m), rtol=1e-6)


@pytest.mark.parametrize("df", [3, 24])
def test_how_often_a_constant_spread_is_contradicted(df: int) -> None:
    """Near 5 % of 800 round robins of five batches."""
    rng = np.random.default_rng(df)
    sd = np.sqrt(rng.chisquare(df, size=(800, 5)) / df)
    m = np.array([50.0, 90.0, 150.0, 260.0, 400.0])
    found = [dependence(m, one, [df] * 5) for one in sd]
    share = np.mean([one.relations[0].p <= 0.05 for one in found if one is not None])
    assert 0.02 < share < 0.09  # four standard errors about 5 %
