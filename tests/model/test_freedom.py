"""Degrees of freedom and adjusted covariance: R, dense matrices, exact F tests of balanced layouts, limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from reference.against_r import CASES, comparisons, fitted, r_rows
from reference.layouts import both, crossed, nested, unbalanced
from scipy import stats

from sharpstats.model import freedom
from sharpstats.model.anova import anova
from sharpstats.model.means import term_rows
from sharpstats.model.mixed import fit_mixed

MODELS = [
    (["medium"], [], ()),
    (["medium"], ["edge"], ()),
    (["medium", "steel"], ["blade", "edge"], ()),
    (["medium", "start"], ["blade", "day"], ("start",)),
    (["medium", "position"], ["blade", "day", "edge"], ("position",)),
    (["medium", "start", "position"], ["edge"], ("start", "position")),
]
TESTED = [name for name, case in CASES.items() if case.fixed]


class TestAgainstR:
    @pytest.mark.parametrize("case", CASES)
    @pytest.mark.parametrize("quantity", ["unadjusted covariance", "KR covariance", "coefficients", "KR SE", "KR df",
                                          "KR t", "KR p", "Satterthwaite df"])  # fmt: skip
    def test_coefficients(self, case: str, quantity: str) -> None:
        assert comparisons(case, "coefficients")[quantity].error < 1e-9

    @pytest.mark.parametrize("case", CASES)
    def test_satterthwaite_by_numerical_derivatives(self, case: str) -> None:
        """lmerTest's own digits: 7 to 8."""
        assert comparisons(case, "coefficients")["Satterthwaite df (lmerTest)"].error < 1e-7

    @pytest.mark.parametrize("case", TESTED)
    def test_terms(self, case: str) -> None:
        found = comparisons(case, "terms")
        assert {name for name, one in found.items() if one.error > 1e-9} == set()
        assert len(found) == 8

    def test_several_satterthwaite_df_depend_on_the_rows_that_span_the_hypothesis(self) -> None:
        """R's rows come from a triangular decomposition, ours are differences; F is the same, df is not."""
        fit = fitted("simtrial_a")
        theirs = freedom.f_satterthwaite(fit.fixed, r_rows(CASES["simtrial_a"], "medium"))
        ours = freedom.f_satterthwaite(fit.fixed, term_rows(fit.frame, ("medium",)))
        assert theirs.df2 == pytest.approx(56.6677356333946, rel=1e-12)
        assert ours.f == pytest.approx(theirs.f, rel=1e-12)
        assert ours.df2 == pytest.approx(56.68895, abs=1e-5)


class TestAgainstDenseMatrices:
    @pytest.mark.parametrize("seed", range(4))
    @pytest.mark.parametrize(("fixed", "random", "covariates"), MODELS)
    def test_everything(self, seed: int, fixed: list[str], random: list[str], covariates: tuple[str, ...]) -> None:
        fit, dense, _ = both(unbalanced(seed), fixed, random, covariates)
        ours, unit = fit.fixed, np.eye(fit.reduced.p)
        assert ours.beta + fit.offset * unit[0] == pytest.approx(dense.beta, rel=1e-8, abs=1e-8)
        for mine, theirs in ((ours.phi, dense.phi), (ours.adjusted, dense.adjusted)):
            size = np.sqrt(np.outer(theirs.diagonal(), theirs.diagonal()))
            assert np.max(np.abs(mine - theirs) / size) < 1e-8
        found = [dense.kenward_roger(row[None, :])[1] for row in unit]
        assert freedom.df_kenward_roger(ours, unit) == pytest.approx(found, rel=1e-8)
        tested = freedom.f_kenward_roger(ours, unit[1:3])
        assert (tested.f, tested.df2, tested.scaling) == pytest.approx(dense.kenward_roger(unit[1:3]), rel=1e-8)
        if np.all(dense.s > 0):
            found = [dense.satterthwaite_df(row) for row in unit]
            assert freedom.df_satterthwaite(ours, unit) == pytest.approx(found, rel=1e-8)

    @pytest.mark.parametrize("seed", range(3))
    def test_one_row_tested_as_several_is_the_square_of_t(self, seed: int) -> None:
        fit = fit_mixed(unbalanced(seed), response="y", fixed=["medium"], random=["blade", "edge"])
        coefficients = fit.coefficients
        tested = freedom.f_kenward_roger(fit.fixed, np.eye(3)[1:2])
        assert tested.f == pytest.approx(coefficients.statistic[1] ** 2, rel=1e-12)
        assert tested.df2 == pytest.approx(coefficients.df[1], rel=1e-12)
        assert tested.p == pytest.approx(coefficients.p[1], rel=1e-10)

    def test_the_rows_that_span_a_hypothesis_do_not_matter(self) -> None:
        fit = fit_mixed(unbalanced(1), response="y", fixed=["medium"], random=["blade", "edge"])
        rows = np.eye(3)[1:]
        turned = np.array([[2.0, -3.0], [1.0, 0.5]]) @ rows
        one, other = freedom.f_kenward_roger(fit.fixed, rows), freedom.f_kenward_roger(fit.fixed, turned)
        assert (other.f, other.df2, other.scaling) == pytest.approx((one.f, one.df2, one.scaling), rel=1e-10)


class TestBalanced:
    """Kenward and Roger's test is the exact F test, with whole df."""

    @settings(max_examples=20)
    @given(st.integers(0, 10**6), st.integers(2, 4), st.integers(2, 4), st.integers(2, 3), st.integers(1, 3))
    def test_whole_plots(self, seed: int, media: int, blades: int, edges: int, cuts: int) -> None:
        """Media on blades of their own: blades are the error, whatever the number of cuts."""
        table = nested(np.random.default_rng(seed), media=media, blades=blades, edges=edges, cuts=cuts)
        random = ["blade", "edge"] if cuts > 1 else ["blade"]
        exact = anova(table, response="y", fixed=["medium"], random=random).table.set_index("term").loc["medium"]
        fit = fit_mixed(table, response="y", fixed=["medium"], random=random)
        assume(np.all(fit.optimum.variances > 0))
        for tested in (fit.terms().table.iloc[0], fit.terms("satterthwaite").table.iloc[0]):
            assert tested["df2"] == pytest.approx(media * (blades - 1), rel=1e-9)
            assert tested["f"] == pytest.approx(exact["f"], rel=1e-9)
            assert tested["p"] == pytest.approx(exact["p"], rel=1e-7)

    @settings(max_examples=20)
    @given(st.integers(0, 10**6), st.integers(2, 4), st.integers(3, 5), st.integers(2, 3), st.integers(1, 3))
    def test_split_plots(self, seed: int, media: int, blades: int, edges: int, cuts: int) -> None:
        """Steel between blades, medium within: two error strata, two exact tests and their interaction."""
        table = crossed(np.random.default_rng(seed), media=media, blades=2 * blades, edges=edges, cuts=cuts)
        table["steel"] = np.where(table["blade"].str[1:].astype(int) < blades, "carbon", "stainless")
        fixed = ["medium", "steel", ("medium", "steel")]
        random = ["blade", ("blade", "medium"), "edge"] if cuts > 1 else ["blade", ("blade", "medium")]
        exact = anova(table, response="y", fixed=fixed, random=random).table.set_index("term")
        fit = fit_mixed(table, response="y", fixed=fixed, random=random)
        assume(np.all(fit.optimum.variances > 0))
        tested = fit.terms().table.set_index("term")
        subplots = (media - 1) * 2 * (blades - 1)
        assert tested["df2"].tolist() == pytest.approx([subplots, 2 * (blades - 1), subplots], rel=1e-9)
        assert tested["f"].tolist() == pytest.approx(exact.loc[tested.index, "f"].tolist(), rel=1e-8)
        assert fit.terms().scaling == pytest.approx([1, 1, 1], rel=1e-9)

    def test_equal_cuts_leave_the_t_test_of_edge_means(self) -> None:
        table = nested(np.random.default_rng(8), media=2, blades=5, edges=1, cuts=4).drop(columns="blade")
        means = table.groupby(["medium", "edge"])["y"].mean()
        classical = stats.ttest_ind(means["m0"], means["m1"])
        found = fit_mixed(table, response="y", fixed=["medium"], random=["edge"]).contrasts("medium")
        assert found.df == pytest.approx([8], rel=1e-12)
        assert found.statistic == pytest.approx([classical.statistic], rel=1e-10)
        assert found.p == pytest.approx([classical.pvalue], rel=1e-9)
        limits = classical.confidence_interval(0.95)
        assert (found.low[0], found.high[0]) == pytest.approx((limits.low, limits.high), rel=1e-10)


class TestLimits:
    def test_a_spread_estimated_as_zero_keeps_its_df(self) -> None:
        """Six flat batches: the mean has 5 df, not the 29 of the pooled residual."""
        rng = np.random.default_rng(62)
        within = rng.normal(0, 1, (6, 5))
        table = pd.DataFrame({"y": (7 + within - 0.9 * within.mean(axis=1, keepdims=True)).ravel(),
                              "batch": np.repeat(list("abcdef"), 5)})  # fmt: skip
        fit = fit_mixed(table, response="y", random=["batch"])
        assert fit.coefficients.df == pytest.approx([5], rel=1e-10)
        assert fit.coefficients.estimate == pytest.approx([table["y"].mean()], rel=1e-12)
        assert freedom.df_satterthwaite(fit.fixed, np.eye(1)) == pytest.approx([29], rel=1e-10)
        assert [note.code for note in fit.notes] == ["zero-variance"]
        assert fit.notes[0].text == (
            "The spread between levels of batch is estimated as zero. It keeps its place in the degrees of freedom: "
            "the layout, not the estimate, decides them."
        )
        by_satterthwaite = fit.means((), df="satterthwaite")
        assert [note.code for note in by_satterthwaite.notes] == ["zero-variance", "satterthwaite-at-zero"]
        assert by_satterthwaite.notes[1].text == (
            "A spread is estimated as zero, so Satterthwaite's degrees of freedom leave it out and are too many; "
            "use Kenward and Roger's."
        )

    @pytest.mark.parametrize(("seed", "zeros"), [(0, 1), (1, 1), (2, 0), (3, 0), (4, 0)])
    def test_two_df_left(self, seed: int, zeros: int) -> None:
        """Three media on two blades: the several-df formula is 0/0 there; its limit is the exact test."""
        table = crossed(np.random.default_rng(seed), media=3, blades=2, edges=2, cuts=2, sd=(0.5, 0.4, 0.1, 0.05))
        random = ["blade", ("blade", "medium"), "edge"]
        exact = anova(table, response="y", fixed=["medium"], random=random).table.set_index("term").loc["medium"]
        fit = fit_mixed(table, response="y", fixed=["medium"], random=random)
        assert (fit.optimum.variances == 0).sum() == zeros
        tested = fit.terms()
        assert tested.df2.tolist() == [2.0]
        assert tested.scaling.tolist() == [1.0]
        # a blade variance of zero lets REML pool, so that its F is another one, on the same df
        assert (tested.f == pytest.approx([exact["f"]], rel=1e-9)) == (zeros == 0)

    @pytest.mark.parametrize("seed", range(3))
    def test_one_df_left_gives_no_f_test_but_a_note(self, seed: int) -> None:
        """Three media on four blades: only the two blades of one medium show how blades differ."""
        table = nested(np.random.default_rng(seed), media=3, blades=2, edges=3, cuts=2, sd=(0.5, 0.1, 0.05))
        table = table[~table["blade"].isin(["m1b1", "m2b1"])]
        fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"])
        terms = fit.terms()
        assert np.isnan([terms.df2[0], terms.f[0], terms.p[0]]).all()
        assert [note.code for note in terms.notes] == ["df-undefined"]
        assert terms.notes[0].text == "Fewer than two denominator degrees of freedom: no F test is given."
        assert fit.contrasts("medium").df == pytest.approx([1, 1, 1], abs=0.1)

    def test_moments_near_the_limits(self) -> None:
        ell = 2
        assert freedom._moments(ell, 0.0, 0.0) == (np.inf, 1.0)
        assert freedom._moments(1, 0.0, 0.0) == (np.inf, 1.0)
        assert freedom._moments(1, 0.1, 0.1) == (20.0, 1.0)
        # an exact F test on m df has A1 = 2 ell^2 / m and A2 = 2 ell / m
        for m in (2.0, 3.0, 4.0, 7.0, 1000.0):
            df, scaling = freedom._moments(ell, 2 * ell**2 / m, 2 * ell / m)
            assert (df, scaling) == pytest.approx((m, 1.0), rel=1e-9)
        assert all(np.isnan(freedom._moments(ell, 2 * ell**2 / 1.0, 2 * ell / 1.0)))

    def test_variances_that_do_not_matter_give_infinite_df_and_the_normal_answer(self) -> None:
        fit = fit_mixed(unbalanced(1), response="y", fixed=["medium"], random=["edge"])
        known = replace(fit.fixed, w=np.zeros_like(fit.fixed.w))
        assert np.all(np.isinf(freedom.df_kenward_roger(known, np.eye(3))))
        tested = freedom.f_kenward_roger(known, np.eye(3)[1:])
        assert (tested.df2, tested.scaling) == (np.inf, 1.0)
        assert tested.p == pytest.approx(stats.chi2.sf(2 * tested.f, 2), rel=1e-12)
        assert freedom.Tested(3.0, 2, 1e9, 1.0).p == pytest.approx(freedom.Tested(3.0, 2, np.inf, 1.0).p, rel=1e-6)

    def test_no_observed_information_no_satterthwaite(self) -> None:
        fit = fit_mixed(unbalanced(1), response="y", fixed=["medium"], random=["edge"])
        without = replace(fit.fixed, w_observed=None)
        assert np.all(np.isnan(freedom.df_satterthwaite(without, np.eye(3))))

    def test_the_adjusted_covariance_is_never_smaller_on_average(self) -> None:
        """It adds what estimating the variances costs; seldom and little the other way."""
        ratios = []
        for seed in range(12):
            fixed = fit_mixed(unbalanced(seed), response="y", fixed=["medium"], random=["blade", "edge"]).fixed
            ratios.append(np.trace(fixed.adjusted) / np.trace(fixed.phi))
        assert np.mean(ratios) > 1.0
        assert min(ratios) > 0.95


class TestScales:
    @pytest.mark.parametrize("factor", [1e-6, 1e6])
    def test_the_unit_does_not_touch_df(self, factor: float) -> None:
        table = unbalanced(2)
        one, two = (fit_mixed(t, response="y", fixed=["medium"], random=["blade", "edge"])
                    for t in (table, table.assign(y=table["y"] * factor)))  # fmt: skip
        rows = np.eye(3)
        assert freedom.df_kenward_roger(two.fixed, rows) == pytest.approx(freedom.df_kenward_roger(one.fixed, rows))
        for adjusted in (True, False):
            se = freedom.standard_errors(one.fixed, rows, adjusted=adjusted)
            assert freedom.standard_errors(two.fixed, rows, adjusted=adjusted) == pytest.approx(factor * se, rel=1e-9)
