"""Bounds for a share of edges: published factors, exactness with independent edges, coverage in blocks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference.stored import stored_table
from scipy import stats

from sharpstats.model import tolerance
from sharpstats.model.tolerance import DrawnQuantile, ExactQuantile, edge_quantile, one_sided_factor, two_sided_factor

ONE_CELL = np.zeros(12, dtype=np.intp)


def edges(seed: int, count: int = 12) -> np.ndarray:
    return np.random.default_rng(seed).normal(5, 0.2, count)


def exact(values: np.ndarray, share: float = 0.9) -> ExactQuantile:
    found = edge_quantile(values, np.zeros(len(values), dtype=np.intp), [], share)
    assert isinstance(found, ExactQuantile)
    return found


def drawn(values: np.ndarray, cells: np.ndarray, blocks: list[np.ndarray], share: float = 0.9) -> DrawnQuantile:
    found = edge_quantile(values, cells, blocks, share)
    assert isinstance(found, DrawnQuantile)
    return found


class TestPublishedFactors:
    def test_iso_16269(self) -> None:
        """Rows marked NO were recalled one digit off; there the recomputed value counts."""
        table = stored_table("tables/tolerance_factors")
        for row in table[table["side"] == "one-sided"].itertuples():
            k = one_sided_factor(int(row.n), stats.norm.ppf(row.content_P), row.confidence)
            assert k == pytest.approx(row.exact_recomputed, abs=6e-6)
            if row.agrees_to_printed_digits == "yes":
                assert k == pytest.approx(row.published_recalled, abs=6e-4)

    @pytest.mark.parametrize(("share", "confidence"), [(0.9, 0.95), (0.75, 0.5), (0.99, 0.99)])
    def test_the_share_that_two_sided_limits_hold(self, share: float, confidence: float) -> None:
        """20,000 samples of eight: how many limits hold the share, within four standard errors."""
        rng = np.random.default_rng(16269)
        values = rng.standard_normal((20_000, 8))
        mean, reach = values.mean(axis=1), two_sided_factor(8, share, confidence) * values.std(axis=1, ddof=1)
        held = stats.norm.cdf(mean + reach) - stats.norm.cdf(mean - reach)
        slack = 4 * np.sqrt(confidence * (1 - confidence) / 20_000)
        assert np.mean(held >= share) == pytest.approx(confidence, abs=slack)

    def test_nist_example(self) -> None:
        table = stored_table("tables/tolerance_nist_7263")
        (row,) = table[table["method"] == "noncentral t (exact)"].itertuples()
        k = one_sided_factor(int(row.n), stats.norm.ppf(row.content_P), row.confidence)
        assert k == pytest.approx(float(row.published), abs=6e-5)
        assert k == pytest.approx(row.recomputed, abs=6e-7)
        (row,) = table[table["method"] == "exact (not published there)"].itertuples()
        k = two_sided_factor(int(row.n), row.content_P, row.confidence)
        assert k == pytest.approx(row.recomputed, abs=6e-7)


class TestIndependentEdges:
    def test_the_bound_is_mean_plus_k_sd(self) -> None:
        values = edges(1)
        k = one_sided_factor(12, stats.norm.ppf(0.9), 0.95)
        assert exact(values).bound(0.95) == pytest.approx(values.mean() + k * values.std(ddof=1), rel=1e-12)
        assert exact(values).estimate == pytest.approx(values.mean() + 1.2815515655446004 * values.std(ddof=1))
        assert exact(values).df == 11

    def test_defining_property(self) -> None:
        """5,000 trials: the 95 % bound lies above the true quantile in 95 of 100, within three standard errors."""
        rng = np.random.default_rng(2)
        truth = stats.norm.ppf(0.9)
        samples = rng.standard_normal((5000, 8))
        bounds = samples.mean(axis=1) + one_sided_factor(8, truth, 0.95) * samples.std(axis=1, ddof=1)
        assert np.mean(bounds >= truth) == pytest.approx(0.95, abs=3 * np.sqrt(0.95 * 0.05 / 5000))

    @given(st.floats(4.0, 6.5), st.integers(0, 30))
    def test_p_values_are_the_two_tails_of_one_distribution(self, limit: float, seed: int) -> None:
        found = exact(edges(seed))
        assert found.p_below(limit) + found.p_above(limit) == pytest.approx(1, abs=1e-9)

    @pytest.mark.parametrize("rate", [0.01, 0.05, 0.2])
    def test_p_value_and_bound_are_one_test(self, rate: float) -> None:
        found = exact(edges(3))
        assert found.p_below(found.bound(1 - rate)) == pytest.approx(rate, rel=1e-7)
        assert found.p_above(found.bound(rate)) == pytest.approx(rate, rel=1e-7)

    def test_half_of_the_edges_is_the_t_test_of_the_mean(self) -> None:
        values = edges(4)
        found = exact(values, share=0.5)
        outside = stats.ttest_1samp(values, 5.1, alternative="less")
        assert found.p_below(5.1) == pytest.approx(outside.pvalue, rel=1e-9)

    @pytest.mark.parametrize("values", [[5.0], [5.0, 5.0, 5.0]])
    def test_no_spread_to_show(self, values: list[float]) -> None:
        assert edge_quantile(np.array(values), np.zeros(len(values), dtype=np.intp), [], 0.9) is None


class TestDraws:
    def test_without_blocks_and_cells_they_give_the_exact_answer(self) -> None:
        """40,000 draws against the noncentral t; a quantile at 95 % has an error of about 0.002 here."""
        values = edges(5)
        by_draws = tolerance._drawn_quantile(values, ONE_CELL, [], 0.9)
        assert isinstance(by_draws, DrawnQuantile)
        for confidence in (0.05, 0.5, 0.95):
            size = exact(values).bound(0.975) - exact(values).bound(0.025)
            error = by_draws.bound(confidence) - exact(values).bound(confidence)
            assert abs(error) < 0.02 * size
        assert by_draws.estimate == pytest.approx(exact(values).estimate, rel=1e-12)
        for limit in (5.2, 5.4):
            spread = np.sqrt(exact(values).p_below(limit) / tolerance.DRAWS)
            assert by_draws.p_below(limit) == pytest.approx(exact(values).p_below(limit), abs=4 * spread + 1e-4)

    def test_they_are_the_same_every_time_and_never_zero(self) -> None:
        blocks = [np.repeat(np.arange(4), 3)]
        one, two = (drawn(edges(6), ONE_CELL, blocks) for _ in range(2))
        assert [one.bound(c) for c in (0.05, 0.5, 0.95)] == [two.bound(c) for c in (0.05, 0.5, 0.95)]
        assert one.p_below(1e6) == one.p_above(-1e6) == 1 / (tolerance.DRAWS + 1)
        assert np.isnan(one.df)
        assert one.p_below(one.bound(0.95)) == pytest.approx(0.05, abs=1e-3)

    def test_a_shift_and_a_scale_move_the_bound_along(self) -> None:
        values, blocks = edges(7), [np.repeat(np.arange(4), 3)]
        cells = np.tile([0, 1], 6)
        one, two = drawn(values, cells, blocks), drawn(3 + 10 * values, cells, blocks)
        assert two.bound(0.95) == pytest.approx(3 + 10 * one.bound(0.95), rel=1e-9)
        assert two.estimate == pytest.approx(3 + 10 * one.estimate, rel=1e-9)

    def test_the_names_of_blocks_and_the_order_of_edges_do_not_matter(self) -> None:
        values, block = edges(8), np.repeat(np.arange(4), 3)
        order = np.random.default_rng(0).permutation(12)
        one = drawn(values, ONE_CELL, [block])
        two = drawn(values[order], ONE_CELL, [np.array([2, 0, 3, 1])[block][order]])
        assert two.bound(0.95) == pytest.approx(one.bound(0.95), rel=1e-9)

    def test_few_blocks_cost_certainty(self) -> None:
        """Edges alike within blades: three blades say less about the next than twelve independent edges."""
        rng = np.random.default_rng(9)
        block = np.repeat(np.arange(3), 4)
        values = 5 + np.array([-0.3, 0.0, 0.3])[block] + rng.normal(0, 0.05, 12)
        apart = drawn(values, ONE_CELL, [block]).bound(0.95)
        assert apart > exact(values).bound(0.95) + 0.2

    def test_cells_far_apart_make_a_mixture(self) -> None:
        """Half of the edges near 4, half near 6: nine tenths lie below 6 + z(0.8) sd."""
        rng = np.random.default_rng(10)
        cells = np.tile([0, 1], 30)
        values = np.where(cells == 0, 4.0, 6.0) + rng.normal(0, 0.1, 60)
        found = drawn(values, cells, [])
        assert found.estimate == pytest.approx(6 + stats.norm.ppf(0.8) * 0.1, abs=0.05)
        assert found.estimate < found.bound(0.95) < found.estimate + 0.15

    def test_nothing_left_to_show_the_spread(self) -> None:
        cells, block = np.array([0, 1, 2]), np.array([0, 0, 1])
        assert edge_quantile(np.array([1.0, 2.0, 3.0]), cells, [], 0.9) is None
        assert edge_quantile(np.array([1.0, 2.0, 3.0]), np.zeros(3, dtype=np.intp), [np.arange(3)], 0.9) is None
        assert edge_quantile(np.array([1.0, 1.0, 3.0]), np.zeros(3, dtype=np.intp), [block], 0.9) is None


class TestCoverage:
    """Trials drawn anew: how often the bound holds the true quantile."""

    TRIALS = 300

    @pytest.fixture(autouse=True)
    def _fewer_draws(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(tolerance, "DRAWS", 2000)

    @pytest.mark.parametrize(("blade", "edge"), [(0.2, 0.1), (0.1, 0.2), (0.0, 0.2)])
    def test_edges_in_blades(self, blade: float, edge: float) -> None:
        """Six blades, two edges each, one lost; never below 95 % by more than three standard errors."""
        rng = np.random.default_rng(20)
        block = np.repeat(np.arange(6), 2)[:-1]
        truth = stats.norm.ppf(0.9) * np.hypot(blade, edge)
        held = 0
        for _ in range(self.TRIALS):
            values = blade * rng.standard_normal(6)[block] + edge * rng.standard_normal(11)
            held += drawn(values, np.zeros(11, dtype=np.intp), [block]).bound(0.95) >= truth
        assert held / self.TRIALS > 0.95 - 3 * np.sqrt(0.95 * 0.05 / self.TRIALS)

    def test_claims_are_contradicted_no_more_often_than_asked(self) -> None:
        """The same edges from below: the 5 % bound lies above the true quantile in about 5 of 100."""
        rng = np.random.default_rng(21)
        block = np.repeat(np.arange(6), 2)
        truth = stats.norm.ppf(0.9) * np.hypot(0.15, 0.15)
        above = 0
        for _ in range(self.TRIALS):
            values = 0.15 * rng.standard_normal(6)[block] + 0.15 * rng.standard_normal(12)
            above += drawn(values, ONE_CELL, [block]).bound(0.05) > truth
        assert above / self.TRIALS < 0.05 + 3 * np.sqrt(0.05 * 0.95 / self.TRIALS)
