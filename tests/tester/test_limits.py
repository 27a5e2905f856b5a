"""Limits of single values, and the constants behind them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference.stored import stored_text
from scipy import stats

from sharpstats.tester.limits import constants, individual_limits

NAMES = {"d2": "d2", "d3": "d3", "c4": "c4", "A2": "mean_reach", "D3": "range_low", "D4": "range_high"}
PRINTED = stored_text("tables/control_chart_constants")
PRINTED = PRINTED[PRINTED["constant"].isin(NAMES)]


class TestConstants:
    @pytest.mark.parametrize(("n", "name", "printed", "agrees"), [
        (int(row.n), row.constant, row.published_recalled, row.agrees_to_printed_digits) for row in PRINTED.itertuples()
    ])  # fmt: skip
    def test_published_tables(self, n: int, name: str, printed: str, agrees: str) -> None:
        """ISO 7870-2 and the ASTM manual, to every printed digit; one row is recalled a unit low."""
        decimals = len(printed.partition(".")[2])
        found = getattr(constants(n), NAMES[name])
        assert abs(found - float(printed)) <= (0.5 if agrees == "yes" else 1.0) * 10**-decimals + 1e-9

    @pytest.mark.parametrize("n", [2, 3, 7, 25])
    def test_range_against_the_studentised_range(self, n: int) -> None:
        """With unlimited degrees of freedom the studentised range is the range: 9 digits."""
        node, weight = np.polynomial.legendre.leggauss(60)
        above = stats.studentized_range.sf(7 * (node + 1), n, np.inf)
        assert constants(n).d2 == pytest.approx(7 * float(weight @ above), rel=1e-9)

    def test_two_values_in_closed_form(self) -> None:
        two = constants(2)
        assert two.d2 == pytest.approx(2 / math.sqrt(math.pi), rel=1e-13)
        assert two.d3 == pytest.approx(math.sqrt(2 - 4 / math.pi), rel=1e-12)
        assert two.value_reach == pytest.approx(2.66, abs=0.005)  # the factor of individuals charts, from memory

    def test_one_value_has_no_range(self) -> None:
        with pytest.raises(ValueError, match="two or more, got 1"):
            constants(1)


class TestIndividuals:
    def test_by_hand(self) -> None:
        """Moving ranges 2, 1, 2, 3; mean 2; limits of a range 3.267 times that."""
        found = individual_limits(np.array([10.0, 12.0, 11.0, 13.0, 10.0]))
        np.testing.assert_allclose(found.moving_range, [2, 1, 2, 3])
        assert (found.centre, found.mean_range) == pytest.approx((11.2, 2.0))
        assert (found.low, found.high) == pytest.approx((11.2 - 3 * 2 / 1.128379, 11.2 + 3 * 2 / 1.128379), rel=1e-6)
        assert found.range_high == pytest.approx(6.533, abs=5e-4)
        assert found.sd_all == pytest.approx(np.std([10, 12, 11, 13, 10], ddof=1) / 0.939986, rel=1e-6)

    def test_a_spike_is_outside_and_jumps_twice(self) -> None:
        values = np.array([0.0, 1.0] * 10)
        values[7] = 9.0
        found = individual_limits(values)
        assert list(found.outside) == [7]
        assert list(found.jumps) == [7, 8]

    def test_neighbours_are_hardly_touched_by_a_slow_change(self) -> None:
        rng = np.random.default_rng(3)
        noise = rng.standard_normal(400)
        still, drifting = individual_limits(noise), individual_limits(noise + np.linspace(0, 6, 400))
        assert drifting.sd_neighbours == pytest.approx(still.sd_neighbours, rel=0.01)
        assert drifting.sd_all > 1.8 * still.sd_all

    def test_both_spreads_are_right_on_average(self) -> None:
        """4,000 steady series of 12: bias below four Monte-Carlo errors."""
        found = [individual_limits(row) for row in np.random.default_rng(5).standard_normal((4000, 12))]
        for name in ("sd_neighbours", "sd_all"):
            values = np.array([getattr(one, name) for one in found])
            assert abs(values.mean() - 1) < 4 * values.std() / math.sqrt(4000)

    @given(st.lists(st.floats(-100, 100), min_size=3, max_size=20), st.floats(0.01, 100), st.floats(-100, 100))
    def test_unit_and_origin(self, values: list[float], factor: float, shift: float) -> None:
        one = individual_limits(np.array(values))
        other = individual_limits(factor * np.array(values) + shift)
        assert other.sd_neighbours == pytest.approx(factor * one.sd_neighbours, rel=1e-6, abs=1e-9)
        assert other.high == pytest.approx(factor * one.high + shift, rel=1e-6, abs=1e-6)

    def test_one_value_has_no_neighbour(self) -> None:
        with pytest.raises(ValueError, match="two values or more"):
            individual_limits(np.array([1.0]))
