"""Trials with cuts over the tester's range: what is fitted, what stays out, and what is told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from reference.layouts import as_readings, crossed, made_trial, nested

from sharpstats.claims.finding import Findings
from sharpstats.errors import FitError
from sharpstats.model.mixed import fit_mixed
from sharpstats.model.trialfit import TrialFit


def over(table: pd.DataFrame, which: np.ndarray | pd.Series, limit: str = ">185") -> pd.DataFrame:
    """Readings with some of them over the range."""
    return table.astype({"reading": object}).assign(reading=table["reading"].astype(object).where(~which, limit))


def noted(fit: TrialFit) -> dict[str, str]:
    return {note.code: note.text for note in fit.notes}


class TestFitted:
    """The demo, had the range of its tester ended at 185 gf."""

    def test_nothing_is_left_out(self, limited: Findings, judged: Findings) -> None:
        fit = limited.fit
        assert fit.left_out.empty
        assert set(fit.edges["edge"]) == set(judged.fit.edges["edge"])
        assert len(fit.data) == len(judged.fit.data)
        assert int(fit.edges["over_range"].sum()) == 14

    def test_it_is_the_call_that_an_expert_would_make(self, limited: Findings) -> None:
        fit = limited.fit
        by_hand = fit_mixed(
            fit.data.assign(y=np.log(fit.data["reading"])), response="y",
            fixed=["medium", "steel", ("medium", "steel")],
            random=["blade", ("blade", "medium"), "edge"], over="over_range",
        )  # fmt: skip
        assert fit.contrasts.table.equals(by_hand.contrasts("medium").table)

    def test_it_is_near_what_a_wider_range_would_have_shown(self, limited: Findings, judged: Findings) -> None:
        """Differences move by less than half a standard error, the dullest mean by less than if 185 were read."""
        one, two = limited.fit.contrasts, judged.fit.contrasts
        assert np.all(np.abs(one.estimate - two.estimate) < 0.5 * two.se)
        assert one.se == pytest.approx(two.se, rel=0.1)
        data = limited.fit.data
        clipped = fit_mixed(data.assign(y=np.log(data["reading"])), response="y", fixed=["medium"],
                            random=["blade", ("blade", "medium"), "edge"]).means("medium")  # fmt: skip
        dull = clipped.terms.index("oilstone")
        whole, fitted = (f.fit.means.estimate[f.fit.means.terms.index("oilstone")] for f in (judged, limited))
        assert abs(fitted - whole) < (whole - clipped.estimate[dull]) / 2

    def test_edges_hold_working_means_above_their_clipped_ones(self, limited: Findings) -> None:
        fit = limited.fit
        edges = fit.edges[fit.edges["over_range"] > 0].set_index("edge")
        logs = np.log(fit.data["reading"].astype(float))
        clipped = logs.groupby(fit.data["edge"]).mean().reindex(edges.index)
        assert (edges["mean"] > clipped).all()
        inside = logs[~fit.data["over_range"]].groupby(fit.data["edge"]).std().reindex(edges.index)
        assert edges["sd"].to_numpy() == pytest.approx(inside.to_numpy(), rel=1e-9, nan_ok=True)
        assert (edges["fitted"] + edges["residual"]).to_numpy() == pytest.approx(edges["mean"], rel=1e-12)
        assert np.isfinite(fit.edges[["deleted", "influence"]]).all(axis=None)

    def test_other_edges_keep_their_plain_means(self, limited: Findings) -> None:
        edges = limited.fit.edges.query("over_range == 0").set_index("edge")
        plain = np.log(limited.fit.data["reading"].astype(float)).groupby(limited.fit.data["edge"]).mean()
        assert edges["mean"].to_numpy() == pytest.approx(plain.reindex(edges.index), rel=1e-12)

    def test_what_is_told(self, limited: Findings) -> None:
        told = noted(limited.fit)["over-range"]
        assert told.startswith('8 edges have cuts over the tester\'s range, fitted as "at least so much": e28 (')
        assert told.endswith("Intervals and degrees of freedom are those of a like trial in which these edges have "
                             "fewer cuts, all in range: an approximation.")  # fmt: skip

    def test_the_scale_is_still_looked_at(self, limited: Findings) -> None:
        profile = limited.fit.diagnostics.scale_profile
        assert profile is not None
        assert profile.allows("log")

    def test_components_have_intervals(self, limited: Findings, judged: Findings) -> None:
        one, two = limited.fit.components, judged.fit.components
        assert one.terms == two.terms
        assert np.all(one.low <= one.variances)
        assert np.all(one.variances <= one.high)
        assert np.sqrt(one.high) == pytest.approx(np.sqrt(two.high), rel=0.15)

    def test_a_control_edge_over_the_range_leaves_the_drift(self, limited: Findings, judged: Findings) -> None:
        assert noted(limited.fit)["over-range-control"] == (
            "One control edge has cuts over the tester's range; the drift leaves it out: e69."
        )
        assert limited.fit.drift is not None
        assert judged.fit.drift is not None
        assert limited.fit.drift.edges == judged.fit.drift.edges - 1


class TestScale:
    def test_the_profile_is_that_of_the_density_times_its_jacobian(self, tmp_path: Path) -> None:
        """Limits have no density: at two powers the profile differs as likelihoods of the readings do."""
        readings = as_readings(crossed(np.random.default_rng(2), blades=5))
        which = readings["reading"] > np.quantile(readings["reading"], 0.8)
        limit = float(np.quantile(readings["reading"], 0.8))
        fit = made_trial(tmp_path / "t", over(readings, which, f">{limit:.6f}")).fit()
        profile = fit.diagnostics.scale_profile
        values, inside = fit.data["reading"].to_numpy(float), ~fit.data["over_range"].to_numpy()

        def minus_two_log(power: float) -> float:
            y = np.log(values) if power == 0 else values**power / power
            kept = len(fit.mixed.kept_columns)
            jacobian = -2 * (power - 1) * np.log(values[inside]).sum()
            scale = 2 * kept * (power - 1) * np.log(values[inside]).mean()  # of the means that are integrated out
            return fit.mixed.criterion_for(y) + jacobian + scale

        at = {power: profile.criterion[profile.lam.tolist().index(power)] for power in (0.0, 0.5, 1.0)}
        for power in (0.5, 1.0):
            assert at[power] - at[0.0] == pytest.approx(minus_two_log(power) - minus_two_log(0.0), abs=1e-5)


class TestWithoutEnd:
    READINGS = as_readings(crossed(np.random.default_rng(1), blades=5))

    def test_a_medium_wholly_over_the_range_stays_out_and_the_others_are_answered(self, tmp_path: Path) -> None:
        table = self.READINGS
        fit = made_trial(tmp_path / "t", over(table, table["medium"] == "m1")).fit()
        assert set(fit.left_out["medium"]) == {"m1"}
        assert len(fit.left_out) == 10
        assert fit.left_out["reason"].unique().tolist() == ["all cuts on edges like it are over the tester's range"]
        told = noted(fit)["over-range-only"]
        assert told.startswith("10 edges stay out of the comparison, since all cuts on all edges made alike are over")
        assert told.endswith("that is left out so is not keener than the others: it is too dull for this tester.")
        without = made_trial(tmp_path / "u", table[table["medium"] != "m1"]).fit()
        assert fit.contrasts.table.equals(without.contrasts.table)

    def test_one_cell_wholly_over_the_range_is_an_empty_cell(self, tmp_path: Path) -> None:
        table = self.READINGS.assign(steel=np.where(self.READINGS["blade"].isin(["b0", "b1"]), "carbon", "stainless"))
        which = (table["medium"] == "m1") & (table["steel"] == "carbon")
        fit = made_trial(tmp_path / "t", over(table, which), factors=["steel"]).fit()
        assert len(fit.left_out) == 4
        means = fit.means.table.set_index(["term", "at"])["estimate"]
        assert np.isnan(means["m1", "carbon"])
        assert np.isfinite(means["m1", "stainless"])

    def test_one_cut_in_range_is_enough(self, tmp_path: Path) -> None:
        table = self.READINGS
        which = (table["medium"] == "m1") & (table.index != table.index[table["medium"] == "m1"][0])
        fit = made_trial(tmp_path / "t", over(table, which)).fit()
        assert fit.left_out.empty
        assert np.isfinite(fit.contrasts.estimate).all()
        assert noted(fit)["few-in-range"] == (
            "None of 10 edges made with m1 have all cuts in range. Its mean leans on the normal distribution beyond "
            "the range, where nothing was seen: take its interval as rough."
        )
        assert fit.welch is None

    def test_an_edge_wholly_over_the_range_is_fitted_beside_others_of_its_medium(self, tmp_path: Path) -> None:
        table = self.READINGS
        edge = table.loc[table["medium"] == "m2", "edge"].iloc[0]
        fit = made_trial(tmp_path / "t", over(table, table["edge"] == edge)).fit()
        assert fit.left_out.empty
        row = fit.edges.set_index("edge").loc[edge]
        assert (row["over_range"], np.isnan(row["sd"])) == (row["cuts"], True)
        assert row["reading"] > 185
        assert noted(fit)["over-range"].startswith('One edge has cuts over the tester\'s range, fitted as "at least')

    def test_everything_over_the_range(self, tmp_path: Path) -> None:
        with pytest.raises(FitError, match=r"^No edge is left to compare: every row is set aside or over range\."):
            made_trial(tmp_path / "t", over(self.READINGS, np.ones(len(self.READINGS), dtype=bool))).fit()


def test_edges_with_one_cut(tmp_path: Path) -> None:
    table = as_readings(nested(np.random.default_rng(3), blades=4, edges=3, cuts=1))
    fit = made_trial(tmp_path / "t", over(table, table["reading"] > np.quantile(table["reading"], 0.8), ">190")).fit()
    assert fit.components.terms == ("blade", "edge and cut")
    assert np.isfinite(fit.contrasts.df).all()
    assert (fit.edges["over_range"].isin([0, 1])).all()
