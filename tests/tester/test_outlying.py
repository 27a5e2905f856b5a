"""Limits and p values of h, k, C and G: printed tables, the distributions written out, simulated rates."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

sys.path.insert(0, str(Path(__file__).parents[1]))

from reference.stored import stored_text

from sharpstats.tester import outlying

ROWS = {
    "cochran_C": ("published_recalled", lambda row: outlying.cochran_critical(
        int(row["p_groups"]), int(row["n_per_group"]), float(row["significance"]))),
    "grubbs_single": ("published_recalled", lambda row: outlying.grubbs_critical(
        int(row["p"]), float(row["significance_two_sided"]))),
    "mandel_h": ("published_recalled", lambda row: outlying.h_critical(int(row["p_labs"]), float(row["significance"]))),
    "mandel_k": ("published_recalled", lambda row: outlying.k_critical(
        int(row["p_labs"]), int(row["n_replicates"]), float(row["significance"]))),
}  # fmt: skip


@pytest.mark.parametrize("name", ROWS)
def test_printed_tables(name: str) -> None:
    """Every printed digit; in the rows marked NO one unit of the last (see the README of the references)."""
    column, critical = ROWS[name]
    table = stored_text(f"tables/{name}")
    assert len(table) >= 11
    for row in table.to_dict("records"):
        printed = row[column]
        slack = 1.0 if row["agrees_to_printed_digits"] == "NO" else 0.5
        unit = 10.0 ** -len(printed.partition(".")[2])
        assert abs(critical(row) - float(printed)) <= slack * unit + 1e-9, row
        assert critical(row) == pytest.approx(float(row["recomputed"]), abs=6e-6)


def test_printed_limits_of_e691() -> None:
    assert f"{outlying.h_critical(8, 0.005):.2f} {outlying.k_critical(8, 3, 0.005):.2f}" == "2.15 2.06"


probabilities = st.floats(1e-4, 0.2)
numbers = st.integers(3, 40)


class TestPAndCriticalValueAreInverse:
    @given(numbers, probabilities)
    def test_means(self, p: int, alpha: float) -> None:
        assert outlying.h_p(outlying.h_critical(p, alpha), p) == pytest.approx(alpha, rel=1e-6)
        assert outlying.grubbs_p(outlying.grubbs_critical(p, alpha), p) == pytest.approx(alpha, rel=1e-6)
        assert outlying.h_p(-outlying.h_critical(p, alpha), p) == pytest.approx(alpha, rel=1e-6)

    @given(numbers, st.integers(2, 9), probabilities)
    def test_spreads(self, p: int, n: int, alpha: float) -> None:
        """One variance takes the critical share, the others an equal part of the rest."""
        for critical, chance in ((outlying.cochran_critical(p, n, alpha), alpha / p),
                                 (outlying.k_critical(p, n, alpha) ** 2 / p, alpha)):  # fmt: skip
            variances = [critical, *[(1 - critical) / (p - 1)] * (p - 1)]
            assert outlying.spread_p(variances, [n - 1] * p)[0] == pytest.approx(chance, rel=1e-6)


class TestAgainstTheDistributionsWrittenOut:
    def test_h_of_a_sample(self) -> None:
        """h of a value is the t test of that value against the others, with p - 2 df."""
        y = np.random.default_rng(2).normal(size=9)
        others = y[1:]
        t = (y[0] - others.mean()) / np.sqrt(others.var(ddof=1) * (1 + 1 / 8))
        h = (y[0] - y.mean()) / y.std(ddof=1)
        assert outlying.h_p(h, 9) == pytest.approx(2 * stats.t.sf(abs(t), 7), rel=1e-10)

    def test_unequal_cells_are_f_tests_against_the_others(self) -> None:
        s, df = np.array([2.0, 0.5, 1.1, 0.9]), np.array([1, 4, 2, 7])
        for i in range(4):
            rest = np.delete(np.arange(4), i)
            f = s[i] / (df[rest] @ s[rest] / df[rest].sum())
            assert outlying.spread_p(s, df)[i] == pytest.approx(stats.f.sf(f, df[i], df[rest].sum()), rel=1e-10)

    def test_the_bound_is_cochran_s_upper_tail(self) -> None:
        """C above a half: only one cell can be there, so simulation must meet the p value itself."""
        rng = np.random.default_rng(5)
        c = (s := rng.chisquare(2, size=(200_000, 6))).max(axis=1) / s.sum(axis=1)
        seen, p = (c > 0.62).mean(), 6 * outlying.spread_p([0.62, *[0.076] * 5], [2] * 6)[0]
        assert abs(seen - p) < 4 * np.sqrt(p * (1 - p) / 200_000)


@pytest.mark.parametrize("df", [[1] * 8, [2] * 5, [1, 1, 2, 3, 7, 7]], ids=str)
def test_how_often_cochran_s_test_cries_wolf(df: list[int]) -> None:
    """Never above its rate, and little below, with equal and unequal cells: 8,000 batches."""
    rng, trials = np.random.default_rng(11), 8_000
    s = rng.chisquare(df, size=(trials, len(df))) / df
    p = np.array([outlying.cochran_p(one, df)[1] for one in s[:trials]])
    for alpha in (0.05, 0.01):
        slack = 4 * np.sqrt(alpha * (1 - alpha) / trials)
        assert 0.8 * alpha - slack < (p < alpha).mean() < alpha + slack


class TestNoAnswer:
    def test_two_means(self) -> None:
        for function in (outlying.h_critical, outlying.grubbs_critical):
            with pytest.raises(ValueError, match="of two means none is farther out"):
                function(2, 0.05)
        with pytest.raises(ValueError, match="of two means none is farther out"):
            outlying.h_p(0.7, 2)

    def test_one_cell_or_one_reading(self) -> None:
        with pytest.raises(ValueError, match="must be 2 at least, got 1 and 3"):
            outlying.cochran_critical(1, 3, 0.05)
        with pytest.raises(ValueError, match="must be 2 at least, got 4 and 1"):
            outlying.k_critical(4, 1, 0.05)

    def test_no_variance(self) -> None:
        with pytest.raises(ValueError, match="one of them above zero"):
            outlying.cochran_p([0.0, 0.0, 0.0], [2, 2, 2])
        assert np.isnan(outlying.spread_p([0.0, 0.0], [1, 1])).all()

    def test_all_spread_in_one_cell(self) -> None:
        assert outlying.cochran_p([0.0, 3.0, 0.0], [2, 2, 2]) == (1, 0.0)

    def test_farther_out_than_a_mean_can_be(self) -> None:
        assert outlying.h_p(5.0, 4) == 0.0
