"""Cuts over the range: the kernel, and `fit_mixed(..., over=)`.

Held against the uncensored fit where nothing is over the range, against the exact likelihood by
quadrature written anew, and against SciPy's censored normal distribution.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from reference.layouts import crossed, nested, unbalanced
from reference.stored import stored_json, stored_table
from scipy import integrate, optimize, special, stats

from sharpstats.errors import FitError
from sharpstats.model import overrange
from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.model.overrange import Criterion, over_range_derivatives
from sharpstats.model.oversums import reduce_over_range
from sharpstats.model.reml import derivatives, maximise


def limited(table: pd.DataFrame, share: float, step: float = 0.0) -> pd.DataFrame:
    """Put the largest values over the range; with a step, limits alternate between two."""
    limit = np.quantile(table["y"], 1 - share) + step * (np.arange(len(table)) % 2)
    return table.assign(over=table["y"] > limit, y=np.minimum(table["y"], limit))


def fitted(table: pd.DataFrame, random: tuple[str, ...] = ("blade", "edge"), **more: object) -> MixedFit:
    found: MixedFit = fit_mixed(table, response="y", fixed=["medium"], random=list(random), over="over", **more)
    return found


class TestNothingOverTheRange:
    @pytest.mark.parametrize("seed", range(4))
    def test_the_criterion_is_the_restricted_likelihood(self, seed: int) -> None:
        """To 12 digits at any variances, gradient and all; and the optimum to 10."""
        fit = fit_mixed(unbalanced(seed), response="y", fixed=["medium", "steel"], random=["blade", "day", "edge"])
        x, y = fit.unit_means[:, :-1], fit.frame.y - fit.offset
        sums = reduce_over_range(fit.units, x, y, np.zeros(y.size, dtype=bool))
        criterion = Criterion(sums.model(fit.kept_columns), sums.start)
        s = fit.optimum.variances * np.random.default_rng(seed).uniform(0.3, 3, fit.optimum.variances.size)
        ours, plain = criterion(s), derivatives(fit.reduced, s)
        assert ours.criterion == pytest.approx(plain.criterion, rel=1e-12)
        assert ours.gradient == pytest.approx(plain.gradient, rel=1e-9, abs=1e-9)
        found = maximise(fit.reduced, evaluate=Criterion(sums.model(fit.kept_columns), sums.start))
        assert found.variances == pytest.approx(fit.optimum.variances, rel=1e-9, abs=1e-12)
        assert found.criterion == pytest.approx(fit.optimum.criterion, rel=1e-12)

    def test_a_limit_far_below_everything_says_nothing(self) -> None:
        """The same fit, intervals and all, as without those cuts; df by differences of the gradient, to 7 digits."""
        table = unbalanced(1)
        extra = table.drop_duplicates("edge").assign(y=-50.0, over=True)
        one = fitted(pd.concat([table.assign(over=False), extra]))
        two = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"])
        for field in ("estimate", "se", "df", "low", "high"):
            ours, plain = (getattr(fit.contrasts("medium"), field) for fit in (one, two))
            assert ours == pytest.approx(plain, rel=1e-7 if field == "df" else 1e-8), field
        assert one.components.high == pytest.approx(two.components.high, rel=1e-5)
        assert one.optimum.expected == pytest.approx(two.optimum.expected, rel=1e-4)
        assert one.reml_criterion == pytest.approx(two.reml_criterion, rel=1e-10)

    def test_no_flag_set_is_the_fit_without(self) -> None:
        table = unbalanced(2).assign(over=False)
        assert fitted(table).over is None


def exact_edge(eta: np.ndarray, s0: float, s1: float, y: np.ndarray, over: np.ndarray) -> np.ndarray:
    """Likelihood of one edge's cuts for each eta, by Gauss and Hermite's rule."""
    points, weights = np.polynomial.hermite_e.hermegauss(40)
    place = eta[..., None] + np.sqrt(s1) * points
    each = [special.ndtr((place - v) / np.sqrt(s0)) if o else stats.norm.pdf(v, place, np.sqrt(s0))
            for v, o in zip(y, over, strict=True)]  # fmt: skip
    return np.asarray(np.prod(each, axis=0) @ weights / np.sqrt(2 * np.pi))


def tiny_nested(seed: int) -> pd.DataFrame:
    """Four blades with two edges each, four cuts an edge."""
    return nested(np.random.default_rng(seed), media=1, blades=4, edges=2, cuts=4, sd=(0.3, 0.3, 0.3))


def exact_criterion(table: pd.DataFrame, s: np.ndarray, count: int = 24) -> float:
    """-2 log restricted likelihood of one medium on blades: the mean and each blade integrated exactly.

    Given the mean, blades are independent: an integral over the edge inside one over the blade
    inside one over the mean (flat).
    """
    points, weights = np.polynomial.hermite_e.hermegauss(count)
    mean = np.linspace(-2.5, 2.5, 61) + table["y"].mean()
    log = np.zeros_like(mean)
    for _, blade in table.groupby("blade"):
        eta = mean[:, None] + np.sqrt(s[2]) * points
        inside = np.ones_like(eta)
        for _, edge in blade.groupby("edge"):
            inside *= exact_edge(eta, s[0], s[1], edge["y"].to_numpy(), edge["over"].to_numpy())
        log += np.log(inside @ weights / np.sqrt(2 * np.pi))
    return -2 * float(log.max() + np.log(integrate.trapezoid(np.exp(log - log.max()), mean)))


def sampled_criterion(table: pd.DataFrame, fit: MixedFit, s: np.ndarray) -> tuple[float, float]:
    """-2 log restricted likelihood by 4,000 draws of all effects about the mode (t with 20 df), with its error."""
    assert fit.over is not None
    _, mode = over_range_derivatives(fit.over.model, s, fit.over.eta)
    law = stats.multivariate_t(mode.effects, mode.m, df=20, seed=np.random.default_rng(1))
    drawn = law.rvs(4000)
    variance = np.repeat(s[2:], fit.units.levels)
    log = stats.norm.logpdf(drawn[:, :-1], 0, np.sqrt(variance)).sum(axis=1) - law.logpdf(drawn)
    first = table.iloc[fit.units.first]
    z = np.column_stack([np.eye(n)[codes] for codes, n in zip(fit.units.upper, fit.units.levels, strict=True)])
    for k, edge in enumerate(first["edge"]):
        cuts = table[table["edge"] == edge]
        eta = drawn[:, :-1] @ z[k] + drawn[:, -1] + fit.offset
        log += np.log(exact_edge(eta, s[0], s[1], cuts["y"].to_numpy(), cuts["over"].to_numpy()))
    weight = np.exp(log - log.max())
    return -2 * float(log.max() + np.log(weight.mean())), 2 * float(weight.std() / weight.mean() / np.sqrt(4000))


class TestExactLikelihood:
    VARIANCES = (np.array([0.09, 0.09, 0.09]), np.array([0.09, 0.02, 0.2]), np.array([0.2, 0.1, 0.03]))

    @pytest.mark.parametrize(("share", "bound"), [(0.0, 1e-6), (0.1, 0.003), (0.3, 0.01)])
    def test_nested_blades(self, share: float, bound: float) -> None:
        """Laplace's method is exact without cuts over the range, and near on the tiniest layout with them."""
        table = limited(tiny_nested(3), share) if share else tiny_nested(3).assign(over=False)
        fit = fit_mixed(table.drop(columns="over"), response="y", random=["blade", "edge"])
        sums = reduce_over_range(fit.units, fit.unit_means[:, :-1], fit.frame.y - fit.offset, table["over"].to_numpy())
        criterion = Criterion(sums.model((0,)), sums.start)
        for s in self.VARIANCES:
            assert criterion(s).criterion == pytest.approx(exact_criterion(table, s, 60), abs=bound)

    def test_crossed_blades_and_days(self) -> None:
        """All effects at once by importance sampling about the mode: within its error (4 SE) and 0.01."""
        table = crossed(np.random.default_rng(8), media=3, blades=4, edges=2, cuts=3, sd=(0.3, 0.0, 0.2, 0.2))
        table = limited(table.rename(columns={"medium": "day"}), 0.25)
        fit = fit_mixed(table, response="y", random=["blade", "day", "edge"], over="over")
        assert fit.over is not None
        s = np.array([0.05, 0.04, 0.09, 0.04])
        criterion, (value, error) = fit.over.criterion(s).criterion, sampled_criterion(table, fit, s)
        assert error < 0.012
        assert criterion == pytest.approx(value, abs=4 * error + 0.01)

    def test_variances_are_those_of_the_exact_likelihood(self) -> None:
        """A direct search on the exact likelihood: within 3 % of each SD, a twentieth of their error."""
        table = limited(tiny_nested(5), 0.2)
        fit = fit_mixed(table, response="y", random=["blade", "edge"], over="over")
        start = np.log(fit.optimum.variances)
        exact = optimize.minimize(lambda v: exact_criterion(table, np.exp(v)), start, method="Nelder-Mead",
                                  options={"xatol": 1e-3, "fatol": 1e-5, "maxiter": 120})  # fmt: skip
        assert np.exp(start / 2) == pytest.approx(np.exp(exact.x / 2), rel=0.03)


def test_a_censored_normal_sample_as_scipy_fits_it() -> None:
    """No random effect: at SciPy's maximum likelihood variance our mean is SciPy's (8 digits)."""
    rng = np.random.default_rng(4)
    y = rng.normal(5, 1, 40)
    limit = np.where(np.arange(40) % 2, 5.6, 5.9)
    table = pd.DataFrame({"y": np.minimum(y, limit), "over": y > limit})
    data = stats.CensoredData(uncensored=table["y"][~table["over"]], right=table["y"][table["over"]])
    fit = fit_mixed(table, response="y", over="over")
    assert fit.over is not None

    def minus_log(values: np.ndarray) -> float:
        inside = stats.norm.logpdf(table["y"][~table["over"]], values[0], np.exp(values[1])).sum()
        return -float(inside + stats.norm.logsf(table["y"][table["over"]], values[0], np.exp(values[1])).sum())

    loc, scale = stats.norm.fit(data)
    best = optimize.minimize(minus_log, [loc, np.log(scale)], method="BFGS", options={"gtol": 1e-9})
    assert (loc, scale) == pytest.approx((best.x[0], np.exp(best.x[1])), rel=1e-4)  # SciPy stops early
    variance = np.array([np.exp(2 * best.x[1])])
    _, mode = over_range_derivatives(fit.over.model, variance, fit.over.eta)
    assert mode.effects[0] + fit.offset == pytest.approx(best.x[0], rel=1e-7)
    # the restricted likelihood is the profile likelihood less the log of the mean's own spread
    found = Criterion(fit.over.model, fit.over.eta)(variance).criterion
    assert found - mode.log_det + np.log(2 * np.pi) == pytest.approx(2 * minus_log(best.x), rel=1e-9)
    assert variance[0] < fit.optimum.variances[0] < variance[0] * 40 / 36


def test_a_censored_normal_regression_as_r_fits_it() -> None:
    """R's survival, one cut an edge: at its variance the same effects, SEs and likelihood, to 10 digits."""
    table = stored_table("r/surv_gauss_a")
    table = table.assign(y=np.log(table["force"]), over=table["over"] == 1)
    r = stored_json("r/surv_gauss_a")["censored"]
    fit = fitted(table, ())
    assert fit.over is not None
    variance = np.array([r["scale"] ** 2])
    found, mode = over_range_derivatives(fit.over.model, variance, fit.over.eta)
    expected = [row["estimate"] for row in r["coefficients"]][:3]
    assert mode.effects + fit.offset * np.eye(3)[0] == pytest.approx(expected, rel=1e-10)
    given_scale = np.linalg.inv(np.linalg.inv(r["vcov"])[:3, :3])
    assert mode.m == pytest.approx(given_scale, rel=1e-10)
    assert found.criterion - mode.log_det + 3 * np.log(2 * np.pi) == pytest.approx(-2 * r["loglik"], rel=1e-11)


class TestGradient:
    @pytest.mark.parametrize("seed", range(3))
    def test_it_is_that_of_the_criterion(self, seed: int) -> None:
        fit = fitted(limited(unbalanced(seed, edges=24), 0.3, step=0.1), ("blade", "day", "edge"))
        assert fit.over is not None
        criterion = fit.over.criterion
        s = fit.optimum.variances + 0.02
        for i, h in enumerate(1e-4 * s):
            up, down = s.copy(), s.copy()
            up[i], down[i] = s[i] + h, s[i] - h
            slope = (criterion(up).criterion - criterion(down).criterion) / (2 * h)
            assert criterion(s).gradient[i] == pytest.approx(slope, rel=1e-5, abs=1e-6)

    def test_it_is_there_at_zero_variances(self) -> None:
        fit = fitted(limited(unbalanced(1, edges=24), 0.3), ("blade", "day", "edge"))
        assert fit.over is not None
        criterion = fit.over.criterion
        for i in range(1, 4):
            s = fit.optimum.variances + 0.02
            s[i] = 0.0
            h = 1e-6
            ahead = [criterion(s + k * h * np.eye(4)[i]).criterion for k in (0, 1, 2)]
            slope = (-3 * ahead[0] + 4 * ahead[1] - ahead[2]) / (2 * h)
            assert criterion(s).gradient[i] == pytest.approx(slope, rel=1e-4)

    @pytest.mark.parametrize("seed", range(12))
    def test_every_fit_ends_where_it_is_nil(self, seed: int) -> None:
        """Half, a quarter and a tenth over the range; components at zero keep an outward slope."""
        table = limited(unbalanced(seed, edges=24), (0.5, 0.25, 0.1)[seed % 3], step=0.05)
        fit = fitted(table)
        assert fit.over is not None
        slope, s = fit.over.criterion(fit.optimum.variances).gradient, fit.optimum.variances
        assert np.abs(slope * s).max() < 1e-6
        assert np.all(slope[s == 0] > 0)


class TestEquivalentFit:
    def test_its_weighted_fit_is_the_mode(self) -> None:
        fit = fitted(limited(unbalanced(3, edges=24), 0.25))
        assert fit.over is not None
        means = fit.means("medium").estimate
        again = replace(fit, fixed=replace(fit.fixed)).means("medium").estimate
        assert means == pytest.approx(again, rel=1e-12)
        assert np.all(fit.unit_sizes <= fit.units.size)
        assert np.all(fit.unit_sizes > 0)
        assert fit.unit_sizes[fit.over.sizes == fit.units.size].size >= 12

    def test_working_means_lie_above_the_limits(self) -> None:
        table = limited(crossed(np.random.default_rng(1), cuts=1), 0.25)
        fit = fitted(table)
        over = table["over"].to_numpy()[fit.units.first]
        assert np.all(fit.unit_means[over, -1] + fit.offset > table["y"].to_numpy()[fit.units.first][over])

    def test_standard_errors_are_those_of_the_likelihood(self) -> None:
        """At the fitted variances the covariance of the means is the inverse of the observed information."""
        fit = fitted(limited(crossed(np.random.default_rng(6), blades=6), 0.2))
        assert fit.over is not None
        _, mode = over_range_derivatives(fit.over.model, fit.optimum.variances, fit.over.eta)
        q = fit.reduced.q
        assert fit.fixed.phi == pytest.approx(mode.m[q:, q:], rel=1e-8)
        assert fit.fixed.beta == pytest.approx(mode.effects[q:], rel=1e-8)


    def test_many_edges_share_strata(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Standard errors keep three digits."""
        table = limited(crossed(np.random.default_rng(3), blades=10, edges=4), 0.3)
        one = fitted(table)
        monkeypatch.setattr(overrange, "MANY", 10)
        two = fitted(table)
        assert len(two.reduced.sizes) < len(one.reduced.sizes)
        assert two.reduced.sizes.sum() == one.reduced.sizes.sum()
        assert two.optimum.variances == pytest.approx(one.optimum.variances, rel=1e-6)
        for field, digits in (("se", 1e-3), ("df", 1e-2)):
            ours, other = (getattr(fit.contrasts("medium"), field) for fit in (two, one))
            assert ours == pytest.approx(other, rel=digits)
        apart = two.contrasts("medium").estimate - one.contrasts("medium").estimate
        assert np.abs(apart / one.contrasts("medium").se).max() < 1e-3


class TestNothingElseMatters:
    TABLE = limited(unbalanced(4, edges=24), 0.2, step=0.1)

    def test_order_of_rows_and_names(self) -> None:
        one = fitted(self.TABLE)
        shuffled = self.TABLE.sample(frac=1, random_state=1)
        two = fitted(shuffled.assign(edge="x" + shuffled["edge"]))
        for field in ("estimate", "se", "df", "p"):
            ours, other = (getattr(fit.contrasts("medium"), field) for fit in (one, two))
            assert other == pytest.approx(ours, rel=1e-6, abs=1e-9), field

    def test_units(self) -> None:
        one, two = fitted(self.TABLE), fitted(self.TABLE.assign(y=3 * self.TABLE["y"] + 100))
        assert two.contrasts("medium").estimate == pytest.approx(3 * one.contrasts("medium").estimate, rel=1e-7)
        assert two.contrasts("medium").df == pytest.approx(one.contrasts("medium").df, rel=1e-5)
        assert two.optimum.variances == pytest.approx(9 * one.optimum.variances, rel=1e-6, abs=1e-9)

    def test_refitting_the_same_response_changes_nothing(self) -> None:
        fit = fitted(self.TABLE)
        again = fit.refit(self.TABLE["y"].to_numpy())
        assert again.optimum.variances.tolist() == fit.optimum.variances.tolist()
        assert fit.criterion_for(self.TABLE["y"].to_numpy()) == fit.reml_criterion


    def test_many_responses_at_once_are_refused(self) -> None:
        with pytest.raises(FitError, match=r"^Fits of many responses together know no readings over the range"):
            _ = fitted(self.TABLE).shared


class TestBadInput:
    def test_everything_over_the_range(self) -> None:
        with pytest.raises(FitError, match=r"^All values of `y` are over the range, so nothing is known but"):
            fitted(unbalanced(1).assign(over=True))

    def test_a_medium_without_a_cut_in_range(self) -> None:
        table = unbalanced(1)
        with pytest.raises(FitError, match=r"alone in their combination .* their mean has no upper end\. Leave them"):
            fitted(table.assign(over=table["medium"] == "m1"))

    def test_a_covariate_that_changes_within_edges(self) -> None:
        table = limited(unbalanced(1), 0.1)
        with pytest.raises(FitError, match=r"changes within one edge\. With readings over the range"):
            fit_mixed(table, response="y", fixed=["medium", "position"], random=["edge"], covariates=["position"],
                      over="over")  # fmt: skip

    def test_a_file_of_many_readings(self, tmp_path: Path) -> None:
        with pytest.raises(ValueError, match=r"^`over` needs the readings in a table, not a file"):
            fit_mixed(tmp_path / "readings.csv", response="y", over="over")

    def test_spreads_by_medium(self) -> None:
        """Each medium its own spread between edges: the fit ends where the gradient is nil."""
        table = limited(nested(np.random.default_rng(3), media=2, blades=8, edges=1, cuts=4, sd=(0.0, 0.2, 0.1)), 0.2)
        fit = fit_mixed(table, response="y", fixed=["medium"], random=["edge"], spread_by="medium", over="over")
        assert fit.over is not None
        slope, s = fit.over.criterion(fit.optimum.variances).gradient, fit.optimum.variances
        assert s.shape == (3,)
        assert np.abs(slope * s).max() < 1e-6
        one = table.drop_duplicates(["edge"])
        with pytest.raises(FitError, match=r"^With one reading for each edge, some over the range, a spread that"):
            fit_mixed(one, response="y", fixed=["medium"], random=["edge"], spread_by="medium", over="over")

    def test_equal_cuts(self) -> None:
        table = unbalanced(1)
        with pytest.raises(FitError, match=r"^All values of `y` are equal"):
            fitted(table.assign(y=5.0, over=table.index % 5 == 0))

    def test_too_few_edges_in_range(self) -> None:
        table = nested(np.random.default_rng(1))
        seen = table.drop_duplicates("medium").index
        with pytest.raises(FitError, match=r"^There are 3 levels of edge for 3 fixed effects"):
            fitted(table.assign(over=~table.index.isin(seen)))

    @pytest.mark.parametrize("flags", ["over the range", "missing"])
    def test_flags_that_are_none(self, flags: str) -> None:
        table = unbalanced(1).assign(over="yes")
        with pytest.raises(FitError, match=r"^`over` must name a column of True and False without blanks"):
            fit_mixed(table, response="y", over="over" if flags == "over the range" else "beyond")

    def test_one_cut_an_edge_and_no_random_term_at_all(self) -> None:
        table = limited(crossed(np.random.default_rng(1), cuts=1, blades=6), 0.2)
        assert np.isfinite(fitted(table).contrasts("medium").df).all()
        plain = fit_mixed(table, response="y", fixed=["medium"], over="over")
        assert plain.optimum.variances.shape == (1,)
        assert np.isfinite(plain.contrasts("medium").estimate).all()

    def test_limits_below_other_readings(self) -> None:
        """Two testers, one with the lower limit: its readings over the range may be low ones."""
        table = crossed(np.random.default_rng(2), blades=6)
        low = (table["blade"].isin(["b0", "b1"])) & (table["y"] > 4.9)
        fit = fitted(table.assign(over=low, y=np.where(low, 4.9, table["y"])))
        whole = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"])
        assert fit.contrasts("medium").estimate == pytest.approx(whole.contrasts("medium").estimate, abs=0.1)
