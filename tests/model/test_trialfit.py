"""`trial.fit()`: the layout decides the model, on the demo and on small made trials."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from reference.layouts import as_readings, crossed, made_trial, nested, unbalanced
from scipy import stats

from sharpstats.errors import FitError
from sharpstats.model.mixed import fit_mixed
from sharpstats.model.trialfit import TrialFit, fit_trial
from sharpstats.trial.trial import Trial, open_trial


@pytest.fixture(scope="module")
def trial(demo: Path) -> Trial:
    return open_trial(demo)


@pytest.fixture(scope="module")
def fit(trial: Trial) -> TrialFit:
    found: TrialFit = trial.fit()
    return found


def codes(fit: TrialFit) -> list[str]:
    return [note.code for note in fit.notes]


class TestDemo:
    def test_the_layout_decides_the_model(self, fit: TrialFit) -> None:
        assert fit.mixed.frame.fixed == (("medium",), ("steel",), ("medium", "steel"))
        assert fit.mixed.frame.random == (("blade",), ("blade", "medium"), ("edge",))
        assert fit.components.terms == ("blade", "blade x medium", "edge", "cut")
        assert (fit.scale, fit.unit, fit.mixed.level) == ("log", "gf", 0.95)

    def test_it_is_the_call_that_an_expert_would_make(self, fit: TrialFit) -> None:
        data = fit.data.assign(y=np.log(fit.data["reading"]))
        by_hand = fit_mixed(data, response="y", fixed=["medium", "steel", ("medium", "steel")],
                            random=["blade", ("blade", "medium"), "edge"])  # fmt: skip
        assert fit.mixed.reml_criterion == by_hand.reml_criterion
        assert fit.contrasts.table.equals(by_hand.contrasts("medium").table)

    def test_every_used_edge_is_compared_a_control_or_left_out(self, trial: Trial, fit: TrialFit) -> None:
        counts = trial.counts
        assert len(fit.edges) + len(fit.left_out) == counts["edges"]
        assert fit.drift is not None
        assert fit.drift.edges == counts["control_edges"]
        assert len(fit.data) == fit.edges["cuts"].sum()

    def test_nothing_is_over_range_and_nothing_left_out(self, fit: TrialFit) -> None:
        assert fit.left_out.columns.tolist() == ["edge", "medium", "reason"]
        assert fit.left_out.empty
        assert fit.mixed.over is None
        assert (fit.edges["over_range"] == 0).all()
        assert codes(fit) == []

    def test_means_are_counted_and_turned_back_into_readings(self, fit: TrialFit) -> None:
        table, readings = fit.means.table, fit.readings
        assert len(table) == 4 + 8
        overall = table[table["at"] == ""].set_index("term")
        assert overall["edges"].sum() == len(fit.edges)
        assert table[table["at"] != ""].groupby("term")["edges"].sum().to_dict() == overall["edges"].to_dict()
        for column in ("estimate", "low", "high"):
            assert readings[column].to_numpy() == pytest.approx(np.exp(table[column]), rel=1e-14)
        assert not {"se", "df"} & set(readings.columns)
        assert readings["cuts"].tolist() == table["cuts"].tolist()

    def test_edges_hold_their_own_means_and_spreads(self, fit: TrialFit) -> None:
        logs = np.log(fit.data["reading"].astype(float))
        grouped = logs.groupby(fit.data["edge"])
        edges = fit.edges.set_index("edge")
        assert edges["mean"].to_numpy() == pytest.approx(grouped.mean(), rel=1e-12)
        assert edges["sd"].to_numpy() == pytest.approx(grouped.std(), rel=1e-9)
        assert edges["reading"].to_numpy() == pytest.approx(np.exp(grouped.mean()), rel=1e-12)
        assert (edges["fitted"] + edges["residual"]).to_numpy() == pytest.approx(edges["mean"], rel=1e-12)
        assert {"medium", "steel", "blade", "cuts", "influence", "deleted"} <= set(edges.columns)

    def test_residuals_are_those_of_their_own_edge(self, fit: TrialFit) -> None:
        """An edge's prediction: its cell's mean and its blade's effects, from ridge equations by hand."""
        edges, s = fit.edges, dict(zip(fit.components.terms, fit.components.variances, strict=True))
        x = pd.get_dummies(edges["medium"] + edges["steel"]).to_numpy(float)
        z = np.hstack([pd.get_dummies(edges["blade"]).to_numpy(float),
                       pd.get_dummies(edges["blade"] + edges["medium"]).to_numpy(float)])  # fmt: skip
        blades = edges["blade"].nunique()
        weight = 1 / (s["edge"] + s["cut"] / edges["cuts"].to_numpy())
        shrink = np.repeat(1 / np.array([s["blade"], s["blade x medium"]]), [blades, z.shape[1] - blades])
        xz = np.hstack([x, z])
        ridge = (xz.T * weight) @ xz + np.diag(np.append(np.zeros(x.shape[1]), shrink))
        effects = np.linalg.solve(ridge, (xz.T * weight) @ edges["mean"].to_numpy())
        assert edges["fitted"].to_numpy() == pytest.approx(xz @ effects, rel=1e-9)

    def test_welch_on_edge_means(self, fit: TrialFit) -> None:
        groups = [part["mean"].to_numpy() for _, part in fit.edges.groupby("medium")]
        variances = np.array([group.var(ddof=1) / len(group) for group in groups])
        assert fit.welch is not None
        assert fit.welch.df1 == 3
        weights = 1 / variances
        lack = sum((1 - w / weights.sum()) ** 2 / (len(g) - 1) for w, g in zip(weights, groups, strict=True))
        assert fit.welch.df2 == pytest.approx(15 / (3 * lack), rel=1e-12)

    def test_drift_of_the_control_edges(self, trial: Trial, fit: TrialFit) -> None:
        controls = trial.readings[trial.readings["role"] == "control"]
        means = np.log(controls["reading"].astype(float)).groupby(controls["edge"]).mean()
        runs = controls.groupby("edge")["run"].first().astype(float)
        line = stats.linregress(runs, means)
        whole = trial.readings["run"].astype(float)
        assert fit.drift is not None
        assert fit.drift.estimate == pytest.approx(line.slope * (whole.max() - whole.min()), rel=1e-9)
        assert fit.drift.p == pytest.approx(line.pvalue, rel=1e-9)

    def test_diagnostics_find_nothing_wrong_with_the_invented_trial(self, fit: TrialFit) -> None:
        assert fit.diagnostics.notes == ()
        assert fit.diagnostics.scale_profile is not None
        assert fit.diagnostics.scale_profile.allows("log")
        assert fit.diagnostics.spread is not None
        assert len(fit.diagnostics.influence) == 5

    def test_a_trial_is_fitted_once(self, trial: Trial, fit: TrialFit) -> None:
        assert trial.fit() is fit
        assert fit_trial(trial) is fit
        assert fit.table is fit.readings


class TestTheEdgeIsTheUnit:
    def test_twenty_cuts_do_not_narrow_the_interval_as_twenty_edges_would(self, tmp_path: Path) -> None:
        """Through `trial.fit()`: the interval is the t interval of four edge means, not of eighty cuts."""
        table = nested(np.random.default_rng(3), media=2, blades=4, edges=1, cuts=20, sd=(0.0, 0.15, 0.15))
        readings = as_readings(table.drop(columns="blade"))
        fit = made_trial(tmp_path / "t", readings, blocks=()).fit()
        means = np.log(readings["reading"]).groupby([readings["medium"], readings["edge"]]).mean()
        right = stats.ttest_ind(means["m0"], means["m1"]).confidence_interval(0.95)
        found = fit.contrasts.table.iloc[0]
        assert found["df"] == pytest.approx(6, rel=1e-6)
        assert (found["low"], found["high"]) == pytest.approx((right.low, right.high), rel=1e-6)
        logs = np.log(readings["reading"])
        wrong = stats.ttest_ind(logs[readings["medium"] == "m0"], logs[readings["medium"] == "m1"])
        naive = wrong.confidence_interval(0.95)
        assert found["high"] - found["low"] > 2 * (naive.high - naive.low)


class TestNothingElseMatters:
    READINGS = as_readings(unbalanced(4, edges=24)).drop(columns=["own", "start", "position", "day"])

    def test_rows_files_and_order(self, tmp_path: Path) -> None:
        readings = self.READINGS
        one = made_trial(tmp_path / "one", readings).fit()
        shuffled = readings.sample(frac=1, random_state=3)
        two = made_trial(tmp_path / "two", shuffled, files=3).fit()
        for column in ("estimate", "se", "df", "p", "low", "high"):
            expected = one.contrasts.table[column].to_numpy()
            assert two.contrasts.table[column].to_numpy() == pytest.approx(expected, rel=1e-8)

    @pytest.mark.parametrize("scale", ["log", "as read"])
    def test_gf_or_newtons(self, tmp_path: Path, scale: str) -> None:
        readings, factor = self.READINGS, 0.00980665
        gf = made_trial(tmp_path / "gf", readings, plan={"scale": scale}).fit()
        newtons = readings.assign(reading=readings["reading"] * factor)
        n = made_trial(tmp_path / "n", newtons, plan={"scale": scale, "unit": "N"}).fit()
        size = 1.0 if scale == "log" else factor
        assert n.contrasts.estimate == pytest.approx(size * gf.contrasts.estimate, rel=1e-8)
        assert n.contrasts.df == pytest.approx(gf.contrasts.df, rel=1e-8)
        assert n.contrasts.p == pytest.approx(gf.contrasts.p, rel=1e-7)
        assert n.readings["estimate"].to_numpy() == pytest.approx(factor * gf.readings["estimate"], rel=1e-8)

    def test_as_read_means_are_plain_means(self, tmp_path: Path) -> None:
        readings = as_readings(crossed(np.random.default_rng(0)))
        fit = made_trial(tmp_path / "t", readings, plan={"scale": "as read"}).fit()
        plain = readings.groupby("medium")["reading"].mean()
        assert fit.readings["estimate"].to_numpy() == pytest.approx(plain, rel=1e-6)
        assert fit.readings["estimate"].tolist() == fit.means.table["estimate"].tolist()


class TestLayouts:
    def fit(self, folder: Path, table: pd.DataFrame, **how: object) -> TrialFit:
        found: TrialFit = made_trial(folder / "t", as_readings(table), **how).fit()  # type: ignore[arg-type]
        return found

    def test_block_by_medium_only_where_it_is_made_again(self, tmp_path: Path) -> None:
        rng = np.random.default_rng(1)
        again = self.fit(tmp_path, crossed(rng, edges=2))
        assert again.mixed.frame.random == (("blade",), ("blade", "medium"), ("edge",))
        (tmp_path / "once").mkdir()
        once = self.fit(tmp_path / "once", crossed(rng, edges=1))
        assert once.mixed.frame.random == (("blade",), ("edge",))

    @pytest.mark.parametrize(("edges", "nested_in_blades"), [(1, False), (2, False), (2, True)])
    def test_block_by_medium_and_factor_only_where_it_is_made_again(
        self, tmp_path: Path, edges: int, nested_in_blades: bool
    ) -> None:
        """A factor that blades have one level of each is the same for block by medium."""
        rng = np.random.default_rng(1)
        one, other = (crossed(rng, edges=edges).assign(angle=angle) for angle in ("20", "25"))
        if nested_in_blades:
            other["blade"] += " too"
        other["edge"] = "x" + other["edge"].astype(str)
        table = pd.concat([one, other], ignore_index=True)
        fit = self.fit(tmp_path, table, factors={"angle": ("20", "25")})
        threefold = [("blade", "medium", "angle")] if edges == 2 and not nested_in_blades else []
        twofold = [("blade", "medium")] if edges == 2 or not nested_in_blades else []
        assert fit.mixed.frame.random == (("blade",), *twofold, *threefold, ("edge",))

    def test_blades_of_their_own_have_no_block_by_medium(self, tmp_path: Path) -> None:
        fit = self.fit(tmp_path, nested(np.random.default_rng(1)))
        assert fit.mixed.frame.random == (("blade",), ("edge",))
        assert fit.contrasts.df == pytest.approx([6, 6, 6], rel=1e-6)

    def test_one_cut_on_each_edge(self, tmp_path: Path) -> None:
        fit = self.fit(tmp_path, crossed(np.random.default_rng(1), cuts=1))
        assert codes(fit) == ["one-cut"]
        assert fit.notes[0].text == "Each edge has one cut, so the spread between edges and the error of a cut are one."
        assert fit.components.terms == ("blade", "blade x medium", "edge and cut")
        assert fit.edges["sd"].isna().all()
        assert np.isfinite(fit.edges[["residual", "deleted", "influence"]]).all(axis=None)
        assert fit.diagnostics.normality is not None

    def test_a_balanced_layout_has_mean_squares_by_the_trials_names(self, tmp_path: Path) -> None:
        fit = self.fit(tmp_path, crossed(np.random.default_rng(1)))
        assert fit.mean_squares.terms == fit.components.terms == ("blade", "blade x medium", "edge", "cut")
        assert fit.mean_squares.components.variances == pytest.approx(fit.components.variances, rel=1e-8)
        assert fit.mean_squares.df.tolist() == [3, 6, 12, 48]

    def test_the_demo_is_not_balanced_and_says_why(self, fit: TrialFit) -> None:
        with pytest.raises(FitError, match=r"^The layout is not balanced: not every edge has the same numb"):
            _ = fit.mean_squares

    def test_one_blade(self, tmp_path: Path) -> None:
        table = crossed(np.random.default_rng(1), edges=4)
        fit = self.fit(tmp_path, table[table["blade"] == "b0"])
        assert codes(fit) == ["one-block"]
        assert fit.notes[0].text == "All edges share one blade, b0: nothing is known about other ones."
        assert fit.mixed.frame.random == (("edge",),)

    def test_one_medium(self, tmp_path: Path) -> None:
        """No comparison, but components, edges and residuals are there."""
        table = crossed(np.random.default_rng(1))
        fit = self.fit(tmp_path, table[table["medium"] == "m0"])
        assert codes(fit) == ["one-level"]
        assert fit.notes[0].text == (
            "All edges in the comparison have one medium, m0, so nothing is said about other ones."
        )
        assert fit.mixed.frame.fixed == ()
        assert fit.welch is None
        assert np.isfinite(fit.edges["residual"]).all()
        assert fit.components.terms == ("blade", "edge", "cut")

    def test_an_empty_cell(self, tmp_path: Path) -> None:
        table = crossed(np.random.default_rng(1), blades=6)
        table["steel"] = np.where(table["blade"].isin(["b0", "b1", "b2"]), "carbon", "stainless")
        table = table[~((table["medium"] == "m1") & (table["steel"] == "carbon"))]
        fit = self.fit(tmp_path, table, factors=["steel"])
        assert codes(fit) == ["empty-cell"]
        assert fit.notes[0].text == "No edge was made with m1 and carbon; averages over it are not given."
        means = fit.means.table.set_index(["term", "at"])["estimate"]
        assert np.isnan(means["m1", ""])
        assert np.isnan(means["m1", "carbon"])
        assert np.isfinite(means["m1", "stainless"])
        assert np.isnan(fit.contrasts.estimate).tolist() == [True, False, True]

    def test_each_medium_on_one_blade(self, tmp_path: Path) -> None:
        table = crossed(np.random.default_rng(1), media=4)
        table = table[table["blade"].str[1:] == table["medium"].str[1:]]
        with pytest.raises(FitError, match=r"^The spread between levels of blade cannot be told from the factors"):
            self.fit(tmp_path, table)

    def test_one_edge_for_each_medium(self, tmp_path: Path) -> None:
        table = crossed(np.random.default_rng(1), cuts=20)
        table = table[table["edge"].isin(table.groupby("medium")["edge"].first())]
        with pytest.raises(FitError, match=r"twenty cuts on one edge are still one edge"):
            self.fit(tmp_path, table, blocks=())

    def test_no_spread_at_all(self, tmp_path: Path) -> None:
        table = crossed(np.random.default_rng(1)).assign(y=np.log(150))
        with pytest.raises(FitError) as caught:
            self.fit(tmp_path, table)
        assert str(caught.value) == (
            "All 72 cuts read 150 gf, so there is no spread to judge a difference by. Does the tester hold its peak, "
            "and round to steps finer than the edges differ?"
        )

    def test_one_number_copied_to_all_cuts_of_an_edge(self, tmp_path: Path) -> None:
        table = crossed(np.random.default_rng(1))
        with pytest.raises(FitError) as caught:
            self.fit(tmp_path, table.assign(y=table.groupby("edge")["y"].transform("first")))
        assert str(caught.value) == (
            "All cuts on each edge read the same, so the error of a single cut cannot be seen. If one number was "
            "copied to all cuts of an edge, keep one row for each edge; else ask what step the tester rounds to."
        )

    def test_all_over_range(self, tmp_path: Path) -> None:
        readings = as_readings(crossed(np.random.default_rng(1))).astype({"reading": object}).assign(reading=">1500")
        with pytest.raises(FitError, match=r"^No edge is left to compare: every row is set aside or over range\. "
                                           r"`sharpstats check` names the rows and the reasons\.$"):  # fmt: skip
            made_trial(tmp_path / "t", readings).fit()
