"""The null distribution of Grubbs's test of a pair: printed values, cases in closed form, simulation."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

sys.path.insert(0, str(Path(__file__).parents[1]))

from reference.stored import stored_text

from sharpstats.tester.outlyingpair import _ANGLES, _largest_cdf, grubbs_pair, grubbs_pair_critical, grubbs_pair_p


def test_printed_table() -> None:
    """ISO 5725-2, table 5: all printed digits but for ten means at 5 %, printed 0.1864 where 0.18645 is exact."""
    table = stored_text("tables/grubbs_double")
    assert len(table) == 6
    for row in table.to_dict("records"):
        critical = grubbs_pair_critical(int(row["p"]), float(row["significance"]))
        assert critical == pytest.approx(float(row["published_recalled"]), abs=6e-5)
        assert critical == pytest.approx(float(row["monte_carlo_2e6"]), abs=5e-4)


def test_four_means_in_closed_form() -> None:
    """With four means the two others' largest is known: an integral over their share alone."""
    from scipy import integrate

    def above(w: float) -> float:
        return max(np.arccos(min(1, np.sqrt(w / (1 - w)) / np.sqrt(3))) - np.arctan(np.sqrt(0.5)), 0.0) / np.pi

    for g in (1e-5, 2e-4, 0.01, 0.08):
        exact = 12 * integrate.quad(lambda v: above(v**2), 0, np.sqrt(g), epsabs=1e-13, limit=200)[0]
        assert grubbs_pair_p(g, 4) == pytest.approx(exact, rel=1e-7)


@pytest.mark.parametrize("n", [4, 9, 38])
def test_the_largest_of_n_residuals_has_grubbs_s_tail(n: int) -> None:
    """Where no two residuals can both be so large, the tail is n times that of one: a t value with n - 2 df."""
    high = np.sin(_ANGLES) * np.sqrt((n - 1) / n)  # the largest residual when squares sum to one
    alone = high > np.sqrt((n - 2) / (2 * n)) + 1e-9
    y = np.sin(_ANGLES[alone])
    t = y[:-1] * np.sqrt((n - 2) / (1 - y[:-1] ** 2))
    np.testing.assert_allclose(1 - _largest_cdf(n)[alone][:-1], n * stats.t.sf(t, n - 2), rtol=1e-3, atol=3e-7)


@pytest.mark.parametrize("p", [4, 5, 7, 12, 30])
def test_simulated_rates(p: int) -> None:
    """The largest and the smallest pair together, 100,000 batches: within four standard errors."""
    rng, trials = np.random.default_rng(100 + p), 100_000
    y = np.sort(rng.normal(size=(trials, p)), axis=1)
    total = y.var(axis=1) * p
    high, low = (part.var(axis=1) * (p - 2) / total for part in (y[:, :-2], y[:, 2:]))
    for alpha in (0.01, 0.05, 0.3):
        g = grubbs_pair_critical(p, alpha)
        seen = (high < g).mean() + (low < g).mean()
        assert abs(seen - alpha) < 4 * np.sqrt(alpha / trials), alpha


@settings(max_examples=30)
@given(st.integers(4, 40), st.floats(0.001, 0.5))
def test_p_and_critical_value_are_inverse(p: int, alpha: float) -> None:
    assert grubbs_pair_p(grubbs_pair_critical(p, alpha), p) == pytest.approx(alpha, rel=1e-4)


@given(st.lists(st.integers(-1000, 1000), min_size=4, max_size=12, unique=True), st.floats(0.1, 10), st.floats(-50, 50))
def test_shift_scale_and_turning_round(values: list[int], by: float, shift: float) -> None:
    y = np.array(values, dtype=float)
    for largest in (True, False):
        g = grubbs_pair(y, largest=largest)
        assert grubbs_pair(by * y + shift, largest=largest) == pytest.approx(g, rel=1e-6, abs=1e-9)
        assert grubbs_pair(-y, largest=not largest) == pytest.approx(g, rel=1e-9)


def test_three_means_leave_nothing() -> None:
    with pytest.raises(ValueError, match="nothing is left to compare a pair with"):
        grubbs_pair_p(0.1, 3)
