"""Modified-large-sample limits: where they are exact, the published formulas written out, how often they cover."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from sharpstats.model.largesample import linear_limits, ratio_limits

Floats = np.ndarray
LEVELS = (0.8, 0.95)
sizes = st.floats(0.05, 50)
freedoms = st.integers(1, 60)


def chi_limits(square: float, n: float, level: float) -> tuple[float, float]:
    tail = (1 - level) / 2
    return n * square / stats.chi2.isf(tail, n), n * square / stats.chi2.ppf(tail, n)


class TestWhereExact:
    @given(sizes, freedoms, st.floats(0.01, 9), st.sampled_from(LEVELS))
    def test_one_mean_square_has_the_chi_square_limits(self, s: float, n: int, c: float, level: float) -> None:
        expected = c * np.array(chi_limits(s, n, level))
        assert linear_limits([s], [n], [c], level) == pytest.approx(expected, rel=1e-9)

    @pytest.mark.parametrize("level", LEVELS)
    def test_the_sign_of_a_difference_is_that_of_the_f_test(self, level: float) -> None:
        """The lower limit of S1 - c S2 is zero exactly at the F quantile, the upper one at the other."""
        for n, m, c in product((2, 5, 24), (3, 12, 60), (0.4, 1.0)):
            f = c * stats.f.ppf([(1 - level) / 2, (1 + level) / 2], n, m)
            assert linear_limits([f[1], 1.0], [n, m], [1, -c], level)[0] == pytest.approx(0, abs=1e-9 * f[1])
            assert linear_limits([f[0], 1.0], [n, m], [1, -c], level)[1] == pytest.approx(0, abs=1e-9)

    @pytest.mark.parametrize("sign", [1, -1])
    def test_very_many_df_elsewhere_leave_one_chi_square(self, sign: int) -> None:
        low, high = linear_limits([4.0, 1.5, 0.5], [3, 1e9, 1e9], [1, sign, sign], 0.95)
        expected = np.array(chi_limits(4.0, 3, 0.95)) + sign * 2.0
        assert (low, high) == pytest.approx(expected, rel=1e-3)

    @given(sizes, sizes, freedoms, freedoms, st.sampled_from(LEVELS))
    def test_a_ratio_of_two_has_the_f_limits(self, s: float, u: float, n: int, m: int, level: float) -> None:
        tail = (1 - level) / 2
        expected = s / u / stats.f.isf(tail, n, m), s / u / stats.f.ppf(tail, n, m)
        assert ratio_limits([s, u], [n, m], [1, 0], [0, 1], level) == pytest.approx(expected, rel=1e-7)

    @given(sizes, freedoms, freedoms, st.integers(2, 8))
    def test_a_share_between_blocks_has_the_exact_limits_of_the_intraclass_correlation(
        self, s: float, n: int, m: int, cuts: int
    ) -> None:
        """Searle, Casella & McCulloch (1992), table 3.16: (F/F_q - 1) / (F/F_q + n - 1)."""
        f = s / stats.f.ppf([0.975, 0.025], n, m)
        expected = (f - 1) / (f + cuts - 1)
        weights = np.array([[1, -1], [1, cuts - 1]]) / cuts
        assert ratio_limits([s, 1.0], [n, m], *weights, 0.95) == pytest.approx(expected, rel=1e-6, abs=1e-6)


def by_the_book(squares: Floats, n: Floats, c: Floats, tail: float) -> tuple[float, float]:
    """Ting et al. (1990) as printed, both limits, terms added one by one."""
    plus, minus = [q for q in range(len(c)) if c[q] > 0], [q for q in range(len(c)) if c[q] < 0]
    g = [1 - k / stats.chi2.isf(tail, k) for k in n]  # 1 - 1 / F with infinitely many df below
    h = [k / stats.chi2.ppf(tail, k) - 1 for k in n]
    a = np.abs(c) * squares

    def star(q: int, t: int, count: int) -> float:
        k, m = n[q], n[t]
        first = (1 - (k + m) / stats.chi2.isf(tail, k + m)) ** 2 * (k + m) ** 2 / (k * m)
        return (first - g[q] ** 2 * k / m - g[t] ** 2 * m / k) / (count - 1)

    low = sum((g[q] * a[q]) ** 2 for q in plus) + sum((h[r] * a[r]) ** 2 for r in minus)
    high = sum((h[q] * a[q]) ** 2 for q in plus) + sum((g[r] * a[r]) ** 2 for r in minus)
    for q, r in product(plus, minus):
        f, e = stats.f.isf(tail, n[q], n[r]), stats.f.isf(1 - tail, n[q], n[r])
        low += ((f - 1) ** 2 - g[q] ** 2 * f**2 - h[r] ** 2) / f * a[q] * a[r]
        high += ((1 - e) ** 2 - h[q] ** 2 * e**2 - g[r] ** 2) / e * a[q] * a[r]
    if plus and minus:
        low += sum(star(q, t, len(plus)) * a[q] * a[t] for q in plus for t in plus if t > q)
        high += sum(star(r, u, len(minus)) * a[r] * a[u] for r in minus for u in minus if u > r)
    return float(c @ squares - np.sqrt(low)), float(c @ squares + np.sqrt(high))


class TestPublished:
    @pytest.mark.parametrize("signs", [*product((-1, 1), repeat=4), (1, 0, -1, 1), (0, 1, 1, 0)])
    @pytest.mark.parametrize("tail", [0.025, 0.1])
    def test_the_formulas_as_printed(self, signs: tuple[int, ...], tail: float) -> None:
        """All signs: a sum has no products (Graybill & Wang), else those of Ting et al."""
        squares, n = np.array([9.0, 4.0, 2.0, 0.6]), np.array([2.0, 5.0, 12.0, 40.0])
        c = np.array([0.2, 0.5, 1.0, 1.5]) * signs
        assert linear_limits(squares, n, c, 1 - 2 * tail) == pytest.approx(
            by_the_book(squares, n, c, tail), rel=1e-8
        )

    def test_a_study_of_twenty_parts_and_three_operators(self) -> None:
        """Gauge study of Houf & Berman (1988): 10 parts, 3 operators, 3 readings each.

        Mean squares and 95 % limits as in Burdick, Borror & Montgomery (2005), recalled from memory:
        parts 48.29 (22.69 to 161.64), upper limit of the gauge's own variance 27.02.
        """
        squares, df = np.array([437.328, 19.633, 2.695, 0.511]), np.array([9, 2, 18, 60])
        parts, gauge = np.array([1, 0, -1, 0]) / 9, np.array([0, 1, 9, 20]) / 30
        assert parts @ squares == pytest.approx(48.29, abs=0.005)
        assert linear_limits(squares, df, parts, 0.95) == pytest.approx((22.69, 161.64), abs=0.006)
        assert linear_limits(squares, df, gauge, 0.95)[1] == pytest.approx(27.02, abs=0.006)


class TestTheory:
    @given(st.lists(st.tuples(sizes, freedoms, st.floats(-3, 3)), min_size=1, max_size=5), st.sampled_from(LEVELS))
    def test_turned_signs_swap_the_limits_and_order_does_not_matter(
        self, parts: list[tuple[float, int, float]], level: float
    ) -> None:
        squares, n, c = np.array(parts).T
        low, high = linear_limits(squares, n, c, level)
        assert low <= c @ squares <= high
        assert linear_limits(squares, n, -c, level) == (-high, -low)
        turned = linear_limits(squares[::-1], n[::-1], c[::-1], level)
        assert turned == pytest.approx((low, high), rel=1e-9, abs=1e-9)
        assert linear_limits(1e6 * squares, n, c, level) == pytest.approx((1e6 * low, 1e6 * high), rel=1e-9, abs=1e-3)

    def test_many_trials_at_once_are_each_by_itself(self) -> None:
        squares = np.random.default_rng(0).gamma(2, 1, (4, 3, 2))
        low, high = linear_limits(squares, [3, 9], [1, -0.5], 0.9)
        assert low.shape == high.shape == (4, 3)
        alone = linear_limits(squares[2, 1], [3, 9], [1, -0.5], 0.9)
        assert (low[2, 1], high[2, 1]) == pytest.approx(alone, rel=1e-12)

    @given(st.tuples(sizes, sizes, sizes), st.tuples(freedoms, freedoms, freedoms))
    def test_the_limits_of_a_ratio_are_where_a_difference_is_just_told_from_zero(
        self, squares: tuple[float, ...], df: tuple[int, ...]
    ) -> None:
        top, bottom = np.array([1, -1, 0]) / 4, np.array([1, 3, 2]) / 4
        low, high = ratio_limits(squares, df, top, bottom, 0.95)
        assume(np.isfinite([low, high]).all())
        size = 1e-6 * float(np.max(squares)) * max(1.0, abs(low), abs(high))
        assert linear_limits(squares, df, top - low * bottom, 0.95)[0] == pytest.approx(0, abs=size)
        assert linear_limits(squares, df, top - high * bottom, 0.95)[1] == pytest.approx(0, abs=size)

    def test_a_ratio_to_what_cannot_be_told_from_zero_is_unlimited(self) -> None:
        _, high = ratio_limits([2.0, 1.2, 1.0], [10, 6, 6], [1, 0, 0], [0, 1, -1], 0.95)
        assert high == np.inf
        with pytest.raises(ValueError, match=r"^`below` must give a sum above zero: nothing can be compared with it$"):
            ratio_limits([2.0, 1.0, 1.2], [10, 6, 6], [1, 0, 0], [0, 1, -1], 0.95)


DRAWS = 40_000
LAYOUTS = {
    "a sum of two": ([1, 1], [3, 6], [1, 1]),
    "a sum of three": ([1, 2, 3], [2, 4, 8], [1, 1, 1]),
    "reproducibility of a tester": ([4, 3, 1], [2, 9, 60], [1 / 30, 9 / 30, 20 / 30]),
    "blades, hardly any spread": ([1.2, 1], [3, 6], [1, -1]),
    "blades, much spread": ([20, 1], [3, 6], [1, -1]),
    "two taken away": ([10, 2, 2], [5, 5, 20], [1, -1, -1]),
    "two added, two taken away": ([5, 2, 1, 0.5], [5, 5, 25, 60], [1, 1, -1, -1]),
}


class TestCoverage:
    @pytest.mark.parametrize("name", LAYOUTS)
    def test_between_94_and_98_of_100(self, name: str) -> None:
        """What the books report; 40,000 draws, within four standard errors (0.0044)."""
        expected, df, weights = map(np.array, LAYOUTS[name])
        rng = np.random.default_rng(1990)
        low, high = linear_limits(expected * rng.chisquare(df, (DRAWS, len(df))) / df, df, weights, 0.95)
        inside = np.mean((low <= weights @ expected) & (weights @ expected <= high))
        assert 0.94 - 0.0044 < inside < 0.98 + 0.0044

    def test_misses_of_a_sum_of_few_df_lie_below_the_lower_limit(self) -> None:
        """As the docstring warns; a tester's reproducibility is such a sum."""
        expected, df, weights = map(np.array, LAYOUTS["reproducibility of a tester"])
        rng = np.random.default_rng(1980)
        low, high = linear_limits(expected * rng.chisquare(df, (DRAWS, len(df))) / df, df, weights, 0.95)
        assert np.mean(low > weights @ expected) > 10 * np.mean(high < weights @ expected)
        assert np.mean(low > weights @ expected) < 0.06

    def test_the_usual_normal_limits_fall_far_short(self) -> None:
        """What the method is for: estimate and twice its standard error, with three blades."""
        expected, df, weights = map(np.array, LAYOUTS["blades, much spread"])
        rng = np.random.default_rng(1990)
        squares = expected * rng.chisquare(df, (DRAWS, len(df))) / df
        se = np.sqrt((2 * (weights * squares) ** 2 / (df + 2)).sum(axis=1))
        assert np.mean(np.abs(squares @ weights - weights @ expected) < 1.96 * se) < 0.85
