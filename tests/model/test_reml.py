"""Restricted likelihood: against R, against dense matrices, against mean squares, and its own derivatives."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from reference.against_r import CASES, comparisons
from reference.layouts import both, crossed, nested, unbalanced

from sharpstats.errors import FitError
from sharpstats.model import reml
from sharpstats.model.anova import anova
from sharpstats.model.many import refit_many
from sharpstats.model.mixed import MixedFit, fit_mixed

MODELS = [
    (["medium"], [], ()),
    (["medium"], ["edge"], ()),
    (["medium", "steel"], ["blade", "edge"], ()),
    (["medium", "start"], ["blade", "day"], ("start",)),
    (["medium", "position"], ["blade", "day", "edge"], ("position",)),
    (["medium", "start", "position"], ["edge"], ("start", "position")),
]
models = pytest.mark.parametrize(("fixed", "random", "covariates"), MODELS)
seeds = pytest.mark.parametrize("seed", range(4))


class TestAgainstR:
    @pytest.mark.parametrize("case", CASES)
    def test_criterion(self, case: str) -> None:
        assert comparisons(case, "variances")["criterion"].error < 1e-9

    @pytest.mark.parametrize("case", CASES)
    @pytest.mark.parametrize("quantity", ["variances", "SDs", "expected information", "observed information"])
    def test_variances_and_information(self, case: str, quantity: str) -> None:
        assert comparisons(case, "variances")[quantity].error < 1e-9


class TestAgainstDenseMatrices:
    @seeds
    @models
    def test_criterion_gradient_and_informations(
        self, seed: int, fixed: list[str], random: list[str], covariates: tuple[str, ...]
    ) -> None:
        """Away from the optimum, where nothing cancels."""
        fit, dense, places = both(unbalanced(seed), fixed, random, covariates)
        variances = np.random.default_rng(seed).uniform(0.02, 0.3, len(places))
        at = np.empty(len(places))
        at[places] = variances
        ours, dense = reml.derivatives(fit.reduced, at), replace(dense, s=variances)
        square = np.ix_(places, places)
        assert ours.criterion == pytest.approx(dense.criterion, abs=1e-7)
        assert ours.gradient[places] == pytest.approx(dense.gradient, rel=1e-8, abs=1e-6)
        assert ours.expected[square] == pytest.approx(dense.expected, rel=1e-8)
        assert ours.hessian[square] == pytest.approx(dense.hessian, rel=1e-8, abs=1e-8 * dense.expected.max())

    @seeds
    @models
    def test_at_the_optimum(
        self, seed: int, fixed: list[str], random: list[str], covariates: tuple[str, ...]
    ) -> None:
        fit, dense, _ = both(unbalanced(seed), fixed, random, covariates)
        assert fit.reml_criterion == pytest.approx(dense.criterion, rel=1e-8)
        assert fit.log_likelihood == -fit.reml_criterion / 2
        # an interior variance is a stationary point, a variance at zero would only go down
        slope = dense.gradient * np.where(dense.s > 0, dense.s, dense.s.max())
        assert np.all(np.abs(slope[dense.s > 0]) < 1e-7)
        assert np.all(slope[dense.s == 0] > 0)


class TestDerivatives:
    @models
    def test_gradient_and_hessian_are_those_of_the_criterion(
        self, fixed: list[str], random: list[str], covariates: tuple[str, ...]
    ) -> None:
        """Central differences; their own error is about 1e-6."""
        fit = fit_mixed(unbalanced(1), response="y", fixed=fixed, random=random, covariates=covariates)
        at = np.linspace(0.08, 0.2, len(random) + 1)
        here = reml.derivatives(fit.reduced, at)
        for k in range(at.size):
            step = 1e-5 * np.eye(at.size)[k]
            up, down = (reml.derivatives(fit.reduced, at + sign * step) for sign in (1, -1))
            assert here.gradient[k] == pytest.approx((up.criterion - down.criterion) / 2e-5, rel=1e-5, abs=1e-4)
            size = np.abs(here.expected[k]).max()
            assert here.hessian[k] == pytest.approx((up.gradient - down.gradient) / 2e-5, rel=1e-5, abs=1e-6 * size)

    def test_expected_information_is_the_mean_of_the_observed_one(self) -> None:
        """Over responses drawn from the model itself; 400 draws, three standard errors."""
        table = unbalanced(2)
        fit, dense, _ = both(table, ["medium"], ["blade", "edge"])
        at = np.array([0.06, 0.05, 0.09])  # cut, edge, blade
        factor = np.linalg.cholesky(replace(dense, s=at[[2, 1, 0]]).v)
        rng = np.random.default_rng(3)
        draws = []
        for _ in range(400):
            again = fit.refit(factor @ rng.standard_normal(len(table)))
            draws.append(reml.derivatives(again.reduced, at).hessian)
        mean, spread = np.mean(draws, axis=0), np.std(draws, axis=0) / 20
        expected = reml.derivatives(fit.reduced, at).expected
        assert np.all(np.abs(mean - expected) < 3.5 * spread)


class TestBalanced:
    """REML is the analysis of variance wherever all its estimates are positive."""

    @settings(max_examples=25)
    @given(st.integers(0, 10**6), st.integers(2, 4), st.integers(2, 4), st.integers(2, 3), st.integers(2, 4))
    def test_nested(self, seed: int, media: int, blades: int, edges: int, cuts: int) -> None:
        table = nested(np.random.default_rng(seed), media=media, blades=blades, edges=edges, cuts=cuts)
        ms = mean_squares(table, ["medium"], ["blade", "edge"])
        edge, blade = (ms["edge"] - ms["residual"]) / cuts, (ms["blade"] - ms["edge"]) / (cuts * edges)
        assume(edge > 0.02 * ms["edge"] and blade > 0.02 * ms["blade"])
        fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"])
        assert variances(fit) == pytest.approx([blade, edge, ms["residual"]], rel=1e-10)

    @settings(max_examples=25)
    @given(st.integers(0, 10**6), st.integers(2, 4), st.integers(2, 5), st.integers(2, 3), st.integers(2, 4))
    def test_crossed(self, seed: int, media: int, blades: int, edges: int, cuts: int) -> None:
        table = crossed(np.random.default_rng(seed), media=media, blades=blades, edges=edges, cuts=cuts)
        ms = mean_squares(table, ["medium"], ["blade", ("blade", "medium"), "edge"])
        edge = (ms["edge"] - ms["residual"]) / cuts
        cell = (ms["blade x medium"] - ms["edge"]) / (cuts * edges)
        blade = (ms["blade"] - ms["blade x medium"]) / (cuts * edges * media)
        assume(edge > 0.02 * ms["edge"] and cell > 0.02 * ms["blade x medium"] and blade > 0.02 * ms["blade"])
        fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", ("blade", "medium"), "edge"])
        assert variances(fit) == pytest.approx([blade, cell, edge, ms["residual"]], rel=1e-10)

    def test_one_way_from_mean_squares_by_hand(self) -> None:
        table = pd.DataFrame({"y": [1.0, 3.0, 7.0, 9.0, 4.0, 8.0], "edge": ["a", "a", "b", "b", "c", "c"]})
        # edge means 2, 8, 6 about 16/3: mean square 2 * (100 + 64 + 4) / 9 / 2 = 168/9; within (2 + 2 + 8) / 3 = 4
        fit = fit_mixed(table, response="y", random=["edge"])
        assert variances(fit) == pytest.approx([(168 / 9 - 4) / 2, 4.0], rel=1e-12)


def mean_squares(table: pd.DataFrame, fixed: list, random: list) -> dict[str, float]:
    found = anova(table, response="y", fixed=fixed, random=random)
    return dict(zip(found.terms, found.mean_square, strict=True))


def variances(fit: MixedFit) -> np.ndarray:
    """In the order of the random terms, the residual last."""
    return fit.optimum.variances[fit.structure.positions]


def flat_batches() -> pd.DataFrame:
    """Batches closer together than their own readings would put them."""
    rng = np.random.default_rng(62)
    within = rng.normal(0, 1, (6, 5))
    return pd.DataFrame({
        "y": (7 + within - 0.9 * within.mean(axis=1, keepdims=True)).ravel(),
        "batch": np.repeat(list("abcdef"), 5),
    })  # fmt: skip


class TestZero:
    def test_a_mean_square_below_the_one_within_gives_exactly_zero(self) -> None:
        table = flat_batches()
        ms = mean_squares(table, [], ["batch"])
        assert ms["batch"] < ms["residual"]
        fit = fit_mixed(table, response="y", random=["batch"])
        total = float(((table["y"] - table["y"].mean()) ** 2).sum())
        assert variances(fit)[0] == 0.0
        assert variances(fit)[1] == pytest.approx(total / 29, rel=1e-12)  # the two mean squares pooled

    def test_at_zero_it_is_the_model_without_the_term(self) -> None:
        table = flat_batches()
        with_term, without = (fit_mixed(table, response="y", random=random) for random in (["batch"], []))
        assert with_term.reml_criterion == pytest.approx(without.reml_criterion, abs=1e-10)

    def test_all_upper_variances_zero_is_ordinary_least_squares(self) -> None:
        """The textbook trap: a library gave effects of zero once every variance was small."""
        rng = np.random.default_rng(4)
        table = pd.DataFrame({"edge": np.repeat(np.arange(12), 4), "medium": np.repeat(["a", "b"], 24)})
        noise = rng.normal(0, 1, (12, 4))
        table["y"] = (noise - noise.mean(axis=1, keepdims=True)).ravel() + 3.0 * (table["medium"] == "b")
        fit = fit_mixed(table, response="y", fixed=["medium"], random=["edge"])
        assert variances(fit)[0] == 0.0
        x = np.column_stack([np.ones(48), table["medium"] == "b"])
        beta, rest, *_ = np.linalg.lstsq(x, table["y"], rcond=None)
        assert fit.coefficients.estimate == pytest.approx(beta, abs=1e-12)
        assert fit.fixed.phi == pytest.approx(rest[0] / 46 * np.linalg.inv(x.T @ x), rel=1e-10)

    @pytest.mark.parametrize("factor", [1e-6, 1e6])
    def test_the_unit_of_the_response_changes_nothing_else(self, factor: float) -> None:
        """Boundaries and stopping are judged without a yardstick of their own."""
        for table in (flat_batches().assign(medium=["a", "b", "c"] * 10, edge=range(30), blade="x"), unbalanced(2)):
            random = ["batch"] if "batch" in table else ["blade", "edge"]
            plain = fit_mixed(table, response="y", fixed=["medium"], random=random)
            scaled = fit_mixed(table.assign(y=factor * table["y"]), response="y", fixed=["medium"], random=random)
            assert variances(scaled) == pytest.approx(factor**2 * variances(plain), rel=1e-9)
            one, two = plain.contrasts("medium"), scaled.contrasts("medium")
            assert two.estimate == pytest.approx(factor * one.estimate, rel=1e-9)
            assert two.df == pytest.approx(one.df, rel=1e-9)
            assert two.statistic == pytest.approx(one.statistic, rel=1e-9)
            assert scaled.terms().f == pytest.approx(plain.terms().f, rel=1e-9)
            assert scaled.terms().df2 == pytest.approx(plain.terms().df2, rel=1e-9)


class TestSearch:
    def test_no_other_variances_are_better(self) -> None:
        for seed in range(6):
            fit = fit_mixed(unbalanced(seed), response="y", fixed=["medium"], random=["blade", "day", "edge"])
            rng = np.random.default_rng(seed)
            for scale in (1e-3, 0.1, 1.0):
                away = fit.optimum.variances * np.exp(scale * rng.standard_normal((20, 4)))
                assert min(reml.derivatives(fit.reduced, s).criterion for s in away) > fit.reml_criterion - 1e-9

    def test_any_start_ends_at_the_same_place(self) -> None:
        fit = fit_mixed(unbalanced(0), response="y", fixed=["medium"], random=["blade", "edge"])
        rng = np.random.default_rng(1)
        for start in np.exp(rng.uniform(-5, 3, (10, 3))):
            found = reml.maximise(fit.reduced, start)
            assert found.criterion == pytest.approx(fit.reml_criterion, abs=1e-9)
            assert found.variances == pytest.approx(fit.optimum.variances, rel=1e-7)

    def test_a_held_variance_stays_and_costs_likelihood(self) -> None:
        fit = fit_mixed(unbalanced(0), response="y", fixed=["medium"], random=["blade", "edge"])
        held = reml.maximise(fit.reduced, fit.optimum.variances, {2: 0.5})
        assert held.variances[2] == 0.5
        assert held.criterion > fit.reml_criterion
        assert reml.derivatives(fit.reduced, held.variances).gradient[:2] == pytest.approx([0, 0], abs=1e-6)

    @pytest.mark.parametrize("readings", range(30, 60))
    def test_without_random_terms_it_is_the_residual_variance(self, readings: int) -> None:
        """40 residual df once sent the first step to where the curvature is nil."""
        rng = np.random.default_rng(readings)
        table = pd.DataFrame({"y": rng.normal(size=readings), "medium": np.arange(readings) % 2})
        fit = fit_mixed(table, response="y", fixed=["medium"])
        by_hand = sum(((part - part.mean()) ** 2).sum() for _, part in table.groupby("medium")["y"]) / (readings - 2)
        assert variances(fit) == pytest.approx([by_hand], rel=1e-12)

    def test_a_covariate_whose_edge_means_are_all_equal(self) -> None:
        """Cut order in a balanced layout: between edges it is the intercept once more."""
        table = crossed(np.random.default_rng(1))
        table["order"] = np.tile([1.0, 2.0, 3.0], len(table) // 3)
        fit, dense, _ = both(table, ["medium", "order"], ["blade", ("blade", "medium"), "edge"], ("order",))
        assert dense.gradient * dense.s == pytest.approx(np.zeros(4), abs=1e-8)
        assert fit.reml_criterion == pytest.approx(dense.criterion, abs=1e-8)

    def test_means_of_units_that_the_fixed_effects_explain(self) -> None:
        """Six cells for six effects between them: nothing but the cuts within says where to begin."""
        table = pd.DataFrame({
            "y": [145.0, 145, 150, 145, 140, 140, 155, 145, 150, 155, 145, 150],
            "edge": np.repeat(["e0", "e1", "e2"], 4), "operator": ["p", "p", "q", "q"] * 3,
            "tester": ["a"] * 6 + ["b"] * 6, "order": [1.0, 2, 3, 4] * 3,
        })  # fmt: skip
        random: list = [("operator", "edge")]
        fit = fit_mixed(table, response="y", fixed=["operator", "edge", "tester", "order"], covariates=["order"],
                        random=random)  # fmt: skip
        assert np.isfinite(fit.reml_criterion)
        assert fit.optimum.variances[0] > 0


class TestRefusals:
    def test_fixed_effects_that_are_one(self) -> None:
        """`inner_inverse` itself refuses; `fit_mixed` leaves such columns out beforehand."""
        with pytest.raises(FitError, match=r"^The fixed effects cannot be told apart on these edges\. Leave out a "
                                           r"factor, or make edges in the missing combinations\.$"):  # fmt: skip
            reml.inner_inverse(np.array([[2.0, 2.0], [2.0, 2.0 - 1e-15]]), np.ones(2), 0)

    def test_no_endless_search(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(reml, "MAX_STEPS", 2)
        with pytest.raises(FitError, match=r"^The fit did not settle in 2 steps\. Look at the residuals for a wild "
                                           r"reading, or leave out a block with few levels\.$"):  # fmt: skip
            fit_mixed(unbalanced(0), response="y", fixed=["medium"], random=["blade", "day", "edge"])


def test_a_nearly_singular_hessian_does_not_send_the_step_far_away():
    now = reml.Derivatives(
        criterion=0.0, gradient=np.array([1.0, -1.0]), expected=np.eye(2), hessian=np.array([[1.0, 0.0], [0.0, 1e-14]])
    )
    active = np.array([True, True])
    assert reml._step(now, active, farthest=1e3)[0].tolist() == [-1.0, 1.0]
    assert reml._step(now, active, farthest=1e15)[0] == pytest.approx([-1.0, 1e14])
    assert reml._step(now, active, farthest=0.0)[0].tolist() == [-1.0, 1.0]


def test_blades_that_differ_fifty_times_as_much_as_cuts_are_fitted() -> None:
    """Rounding hides the last falls of the criterion there; many fits at once know no such rounding."""
    fit = fit_mixed(unbalanced(5, edges=30), response="y", fixed=["medium"], random=["blade", "day", "edge"])
    rng, unit, trials = np.random.default_rng(8), fit.units.unit, 60
    y = 0.1 * rng.standard_normal((trials, fit.frame.y.size))
    for codes in fit.units.upper:
        y += rng.uniform(2, 5, (trials, 1)) * rng.standard_normal((trials, int(codes.max()) + 1))[:, codes[unit]]
    many = refit_many(fit, y, np.array([[0.0, 1.0, 0.0]]))
    for row, se, variances in zip(y, many.se, many.variances, strict=True):
        single = fit.refit(row)
        assert single.contrasts("medium").se[0] == pytest.approx(se[0], rel=1e-6)
        np.testing.assert_allclose(single.optimum.variances, variances, rtol=1e-4, atol=1e-6)
