"""Many trials at once give what single fits give, and err as often as they may."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray
from reference.layouts import crossed, unbalanced
from scipy import stats

from sharpstats.errors import FitError
from sharpstats.model import freedom
from sharpstats.model import many as many_module
from sharpstats.model.many import SharedLayout, refit_many
from sharpstats.model.manyreml import evaluate, inverse
from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.model.reml import derivatives
from sharpstats.model.shared import find_chain, from_means, from_readings

Floats = NDArray[np.float64]

LAYOUTS: dict[str, dict[str, object]] = {
    "no random factor": {"random": []},
    "edges": {"random": ["edge"]},
    "blades and edges": {"random": ["blade", "edge"]},
    "blades and cuts": {"random": ["blade"]},
    "blades across days": {"random": ["blade", "day", "edge"]},
    "chain and days": {"random": ["blade", ("blade", "medium"), "day", "edge"]},
    "two factors": {"fixed": ["medium", "steel"], "random": ["blade", "edge"]},
    "covariate between": {"fixed": ["medium", "start"], "covariates": ["start"], "random": ["blade", "edge"]},
    "covariate within": {"fixed": ["medium", "position"], "covariates": ["position"], "random": ["blade", "edge"]},
    "media within blades": {"random": ["blade"], "whole": True},
    "one cut each": {"random": ["blade"], "one": True},
    "edges that spread differently": {"random": ["blade", "edge"], "spread_by": "medium"},
}


@lru_cache
def fitted(name: str) -> MixedFit:
    parts = {"fixed": ["medium"], **LAYOUTS[name]}
    table = unbalanced(11, edges=30)
    if parts.pop("whole", False):  # every blade has every medium equally often: media do not differ between blades
        table = crossed(np.random.default_rng(3), media=3, blades=5, edges=1, cuts=2)
    if parts.pop("one", False):
        table = table.drop_duplicates("edge")
    return fit_mixed(table, response="y", **parts)


def responses(fit: MixedFit, trials: int, seed: int) -> Floats:
    """Responses in which every term of the model has a part, some of them next to nothing."""
    rng = np.random.default_rng(seed)
    y = 0.2 * rng.standard_normal((trials, fit.frame.y.size))
    for codes in (*(upper[fit.units.unit] for upper in fit.units.upper), fit.units.unit):
        spread = 0.3 * rng.uniform(0, 1, (trials, 1))
        y += spread * rng.standard_normal((trials, int(codes.max()) + 1))[:, codes]
    return 5 + y


def medium_rows(fit: MixedFit) -> Floats:
    rows = np.zeros((2, len(fit.kept_columns)))
    rows[0, 1], rows[1, 1:3] = 1.0, (-1.0, 1.0)
    return rows


@pytest.mark.parametrize("name", LAYOUTS)
def test_criterion_and_derivatives_are_those_of_a_single_fit(name: str) -> None:
    fit, trials = fitted(name), 4
    y = responses(fit, trials, 1)
    c = len(fit.optimum.variances)
    s = np.random.default_rng(2).uniform(0.02, 0.3, (c, trials))
    s[1:, 1] = 0.0
    point = evaluate(fit.shared, from_readings(fit.shared, y), s)
    for b in range(trials):
        single = derivatives(fit.refit(y[b]).reduced, s[:, b])
        assert point.criterion[b] == pytest.approx(single.criterion, rel=1e-12)
        for found, known in (
            (point.gradient[:, b], single.gradient), (point.expected[..., b], single.expected),
            (point.hessian[..., b], single.hessian),
        ):  # fmt: skip
            np.testing.assert_allclose(found, known, rtol=1e-10, atol=1e-11 * np.abs(known).max())


@pytest.mark.parametrize("name", LAYOUTS)
def test_estimates_errors_and_df_are_those_of_single_fits(name: str) -> None:
    fit = fitted(name)
    rows, y = medium_rows(fit), responses(fit, 40, 3)
    many = refit_many(fit, y, rows)
    assert many.settled.all()
    for b in range(len(y)):
        single = fit.refit(y[b])
        se = freedom.standard_errors(single.fixed, rows, adjusted=True)
        np.testing.assert_allclose(many.estimate[b], rows @ single.fixed.beta, atol=1e-8 * se.min())
        np.testing.assert_allclose(many.se[b], se, rtol=1e-8)
        np.testing.assert_allclose(many.df[b], freedom.df_kenward_roger(single.fixed, rows), rtol=1e-8)
        top = single.optimum.variances.max()
        np.testing.assert_allclose(many.variances[b], single.optimum.variances, rtol=1e-7, atol=1e-8 * top)
        assert many.criterion[b] == pytest.approx(single.reml_criterion, abs=1e-9)


def test_a_spread_at_zero_is_told_as_zero() -> None:
    fit = fitted("blades and edges")
    many = refit_many(fit, np.random.default_rng(4).standard_normal((60, fit.frame.y.size)), medium_rows(fit))
    singles = np.array([fit.refit(row).optimum.variances for row in
                        np.random.default_rng(4).standard_normal((60, fit.frame.y.size))])  # fmt: skip
    assert np.array_equal(many.variances == 0, singles == 0)
    assert (many.variances == 0).any()


def test_means_and_sums_of_squares_are_enough() -> None:
    fit = fitted("chain and days")
    y = responses(fit, 30, 5)
    shared, size = fit.shared, fit.units.size
    means = np.array([np.bincount(fit.units.unit, weights=row) / size for row in y])
    within = ((y - means[:, fit.units.unit]) ** 2).sum(axis=1)
    layout = SharedLayout(fit, medium_rows(fit))
    by_means, by_readings = layout.fit_means(means, within), layout.fit(y)
    np.testing.assert_allclose(by_means.estimate, by_readings.estimate, rtol=1e-9, atol=1e-10)
    np.testing.assert_allclose(by_means.df, by_readings.df, rtol=1e-8)
    np.testing.assert_allclose(from_means(shared, means, within).squares[-1], within)


def test_trials_do_not_disturb_each_other() -> None:
    fit = fitted("chain and days")
    y, layout = responses(fit, 300, 6), SharedLayout(fit, medium_rows(fit))
    together, order = layout.fit(y), np.random.default_rng(1).permutation(300)
    shuffled = layout.fit(y[order])
    np.testing.assert_allclose(shuffled.se, together.se[order], rtol=1e-9)
    np.testing.assert_allclose(layout.fit(y[7:8]).variances, together.variances[7:8], rtol=1e-8, atol=1e-12)


def test_a_unit_change_scales_and_an_offset_does_nothing() -> None:
    fit = fitted("blades and edges")
    y, layout = responses(fit, 50, 7), SharedLayout(fit, medium_rows(fit))
    plain, turned = layout.fit(y), layout.fit(1000 * y + 5e5)
    np.testing.assert_allclose(turned.estimate, 1000 * plain.estimate, rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(turned.df, plain.df, rtol=1e-6)
    np.testing.assert_allclose(turned.statistic, plain.statistic, rtol=1e-6, atol=1e-8)


def test_balanced_trials_follow_students_t() -> None:
    """Balanced, every spread well away from zero: t has (media - 1)(blades - 1) df, exactly."""
    rng = np.random.default_rng(20261125)
    table = crossed(rng, media=3, blades=8, edges=2, cuts=2)
    fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", ("blade", "medium"), "edge"])
    trials, units = 4000, fit.units
    y = 0.2 * rng.standard_normal((trials, len(table))) + 0.2 * rng.standard_normal((trials, 48))[:, units.unit]
    for codes in units.upper:
        y += rng.standard_normal((trials, int(codes.max()) + 1))[:, codes[units.unit]]
    found = SharedLayout(fit, np.array([[0.0, 1.0, 0.0]])).fit(y)
    np.testing.assert_allclose(found.df, 14.0, rtol=1e-7)
    # Kolmogorov-Smirnov: a fixed seed, so that this passes always or never.
    assert stats.kstest(found.statistic.ravel(), stats.t(14).cdf).pvalue > 0.01
    rejected = float(np.mean(found.p <= 0.05))
    assert abs(rejected - 0.05) < 3 * np.sqrt(0.05 * 0.95 / trials)


def test_progress_and_table(monkeypatch: pytest.MonkeyPatch) -> None:
    fit, told = fitted("edges"), []
    many = SharedLayout(fit, medium_rows(fit)).fit(responses(fit, 300, 8), progress=told.append)
    assert told[-1] == many.trials == 300
    monkeypatch.setattr(many_module, "IN_CACHE", 1)
    SharedLayout(fit, medium_rows(fit)).fit(responses(fit, 150, 8), progress=told.append)
    assert told == [300, 64, 128, 150]
    assert many.table.columns.tolist() == ["trial", "contrast", "estimate", "se", "df", "statistic", "p"]
    assert many.table.loc[3, "estimate"] == many.estimate[1, 1]


def test_a_trial_without_any_spread_is_not_called_settled() -> None:
    fit = fitted("blades and edges")
    y = responses(fit, 3, 9)
    y[1] = 5.0
    many = refit_many(fit, y, medium_rows(fit))
    assert many.settled.tolist() == [True, False, True]
    assert np.isnan(many.estimate[1]).all()


def test_layouts_with_a_residual_for_each_medium_are_refused() -> None:
    table = unbalanced(11, edges=30).drop_duplicates("edge")
    fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"], spread_by="medium")
    with pytest.raises(FitError, match="know only one error of a reading"):
        SharedLayout(fit, medium_rows(fit))


def test_wrong_numbers_are_refused() -> None:
    fit = fitted("blades and edges")
    layout, readings = SharedLayout(fit, medium_rows(fit)), fit.frame.y.size
    with pytest.raises(ValueError, match=f"expected one row a trial with {readings} readings, got an array of shape"):
        layout.fit(np.ones((2, readings + 1)))
    y = responses(fit, 3, 1)
    y[2, 0] = np.nan
    with pytest.raises(ValueError, match="trial 2 has a value that is not finite"):
        layout.fit(y)
    with pytest.raises(ValueError, match="`within` is needed exactly where units have more than one reading"):
        layout.fit_means(np.ones((2, 30)))
    varied = fitted("covariate within")
    with pytest.raises(ValueError, match="A covariate varies within the units"):
        SharedLayout(varied, medium_rows(varied)).fit_means(np.ones((2, 30)), np.ones(2))


def test_contrasts_that_the_layout_does_not_answer_are_refused() -> None:
    table = crossed(np.random.default_rng(1))
    table = table.assign(steel="carbon")
    table.loc[table["medium"] == "m1", "steel"] = "stainless"
    fit = fit_mixed(table, response="y", fixed=["medium", "steel"], random=["blade", "edge"])
    with pytest.raises(FitError, match="does not answer one of the contrasts"):
        SharedLayout(fit, np.array([[0.0, 1.0, 0.0, 0.0]]))


def test_chain_of_terms_is_found_whatever_their_order() -> None:
    cell, blade, day = np.arange(6), np.repeat([0, 1], 3), np.array([0, 1, 0, 1, 0, 1])
    assert find_chain([day, blade, cell], [2, 2, 6], 6).terms in {(2, 1), (2, 0)}
    chain = find_chain([blade, cell], [2, 6], 6)
    assert (chain.terms, chain.cells, [starts.tolist() for starts in chain.starts]) == ((1, 0), 6, [[0, 3]])


def test_inverse_of_many_matrices() -> None:
    rng = np.random.default_rng(2)
    root = rng.standard_normal((4, 4, 20))
    matrix = np.einsum("abz,cbz->acz", root, root)
    found, log_det = inverse(matrix)
    np.testing.assert_allclose(found, np.moveaxis(np.linalg.inv(np.moveaxis(matrix, 2, 0)), 0, 2), rtol=1e-7)
    np.testing.assert_allclose(log_det, np.linalg.slogdet(np.moveaxis(matrix, 2, 0))[1], atol=1e-9)
    assert np.isnan(inverse(-matrix)[1]).all()
