"""Diagnostics: single edges against fits without them, Box-Cox against its definition, and what they say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from reference.dense import Dense
from reference.layouts import both, crossed, unbalanced
from scipy import optimize, stats

from sharpstats.errors import FitError
from sharpstats.model.diagnose import LAMBDAS, ScaleProfile, UnitResiduals, diagnose, scale_profile, unit_residuals
from sharpstats.model.mixed import MixedFit, fit_mixed


def of_units(fit: MixedFit) -> UnitResiduals:
    """Residuals of a fit with all pairs of its first factor's levels as contrasts."""
    z = [np.eye(count)[codes] for codes, count in zip(fit.units.upper, fit.units.levels, strict=True)]
    rows = np.column_stack([*z, fit.unit_means[:, list(fit.kept_columns)]])
    contrasts = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.0, 1.0, -1.0]])
    return unit_residuals(fit, rows, fit.unit_means[:, -1], fit.units.size, contrasts)


def without(dense: Dense, kept: np.ndarray) -> Dense:
    return replace(dense, y=dense.y[kept], x=dense.x[kept], g=[part[np.ix_(kept, kept)] for part in dense.g])


class TestUnitResiduals:
    @pytest.mark.parametrize("seed", range(3))
    def test_against_leaving_each_edge_out_in_turn(self, seed: int) -> None:
        """At unchanged variances, with dense matrices."""
        table = unbalanced(seed)
        fit, dense, _ = both(table, ["medium"], ["blade", "edge"])
        found = of_units(fit)
        contrasts = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.0, 1.0, -1.0]])
        se = np.sqrt(np.diag(contrasts @ dense.phi @ contrasts.T))
        for edge in range(len(found.deleted)):
            inside = fit.units.unit == edge
            rest = without(dense, ~inside)
            moved = np.abs(contrasts @ (rest.beta - dense.beta)) / se
            assert found.influence[edge] == pytest.approx(moved.max(), rel=1e-7, abs=1e-9)
            # the edge's mean against its best prediction from all the others
            link = dense.v[np.ix_(inside, ~inside)].mean(axis=0) @ np.linalg.inv(rest.v)
            x_left = dense.x[inside].mean(axis=0) - link @ rest.x
            predicted = dense.x[inside].mean(axis=0) @ rest.beta + link @ (rest.y - rest.x @ rest.beta)
            variance = (
                dense.v[np.ix_(inside, inside)].mean() - link @ dense.v[np.ix_(~inside, inside)].mean(axis=1)
                + x_left @ rest.phi @ x_left
            )  # fmt: skip
            gap = dense.y[inside].mean() - predicted
            assert found.deleted[edge] == pytest.approx(gap / np.sqrt(variance), rel=1e-7)

    def test_fitted_values_hold_the_blocks_and_residuals_the_rest(self) -> None:
        fit, dense, places = both(unbalanced(1), ["medium"], ["blade", "edge"])
        found = of_units(fit)
        blade = dense.s[0] * dense.g[0] @ dense.projector @ dense.y
        expected = (dense.x @ dense.beta + blade)[fit.units.first] - fit.offset
        assert found.fitted == pytest.approx(expected, rel=1e-8, abs=1e-9)
        assert found.fitted + found.residual == pytest.approx(fit.unit_means[:, -1], abs=1e-12)
        assert places == [2, 1, 0]

    def test_an_edge_alone_in_its_cell_moves_its_own_difference_most(self) -> None:
        table = crossed(np.random.default_rng(6), media=3, blades=3, edges=2, cuts=2)
        table.loc[table["edge"] == "e7", "y"] += 3.0
        fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"])
        found = of_units(fit)
        names = table["edge"].to_numpy()[fit.units.first]
        assert names[np.argmax(found.influence)] == "e7"
        assert names[np.argmax(np.abs(found.deleted))] == "e7"


def simulated(power: float, seed: int = 0) -> tuple[MixedFit, np.ndarray]:
    """Readings with even spread on the log scale (power 0) or as read (power 1)."""
    rng = np.random.default_rng(seed)
    table = crossed(rng, media=3, blades=5, edges=2, cuts=4, sd=(0.1, 0.05, 0.2, 0.2))
    table["reading"] = np.exp(table["y"]) if power == 0 else 60 * (table["y"] - table["y"].min() + 0.2)
    fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"])
    return fit, table["reading"].to_numpy()


class TestScaleProfile:
    def test_each_point_is_the_criterion_with_its_jacobian(self) -> None:
        """-2 log likelihood of the readings themselves: the transformation's derivative included."""
        fit, readings = simulated(0.0)
        profile = scale_profile(readings, fit.criterion_for)
        assert profile is not None
        direct = []
        for power in LAMBDAS:
            transformed = np.log(readings) if power == 0 else (readings**power - 1) / power
            direct.append(fit.criterion_for(transformed) - 2 * (power - 1) * np.log(readings).sum())
        # REML counts N - p readings where the Jacobian counts N: p of them are left over
        corrected = np.array(direct) + 2 * fit.reduced.p * LAMBDAS * np.log(readings).mean()
        assert profile.criterion == pytest.approx(corrected - corrected.min(), abs=1e-6)

    @pytest.mark.parametrize(("power", "scale", "other"), [(0.0, "log", "as read"), (1.0, "as read", "log")])
    def test_the_right_scale_is_found(self, power: float, scale: str, other: str) -> None:
        within, excluded = 0, 0
        for seed in range(6):
            fit, readings = simulated(power, seed)
            profile = scale_profile(readings, fit.criterion_for)
            assert profile is not None
            within += profile.allows(scale)
            excluded += not profile.allows(other)
        assert within >= 5
        assert excluded >= 5

    def test_without_random_factors_it_is_the_textbook_maximum(self) -> None:
        """Against SciPy's Box-Cox of one sample; REML's one lost df moves it little."""
        rng = np.random.default_rng(4)
        readings = np.exp(rng.normal(5, 0.3, 400))
        fit = fit_mixed(pd.DataFrame({"y": np.log(readings)}), response="y")
        profile = scale_profile(readings, fit.criterion_for)
        _, theirs = stats.boxcox(readings)
        assert profile is not None
        assert profile.best == pytest.approx(theirs, abs=0.02)
        assert profile.low < theirs < profile.high

    def test_the_unit_does_not_matter(self) -> None:
        fit, readings = simulated(0.0)
        one, two = (scale_profile(values, fit.criterion_for) for values in (readings, readings * 0.00980665))
        assert one is not None and two is not None
        assert two.criterion == pytest.approx(one.criterion, abs=1e-7)
        assert (two.best, two.low, two.high) == pytest.approx((one.best, one.low, one.high), abs=1e-7)

    def test_readings_that_are_not_positive_have_no_powers(self) -> None:
        fit, readings = simulated(0.0)
        assert scale_profile(np.append(readings[:-1], 0.0), fit.criterion_for) is None

    def test_too_few_powers_can_be_fitted(self) -> None:
        def never(_: np.ndarray) -> float:
            raise FitError("no")

        assert scale_profile(np.array([1.0, 2.0, 3.0]), never) is None

    def test_best_is_the_vertex_of_the_parabola_through_three_points(self) -> None:
        curve = 40 * (LAMBDAS - 0.37) ** 2
        steps = iter(curve)
        profile = scale_profile(np.array([1.0, 2.0, 4.0]), lambda _: next(steps))
        assert profile is not None
        assert profile.best == pytest.approx(0.37, abs=1e-9)
        reach = optimize.brentq(lambda x: 40 * x**2 - stats.chi2.ppf(0.95, 1) - curve.min(), 0, 1)
        assert 0.37 - reach <= profile.low <= 0.37 - reach + 0.125
        assert 0.37 + reach - 0.125 <= profile.high <= 0.37 + reach


def edges(count: int = 20, seed: int = 0, **columns: object) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    table = pd.DataFrame({"edge": [f"e{i}" for i in range(count)], "mean": np.linspace(4.5, 5.5, count), "cuts": 5,
                          "sd": np.exp(rng.normal(-2, 0.2, count)), "deleted": rng.normal(0, 1, count),
                          "influence": rng.uniform(0, 0.5, count)})  # fmt: skip
    return table.assign(**columns)


class TestWhatIsSaid:
    def test_nothing_where_nothing_is_wrong(self) -> None:
        found = diagnose(edges(), ScaleProfile(LAMBDAS, LAMBDAS * 0, 0.1, -0.5, 0.6), "log")
        assert found.notes == ()
        assert found.table["term"].tolist() == ["spread against level (slope)", "normality of edges (Shapiro-Wilk)"]

    def test_spread_that_grows(self) -> None:
        table = edges(sd=np.exp(np.linspace(-3, -1, 20)))
        found = diagnose(table, None, "as read")
        assert found.spread is not None
        assert found.spread.slope == pytest.approx(2.0, rel=1e-9)
        assert [note.code for note in found.notes] == ["uneven-spread"]
        assert found.notes[0].text.startswith("The spread of cuts within an edge grows with the reading (p = ")
        assert found.notes[0].text.endswith(") on this scale.")
        shrinking = diagnose(edges(sd=np.exp(np.linspace(-1, -3, 20))), None, "log").notes
        assert "shrinks with the reading" in shrinking[0].text

    def test_spread_against_scipy(self) -> None:
        table = edges()
        outside = stats.linregress(table["mean"], np.log(table["sd"]))
        found = diagnose(table, None, "log").spread
        assert found is not None
        assert (found.slope, found.p) == pytest.approx((outside.slope, outside.pvalue), rel=1e-12)

    def test_edges_far_out(self) -> None:
        deleted = np.append(edges()["deleted"].to_numpy()[:-1], 6.5)
        found = diagnose(edges(deleted=deleted), None, "log")
        assert [note.code for note in found.notes] == ["not-normal", "far-edge"]
        assert found.notes[1].text == (
            "Edge e19 lies 6.5 standard errors from what the others predict. It stays in; look for the reason in its "
            "notes."
        )
        assert found.normality is not None
        assert found.normality.p == pytest.approx(stats.shapiro(deleted).pvalue, rel=1e-12)

    def test_the_scale_that_suits_is_named(self) -> None:
        profile = ScaleProfile(LAMBDAS, LAMBDAS * 0, 0.9, 0.5, 1.25)
        found = diagnose(edges(), profile, "log")
        assert [note.code for note in found.notes] == ["scale-looks-wrong"]
        assert found.notes[0].text == (
            'The readings do not suit the scale "log": the best power is 0.9 (95 % interval 0.5 to 1.25; 0 is log, '
            '1 is as read). The scale "as read" suits them. A plan keeps its scale once readings are in.'
        )
        neither = ScaleProfile(LAMBDAS, LAMBDAS * 0, 1.8, 1.5, 2.0)
        assert "suits them" not in diagnose(edges(), neither, "log").notes[0].text

    def test_the_five_edges_that_matter_most(self) -> None:
        table = edges(influence=np.arange(20.0))
        assert diagnose(table, None, "log").influence["edge"].tolist() == ["e19", "e18", "e17", "e16", "e15"]
        assert diagnose(table, None, "log").influence.columns.tolist() == ["edge", "change", "deleted"]

    def test_few_edges_are_not_tested(self) -> None:
        found = diagnose(edges(7), None, "log")
        assert found.spread is None
        assert found.normality is None
        assert found.table.empty

    def test_edges_of_two_cuts_or_without_spread_say_nothing_of_it(self) -> None:
        assert diagnose(edges(cuts=2), None, "log").spread is None
        assert diagnose(edges(sd=0.0), None, "log").spread is None
