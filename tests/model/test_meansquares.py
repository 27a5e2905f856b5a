"""Variances by mean squares: a published gauge study, hand arithmetic, coverage on whole layouts, what is told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from reference.layouts import crossed
from reference.stored import stored_json, stored_table
from scipy import stats

from sharpstats.model.mixed import MixedFit, fit_mixed

GAUGE = ["part", "appraiser", ("part", "appraiser")]
THEIRS = {"part": "part", "appraiser": "appraiser", "part x appraiser": "appraiser_by_part", "residual": "equipment"}


@pytest.fixture(scope="module")
def gauge() -> MixedFit:
    return fit_mixed(stored_table("gauge/msa_10x3x3"), response="value", random=GAUGE)


class TestGaugeStudy:
    """Measurement Systems Analysis Reference Manual, 3rd ed., recalled: 10 parts, 3 appraisers, 3 trials."""

    def test_mean_squares(self, gauge: MixedFit) -> None:
        published = stored_json("gauge/msa_10x3x3")["anova"]
        table = gauge.mean_squares.table.set_index("term")
        for ours, theirs in THEIRS.items():
            row = table.loc[ours]
            assert row["df"] == published[theirs]["df"]
            assert row["df"] * row["mean_square"] == pytest.approx(float(published[theirs]["SS"]), abs=5.1e-5)
            assert row["mean_square"] == pytest.approx(float(published[theirs]["MS"]), abs=5.1e-6)

    def test_variances_and_a_component_below_zero(self, gauge: MixedFit) -> None:
        exact = stored_json("gauge/msa_10x3x3")["recomputed_not_pooled"]
        found = gauge.mean_squares.components
        assert found.variances == pytest.approx(
            [exact["part_var"], exact["appraiser_var"], 0, exact["repeatability_var"]], rel=1e-12
        )
        raw = gauge.mean_squares.weights @ gauge.mean_squares.mean_square
        assert raw[2] == pytest.approx(exact["interaction_var_raw"], rel=1e-11)
        assert [note.code for note in found.notes] == ["below-zero"]
        assert found.notes[0].text == (
            "The mean squares put the variance between levels of part x appraiser below zero, and it is told as zero: "
            "the layout shows no such spread."
        )

    def test_with_the_interaction_at_zero_the_likelihood_pools_it_as_the_manual_does(self, gauge: MixedFit) -> None:
        published = stored_json("gauge/msa_10x3x3")["interaction_pooled_with_error"]
        part, appraiser, both, residual = gauge.components.variances
        assert both == 0
        for variance, name in ((residual, "EV"), (appraiser, "AV"), (part, "PV")):
            assert variance**0.5 == pytest.approx(float(published[f"{name}_sd"]), abs=5.1e-7)
        # Printed as 0.302373, chained from rounded parts.
        assert np.sqrt(appraiser + residual) == pytest.approx(float(published["GRR_sd"]), abs=2e-6)


class TestByHand:
    def test_one_way(self) -> None:
        """Dyestuff, 6 batches of 5: mean squares 11271.5 and 2451.25 (Davies & Goldsmith 1972)."""
        found = fit_mixed(stored_table("r/lmm_dyestuff"), response="Yield", random=["Batch"]).mean_squares
        assert found.mean_square == pytest.approx([11271.5, 2451.25], rel=1e-11)
        assert found.components.variances == pytest.approx([1764.05, 2451.25], rel=1e-11)
        residual = 24 * 2451.25 / stats.chi2.ppf([0.975, 0.025], 24)
        assert (found.components.low[1], found.components.high[1]) == pytest.approx(residual, rel=1e-9)
        assert found.components.method == "modified large sample"

    def test_a_lower_limit_is_zero_exactly_where_the_f_test_does_not_reject(self) -> None:
        seen = set()
        for seed in range(12):
            table = crossed(np.random.default_rng(seed), blades=5, sd=(0.15, 0, 0.1, 0.1))
            fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"])
            blade, edge, _ = fit.mean_squares.mean_square
            rejects = bool(blade / edge > stats.f.ppf(0.975, 4, fit.mean_squares.df[1]))
            assert (fit.mean_squares.components.low[0] > 0) == rejects
            seen.add(rejects)
        assert seen == {True, False}

    def test_a_higher_level_is_wider(self) -> None:
        table = crossed(np.random.default_rng(3))
        narrow, wide = (
            fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"], level=level).mean_squares
            for level in (0.8, 0.99)
        )
        assert np.all(wide.components.low <= narrow.components.low)
        assert np.all(wide.components.high > narrow.components.high)


class TestCoverage:
    def test_few_blades(self) -> None:
        """Every blade with every medium, four blades: 400 trials, 95 %, within three standard errors of 94 to 98.

        The profile likelihood of the blades is held to no bound; that of so few is known to be short.
        """
        rng = np.random.default_rng(1992)
        sd = (0.3, 0.2, 0.2, 0.1)
        table = crossed(rng, sd=sd)
        fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", ("blade", "medium"), "edge"])
        inside = np.zeros(4)
        for _ in range(400):
            found = fit.refit(crossed(rng, sd=sd)["y"].to_numpy()).mean_squares.components
            inside += (found.low <= np.square(sd)) & (np.square(sd) <= found.high)
        slack = 3 * np.sqrt(0.95 * 0.05 / 400)
        assert np.all(inside / 400 > 0.94 - slack)
        assert np.all(inside / 400 < 0.98 + slack)


def test_a_file_fitted_out_of_core_has_the_same(tmp_path: Path) -> None:
    table = crossed(np.random.default_rng(4))
    table.to_csv(tmp_path / "readings.csv", index=False)
    found, expected = (
        fit_mixed(data, response="y", fixed=["medium"], random=["blade", ("blade", "medium"), "edge"]).mean_squares
        for data in (tmp_path / "readings.csv", table)
    )
    assert found.terms == expected.terms and found.df.tolist() == expected.df.tolist()
    assert found.mean_square == pytest.approx(expected.mean_square, rel=1e-9)
    assert found.expected == pytest.approx(expected.expected, abs=1e-9)


class TestShown:
    def test_as_text(self, gauge: MixedFit) -> None:
        text = str(gauge.mean_squares.components).replace("\N{NO-BREAK SPACE}", " ")
        assert text.startswith("Components of the variance, with 95 % intervals of the SD (modified large sample)")
        assert "part x appraiser  0.000" in text
        assert "below zero, and it is told as zero" in text.replace("\n  ", " ")
        assert "profile likelihood" in str(gauge.components)

    def test_table(self, gauge: MixedFit) -> None:
        table = gauge.mean_squares.table
        assert list(table) == ["term", "df", "mean_square"]
        assert isinstance(table, pd.DataFrame)
        assert str(gauge.mean_squares).startswith("Mean squares")
