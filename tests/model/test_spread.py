"""`fit_mixed(..., spread_by=)`: against R, against dense matrices, against closed forms, and what it refuses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from reference.layouts import both, crossed, unbalanced
from reference.stored import stored_json, stored_table
from scipy import stats

from sharpstats.errors import FitError
from sharpstats.model import reml
from sharpstats.model.mixed import MixedFit, fit_mixed


def fit(table: pd.DataFrame, random: list[str], *, y: str = "y", by: str = "medium") -> MixedFit:
    return fit_mixed(table, response=y, fixed=["medium"], random=random, spread_by=by)


def variances(found: MixedFit) -> dict[str, float]:
    return dict(zip(found.components.terms, found.components.variances, strict=True))


def one_each(table: pd.DataFrame) -> pd.DataFrame:
    return table.drop_duplicates("edge")


class TestAgainstR:
    """nlme's lme with pdDiag on edges, and with varIdent where each edge has one value."""

    @pytest.mark.parametrize("case", ["lme_spread_a", "lme_spread_b"])
    def test_edges_with_several_cuts(self, case: str) -> None:
        table, r = stored_table(f"r/{case}"), stored_json(f"r/{case}")
        found = fit(table.assign(y=np.log(table["force"])), ["blade", "edge"])
        names = {"blade": "blade", "cut": "residual"}
        wanted = {names.get(row["component"], f"edge (medium = {row['component']})"): row["var"]
                  for row in r["variances"]}  # fmt: skip
        assert found.reml_criterion == pytest.approx(r["reml_criterion"], abs=1e-9)
        assert variances(found) == pytest.approx(wanted, rel=1e-9)

    @pytest.mark.parametrize("case", ["lme_spread_a", "lme_spread_b"])
    def test_kenward_roger(self, case: str) -> None:
        table, r = stored_table(f"r/{case}"), stored_json(f"r/{case}")
        found = fit(table.assign(y=np.log(table["force"])), ["blade", "edge"]).coefficients
        for name in ("estimate", "se", "df"):
            assert getattr(found, name) == pytest.approx([row[name] for row in r["coefficients"]], rel=1e-8)
        assert found.covariance == pytest.approx(np.array(r["vcov_adjusted_kr"]["values"]), rel=1e-8)

    def test_edges_with_one_value(self) -> None:
        r = stored_json("r/lme_residual_a")
        found = fit(stored_table("r/means_edges_a"), ["blade", "edge"], y="log_force")
        wanted = {"blade": r["nlme"]["blade"]}
        wanted |= {f"residual (medium = {name})": value for name, value in r["nlme"]["residual"].items()}
        assert found.reml_criterion == pytest.approx(r["reml_criterion"], abs=1e-8)
        assert variances(found) == pytest.approx(wanted, rel=1e-5)
        assert found.coefficients.estimate == pytest.approx(list(r["nlme"]["fixef"].values()), abs=1e-6)


class TestAgainstDenseMatrices:
    @pytest.mark.parametrize("seed", range(3))
    @pytest.mark.parametrize("random", [["edge"], ["blade", "day", "edge"]])
    @pytest.mark.parametrize("cut", [one_each, lambda table: table], ids=["one cut", "several"])
    def test_criterion_derivatives_and_kenward_roger(self, seed: int, random: list[str], cut) -> None:
        table = cut(unbalanced(seed, edges=24)).reset_index(drop=True)
        found, dense, places = both(table, ["medium"], random, spread_by="medium")
        at = np.empty(len(places))
        at[places] = there = np.random.default_rng(seed).uniform(0.02, 0.3, len(places))
        ours, far = reml.derivatives(found.reduced, at), replace(dense, s=there)
        square = np.ix_(places, places)
        assert ours.criterion == pytest.approx(far.criterion, abs=1e-7)
        assert ours.gradient[places] == pytest.approx(far.gradient, rel=1e-8, abs=1e-6)
        assert ours.expected[square] == pytest.approx(far.expected, rel=1e-8)
        assert ours.hessian[square] == pytest.approx(far.hessian, rel=1e-8, abs=1e-8 * far.expected.max())
        if found.optimum.variances.min() > 1e-3:
            assert found.fixed.adjusted == pytest.approx(dense.adjusted, rel=1e-6)


class TestClosedForms:
    def test_two_media_of_single_readings_are_welchs_test(self) -> None:
        """Kenward and Roger's df of the difference are then Welch's."""
        table = one_each(unbalanced(1, media=2))
        found = fit(table, []).contrasts("medium")
        groups = [table.loc[table["medium"] == name, "y"] for name in ("m0", "m1")]
        welch = stats.ttest_ind(*groups, equal_var=False)
        assert found.statistic[0] == pytest.approx(welch.statistic, rel=1e-10)
        assert found.df[0] == pytest.approx(welch.df, rel=1e-10)
        assert found.p[0] == pytest.approx(welch.pvalue, rel=1e-9)

    def test_one_value_for_each_edge_gives_the_media_s_own_variances(self) -> None:
        table = one_each(unbalanced(2))
        wanted = table.groupby("medium")["y"].var()
        assert list(variances(fit(table, ["edge"])).values()) == pytest.approx(wanted.tolist(), rel=1e-10)

    def test_equal_cuts_give_the_mean_squares_of_each_medium(self) -> None:
        table = crossed(np.random.default_rng(4), blades=1, edges=6, sd=(0.0, 0.0, 0.3, 0.1))
        error = table.groupby("edge")["y"].var().mean()
        means = table.groupby(["medium", "edge"])["y"].mean()
        wanted = [*(means.groupby("medium").var() - error / 3), error]
        assert list(variances(fit(table, ["edge"])).values()) == pytest.approx(wanted, rel=1e-10)

    def test_components_have_names_and_intervals_around_them(self) -> None:
        found = fit(crossed(np.random.default_rng(5), edges=4), ["blade", "edge"])
        table = found.components.table
        levels = [f"edge (medium = m{i})" for i in range(3)]
        assert table["term"].tolist() == ["blade", *levels, "residual"]
        assert (table["low"] <= table["sd"]).all() and (table["sd"] <= table["high"]).all()
        assert np.isfinite(table["high"]).all()

    def test_the_names_of_the_media_do_not_matter(self) -> None:
        table = unbalanced(3, edges=24)
        turned = table.assign(medium=table["medium"].map({"m0": "z", "m1": "a", "m2": "k"}))
        one, other = variances(fit(table, ["blade", "edge"])), variances(fit(turned, ["blade", "edge"]))
        for old, new in (("m0", "z"), ("m1", "a"), ("m2", "k")):
            assert other[f"edge (medium = {new})"] == pytest.approx(one[f"edge (medium = {old})"], rel=1e-8)

    def test_a_file_gives_the_same(self, tmp_path) -> None:
        table = unbalanced(3, edges=24)
        table.to_csv(tmp_path / "cuts.csv", index=False)
        here, there = fit(table, ["blade", "edge"]), fit(tmp_path / "cuts.csv", ["blade", "edge"])
        assert there.reml_criterion == pytest.approx(here.reml_criterion, abs=1e-9)
        assert variances(there) == pytest.approx(variances(here), rel=1e-8)

    def test_refit_keeps_the_spreads_apart(self) -> None:
        table = unbalanced(3, edges=24)
        found = fit(table, ["edge"])
        assert variances(found.refit(2 * table["y"].to_numpy())) == pytest.approx(
            {name: 4 * value for name, value in variances(found).items()}, rel=1e-8
        )


def codes(found: MixedFit) -> dict[str, str]:
    return {note.code: note.text for note in found.notes}


class TestNotes:
    def test_one_reading_each_holds_the_error_of_a_reading(self) -> None:
        told = codes(fit(one_each(unbalanced(1)), ["edge"]))
        assert set(told) == {"one-reading-each", "cut-error-inside"}
        assert "the ratio of two spreads comes out nearer to 1 than it is" in told["cut-error-inside"]

    def test_a_level_without_spread_of_its_own_is_zero(self) -> None:
        table = crossed(np.random.default_rng(6), edges=4, sd=(0.1, 0.0, 0.2, 0.1))
        means = table.groupby("edge")["y"].transform("mean")
        flat = table.assign(y=table["y"].where(table["medium"] != "m1", table["y"] - means))
        found = fit(flat, ["edge"])
        assert variances(found)["edge (medium = m1)"] == 0
        assert codes(found)["zero-variance"].startswith("The spread between levels of edge (medium = m1) is estimated")
        low, high = found.components.table.loc[1, ["low", "high"]]
        assert low == 0 and np.isfinite(high)

    def test_a_residual_that_blades_explain_is_zero(self) -> None:
        """One edge of each medium on each blade; m0 reads but for a trifle what the blade does."""
        rng = np.random.default_rng(0)
        table = crossed(rng, media=2, blades=8, edges=1, cuts=1, sd=(0.3, 0.0, 0.0, 0.0))
        noise = rng.normal(0, np.where(table["medium"] == "m1", 0.2, 1e-4))
        found = fit(table.assign(y=table["y"] + noise), ["blade", "edge"])
        assert variances(found)["residual (medium = m0)"] == 0
        assert "zero-variance" in codes(found)
        low, high = found.components.table.loc[1, ["low", "high"]]
        assert low == 0 and np.isfinite(high)


class TestRefusals:
    @pytest.mark.parametrize("by", ["steel", "blade", "nowhere"])
    def test_not_a_fixed_factor(self, by: str) -> None:
        with pytest.raises(FitError, match=rf"names '{by}', which is no factor among the fixed terms \(medium\)"):
            fit(unbalanced(1), ["blade", "edge"], by=by)

    def test_not_constant_within_the_units(self) -> None:
        with pytest.raises(FitError, match=r"One blade has readings at medium m2 and at m0 \(row 1 of the table\)"):
            fit(crossed(np.random.default_rng(1), blades=2, edges=1), ["blade"])

    def test_no_term_that_is_the_units(self) -> None:
        table = crossed(np.random.default_rng(1))
        with pytest.raises(FitError, match="No random term is the units themselves"):
            fit(table.assign(day=table["edge"].str[-1]), ["blade", "day"])

    @pytest.mark.parametrize("cut", [one_each, lambda table: table], ids=["one cut", "several"])
    def test_a_single_edge(self, cut) -> None:
        table = cut(unbalanced(1))
        other = table["medium"] != "m1"
        lonely = table[other | (table["edge"] == table.loc[~other, "edge"].iloc[0])]
        with pytest.raises(FitError, match=r"There is one edge with medium m1, .* Make more, or leave that level out"):
            fit(lonely, ["edge"])

    def test_all_edges_alike(self) -> None:
        table = one_each(unbalanced(1))
        with pytest.raises(FitError, match="Every edge with medium m1 reads just what the factors under test say"):
            fit(table.assign(y=table["y"].mask(table["medium"] == "m1", 5.25)), ["blade", "edge"])

    def test_mean_squares(self) -> None:
        found = fit(crossed(np.random.default_rng(1)), ["edge"])
        with pytest.raises(FitError, match=r"^The spread differs by medium, so the variances have no mean sq"):
            _ = found.mean_squares
