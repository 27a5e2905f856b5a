"""The smallest difference that cuts can show, against the standard's formulas and against drawn readings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import crossed
from scipy import integrate, stats

from sharpstats.errors import FitError
from sharpstats.tester.smallest import (
    MOST_CUTS,
    _factors,
    cuts_needed,
    difference_at,
    smallest_difference,
    ways_of,
)
from sharpstats.tester.spreads import Spreads, find_spreads
from sharpstats.units import Quantity


@pytest.fixture(scope="module")
def kept() -> Spreads:
    return find_spreads(crossed(), scale="log", pool_above=1)


@pytest.fixture(scope="module")
def pooled() -> Spreads:
    return find_spreads(crossed(), scale="log", pool_above=0)


def sd(spreads: Spreads, term: str) -> float:
    return spreads.sds[term].estimate


class TestTheStandard:
    """ISO 5725-6:1994, clause 4.2, with 1.96 times the root of 2 in the place of its rounded 2.8."""

    F = 1.959963984540054 * 2**0.5

    @pytest.mark.parametrize("cuts", [1, 4, 20])
    def test_two_groups_in_one_laboratory(self, pooled: Spreads, cuts: int) -> None:
        expected = self.F * sd(pooled, "repeatability") * (1 / (2 * cuts) + 1 / (2 * cuts)) ** 0.5
        assert difference_at(pooled, cuts).estimate == pytest.approx(expected, rel=1e-12)

    @pytest.mark.parametrize("cuts", [1, 4, 20])
    def test_two_groups_in_two_laboratories(self, kept: Spreads, cuts: int) -> None:
        """(f s_R)^2 - (f s_r)^2 (1 - 1/(2 n1) - 1/(2 n2)), with operators in the place of laboratories."""
        r, wide = (self.F * sd(kept, term) for term in ("repeatability", "reproducibility"))
        expected = (wide**2 - r**2 * (1 - 1 / cuts)) ** 0.5
        assert difference_at(kept, cuts, "two operators").estimate == pytest.approx(expected, rel=1e-12)

    def test_operator_x_edge_stays_with_one_operator_too(self, kept: Spreads) -> None:
        many = difference_at(kept, 1e12).estimate
        assert many == pytest.approx(self.F * sd(kept, "operator x edge"), rel=1e-6)

    def test_the_interval_is_that_of_repeatability(self, pooled: Spreads) -> None:
        amount, r = difference_at(pooled, 4), pooled.sds["repeatability"]
        assert (amount.low, amount.high) == pytest.approx((self.F / 2 * r.low, self.F / 2 * r.high), rel=1e-9)

    def test_unequal_cuts_by_their_harmonic_mean(self, pooled: Spreads) -> None:
        expected = self.F * sd(pooled, "repeatability") * (1 / (2 * 3) + 1 / (2 * 6)) ** 0.5
        assert difference_at(pooled, 2 / (1 / 3 + 1 / 6)).estimate == pytest.approx(expected, rel=1e-12)


class TestTable:
    def test_every_way_and_number(self, kept: Spreads) -> None:
        found = smallest_difference(kept)
        assert found.ways == ("one operator", "two operators")
        assert len(found.table) == 2 * MOST_CUTS
        assert (np.diff(found.smallest) < 0).all()
        assert (found.smallest[0] < found.smallest[1]).all()
        assert (found.low <= found.by_standard).all() and (found.by_standard <= found.high).all()
        assert (found.found > found.smallest).all() and (found.smallest > found.by_standard).all()

    def test_students_t_where_repeatability_alone_counts(self, pooled: Spreads) -> None:
        found, t = smallest_difference(pooled, [3]), stats.t.ppf(0.975, pooled.df)
        assert found.smallest[0, 0] == pytest.approx(t * sd(pooled, "repeatability") * (2 / 3) ** 0.5, rel=1e-9)

    def test_days_make_a_third_way(self) -> None:
        table = crossed(cuts=6)
        found = find_spreads(table.assign(day=table["cut"] % 3), scale="log")
        assert ways_of(found) == ("one operator", "two operators", "all different")

    def test_one_operator_knows_one_way(self) -> None:
        found = find_spreads(crossed(operators=1), scale="log")
        assert ways_of(found) == ("one operator",)
        assert "one-way" in {note.code for note in smallest_difference(found).notes}
        with pytest.raises(FitError, match="cannot tell how far edges differ by chance with two operators"):
            difference_at(found, 3, "two operators")

    @pytest.mark.parametrize("cuts", [[0], [2.5]])
    def test_cuts_are_counted(self, pooled: Spreads, cuts: list[float]) -> None:
        with pytest.raises(ValueError, match="whole numbers from 1 upwards"):
            smallest_difference(pooled, cuts)

    def test_wrong_arguments(self, pooled: Spreads) -> None:
        with pytest.raises(ValueError, match="`cuts` must be above zero, got 0"):
            difference_at(pooled, 0)
        with pytest.raises(ValueError, match="one operator, two operators, all different, got 'three'"):
            difference_at(pooled, 1, "three")  # type: ignore[arg-type]

    def test_of_equal_edges_one_pair_in_twenty_differs_by_more(self, kept: Spreads) -> None:
        rng, cuts = np.random.default_rng(8), 4
        both, r = sd(kept, "operator x edge"), sd(kept, "repeatability")
        means = both * rng.standard_normal((200_000, 2)) + r / cuts**0.5 * rng.standard_normal((200_000, 2))
        beyond = np.mean(np.abs(means[:, 0] - means[:, 1]) > difference_at(kept, cuts).estimate)
        assert beyond == pytest.approx(0.05, abs=4 * (0.05 * 0.95 / 200_000) ** 0.5)


@pytest.mark.parametrize("df", [1, 2, 4, 24, 400])
def test_found_nine_times_in_ten(df: int) -> None:
    """P(T > t) of the noncentral t, by integrating over the chi density."""
    seen, shift = _factors(df)
    assert seen == pytest.approx(stats.t.ppf(0.975, df), rel=1e-9)
    ends = stats.chi.ppf([1e-12, 1 - 1e-12], df)
    power = integrate.quad(lambda s: stats.chi.pdf(s, df) * stats.norm.cdf(shift - seen * s / df**0.5), *ends)[0]
    assert power == pytest.approx(0.9, abs=1e-6)


def test_known_spreads_have_normal_factors() -> None:
    assert _factors(float("nan")) == pytest.approx((1.95996, 1.95996 + 1.28155), abs=1e-5)


class TestCutsNeeded:
    def test_the_fewest_that_show_it(self, kept: Spreads) -> None:
        found = cuts_needed(kept, "15 %")
        assert found.cuts is not None
        assert difference_at(kept, found.cuts).estimate <= np.log(1.15) < difference_at(kept, found.cuts - 1).estimate
        assert found.low is not None and found.low <= found.cuts

    def test_cuts_that_find_it_nine_times_in_ten(self, kept: Spreads) -> None:
        surely = cuts_needed(kept, "30 %").surely
        assert surely is not None and surely > 1
        found = smallest_difference(kept, [surely - 1, surely]).found[0]
        assert found[1] <= np.log(1.3) < found[0]
        assert cuts_needed(kept, "8 %").surely is None

    def test_cannot_however_many(self, kept: Spreads) -> None:
        found = cuts_needed(kept, "2 %")
        assert (found.cuts, found.high) == (None, None)
        assert found.floor > np.log(1.02)

    def test_a_number_is_on_the_scale(self, kept: Spreads) -> None:
        assert cuts_needed(kept, float(np.log(1.15))).cuts == cuts_needed(kept, "15 %").cuts
        assert cuts_needed(kept, Quantity(15.0, "%")).cuts == cuts_needed(kept, "15 %").cuts

    @pytest.mark.parametrize(
        ("wanted", "says"),
        [("20 gf", '20 gf does not fit the scale "log"; write it like "15 %"'), ("20", "a number with a unit"),
         ("-5 %", "above zero"), (0.0, "above zero")],
    )  # fmt: skip
    def test_wrong(self, kept: Spreads, wanted: str | float, says: str) -> None:
        with pytest.raises(ValueError, match=says):
            cuts_needed(kept, wanted)

    def test_forces_are_turned_to_the_study_s_unit(self) -> None:
        found = find_spreads(crossed(), scale="as read")
        assert cuts_needed(found, "0.15 N").wanted == pytest.approx(0.15 / 0.00980665)
        with pytest.raises(ValueError, match='write it like "25 gf"'):
            cuts_needed(found, "5 %")


@settings(max_examples=15)
@given(seed=st.integers(0, 10_000), cuts=st.integers(1, 30))
def test_more_cuts_never_show_less(seed: int, cuts: int) -> None:
    found = smallest_difference(find_spreads(crossed(seed, edges=4, cuts=2), scale="log"), [cuts, cuts + 1])
    for values in (found.smallest, found.by_standard, found.found, found.low):
        assert (values[:, 1] <= values[:, 0] * (1 + 1e-12)).all()
