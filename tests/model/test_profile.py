"""Profile limits: R's, their defining equation, and the cases where a side is open."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from reference.against_r import CASES, comparisons
from reference.layouts import crossed, nested, unbalanced
from scipy import optimize, stats

from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.model.profile import profile_limits
from sharpstats.model.reml import maximise


def criterion_at(fit: MixedFit, place: int, value: float) -> float:
    return maximise(fit.reduced, fit.optimum.variances, {place: value}).criterion


class TestAgainstR:
    @pytest.mark.parametrize("case", CASES)
    def test_limits(self, case: str) -> None:
        """R's own digits: 7 to 8."""
        assert comparisons(case, "variances")["profile limits of variances"].error < 1e-8


class TestDefiningEquation:
    @pytest.mark.parametrize("level", [0.8, 0.95])
    @pytest.mark.parametrize("seed", range(3))
    def test_a_limit_lies_where_the_criterion_has_risen_by_the_chi_square_quantile(
        self, seed: int, level: float
    ) -> None:
        fit = fit_mixed(unbalanced(seed), response="y", fixed=["medium"], random=["blade", "edge"])
        rise = stats.chi2.ppf(level, 1)
        crossings = 0
        for place in range(3):
            low, high = profile_limits(fit.reduced, fit.optimum, place, level)
            assert low <= fit.optimum.variances[place] < high
            for limit in (low, high):
                if limit > 0:
                    assert criterion_at(fit, place, limit) - fit.reml_criterion == pytest.approx(rise, abs=1e-7)
                    crossings += 1
            if low == 0:
                assert criterion_at(fit, place, 0.0) - fit.reml_criterion <= rise
        assert crossings >= 4

    def test_one_variance_by_hand(self) -> None:
        """Without random terms the criterion is (n - p) (log s + s0 / s) + constant."""
        rng = np.random.default_rng(0)
        table = pd.DataFrame({"y": rng.normal(size=20), "medium": ["a", "b"] * 10})
        fit = fit_mixed(table, response="y", fixed=["medium"])
        s0, rise = fit.optimum.variances[0], stats.chi2.ppf(0.95, 1)

        def excess(s: float) -> float:
            return 18 * (np.log(s / s0) + s0 / s - 1) - rise

        found = profile_limits(fit.reduced, fit.optimum, 0, 0.95)
        by_hand = optimize.brentq(excess, s0 / 50, s0), optimize.brentq(excess, s0, 50 * s0)
        assert found == pytest.approx(by_hand, rel=1e-9)

    def test_a_higher_level_is_wider(self) -> None:
        fit = fit_mixed(unbalanced(1), response="y", fixed=["medium"], random=["blade", "edge"])
        for place in range(3):
            (low, high), (lower, higher) = (profile_limits(fit.reduced, fit.optimum, place, x) for x in (0.8, 0.99))
            assert lower <= low
            assert high < higher


class TestOpenSides:
    def test_a_variance_estimated_as_zero_begins_at_zero(self) -> None:
        rng = np.random.default_rng(62)
        within = rng.normal(0, 1, (6, 5))
        table = pd.DataFrame({"y": (within - 0.9 * within.mean(axis=1, keepdims=True)).ravel(),
                              "batch": np.repeat(list("abcdef"), 5)})  # fmt: skip
        fit = fit_mixed(table, response="y", random=["batch"])
        low, high = profile_limits(fit.reduced, fit.optimum, 1, 0.95)
        assert low == 0.0
        assert criterion_at(fit, 1, high) - fit.reml_criterion == pytest.approx(stats.chi2.ppf(0.95, 1), abs=1e-7)

    def test_a_small_variance_may_be_zero_but_the_cut_error_never_is(self) -> None:
        table = nested(np.random.default_rng(5), media=2, blades=3, edges=2, cuts=2, sd=(0.02, 0.2, 0.1))
        fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"])
        limits = fit.components.table.set_index("term")
        assert limits.loc["blade", "low"] == 0.0
        assert limits.loc["residual", "low"] > 0

    def test_two_blades_leave_the_upper_side_wide(self) -> None:
        """Two levels say little about how far others may lie: at least five times the estimated SD."""
        table = crossed(np.random.default_rng(2), blades=2, sd=(0.4, 0.0, 0.1, 0.05))
        fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"])
        blade = fit.components.table.set_index("term").loc["blade"]
        assert blade["high"] > 5 * blade["sd"] > 0


class TestScale:
    @pytest.mark.parametrize("factor", [1e-6, 1e6])
    def test_limits_scale_with_the_response(self, factor: float) -> None:
        table = unbalanced(3)
        one, two = (fit_mixed(t, response="y", fixed=["medium"], random=["blade", "edge"])
                    for t in (table, table.assign(y=factor * table["y"])))  # fmt: skip
        for place in range(3):
            expected = factor**2 * np.array(profile_limits(one.reduced, one.optimum, place, 0.95))
            assert profile_limits(two.reduced, two.optimum, place, 0.95) == pytest.approx(expected, rel=1e-7)

    def test_coverage_of_the_cut_error(self) -> None:
        """Where the interval is nearly exact: 200 trials, 95 %, within three standard errors."""
        rng = np.random.default_rng(11)
        table = nested(rng, media=2, blades=3, edges=2, cuts=4)
        fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"])
        edge = np.repeat(np.arange(12), 4)
        inside = 0
        for _ in range(200):
            again = fit.refit(0.2 * rng.standard_normal(12)[edge] + 0.1 * rng.standard_normal(48))
            low, high = profile_limits(again.reduced, again.optimum, 0, 0.95)
            inside += low <= 0.01 <= high
        assert 200 * 0.95 - 3 * np.sqrt(200 * 0.95 * 0.05) <= inside


def test_limits_of_a_zero_that_very_many_edges_hold_down():
    """A large trial bounds a variance of zero far below what the others are."""
    rng = np.random.default_rng(8)
    edges, blades = 20_000, 15
    edge = np.repeat(np.arange(edges), 2)
    codes = {"medium": rng.integers(0, 4, edges), "blade": rng.integers(0, blades, edges)}
    y = rng.normal(0, 1, blades)[codes["blade"]][edge] + rng.normal(0, 0.1, edges)[edge] + rng.normal(0, 0.1, edge.size)
    table = pd.DataFrame({"edge": edge, **{name: c[edge] for name, c in codes.items()}, "y": y})
    random = ["blade", ("blade", "medium"), "edge"]
    components = fit_mixed(table, response="y", fixed=["medium"], random=random).components
    place = components.terms.index("blade x medium")
    assert components.low[place] == 0 and 0 < components.high[place] < 1e-4 * components.variances.max()
