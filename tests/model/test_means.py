"""Marginal means and contrasts: R's, cell means of balanced layouts, swaps, and what edges do not answer."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference.against_r import CASES, comparisons
from reference.layouts import crossed, unbalanced

from sharpstats.errors import FitError
from sharpstats.model.means import estimable, fixed_factor, grid_rows, mean_rows, pair_rows, term_rows
from sharpstats.model.mixed import MixedFit, fit_mixed

WITH_MEANS = [name for name, case in CASES.items() if case.fixed]


def two_factors(seed: int = 0) -> pd.DataFrame:
    """Media by steels, each steel on blades of its own."""
    table = crossed(np.random.default_rng(seed), media=3, blades=6, edges=1, cuts=2)
    table["steel"] = np.where(table["blade"].isin(["b0", "b1", "b2"]), "carbon", "stainless")
    return table


def fit_two(table: pd.DataFrame, *, interaction: bool = True) -> MixedFit:
    fixed = ["medium", "steel", *([("medium", "steel")] if interaction else [])]
    return fit_mixed(table, response="y", fixed=fixed, random=["blade", "edge"])


class TestAgainstR:
    @pytest.mark.parametrize("case", WITH_MEANS)
    def test_kenward_roger_means_and_pairs(self, case: str) -> None:
        found = {name: one for name, one in comparisons(case, "means").items() if name.startswith("KR")}
        assert {name for name, one in found.items() if one.error > 1e-9} == set()
        assert len(found) == 10

    @pytest.mark.parametrize("case", WITH_MEANS)
    def test_satterthwaite_means_and_pairs(self, case: str) -> None:
        """To lmerTest's own digits: its derivatives are numerical."""
        found = {name: one for name, one in comparisons(case, "means").items() if name.startswith("Satt")}
        assert {name for name, one in found.items() if one.error > 1e-6} == set()
        assert len(found) == 10


class TestTheory:
    def test_balanced_means_are_the_plain_means(self) -> None:
        table = two_factors()
        fit = fit_two(table)
        assert fit.means("medium").estimate == pytest.approx(table.groupby("medium")["y"].mean(), rel=1e-12)
        cells = table.groupby(["medium", "steel"])["y"].mean()
        assert fit.means(("medium", "steel")).estimate == pytest.approx(cells, rel=1e-12)
        assert fit.means(("medium", "steel")).terms[:2] == ("m0, carbon", "m0, stainless")

    def test_lost_edges_do_not_shift_the_weights(self) -> None:
        """A mean over steels weights them equally, however many edges each has."""
        table = two_factors(1)
        lost = table[~((table["steel"] == "carbon") & table["edge"].isin(["e0", "e1"]))]
        fit = fit_two(lost)
        by_steel = fit.means("medium", by="steel")
        assert by_steel.at == ("carbon",) * 3 + ("stainless",) * 3
        halves = by_steel.estimate.reshape(2, 3).mean(axis=0)
        assert fit.means("medium").estimate == pytest.approx(halves, rel=1e-12)
        plain = lost.groupby("medium")["y"].mean()["m0"]
        assert abs(fit.means("medium").estimate[0] - plain) > 1e-3

    def test_means_stand_at_the_mean_of_a_covariate(self) -> None:
        table = unbalanced(4)
        fit = fit_mixed(table, response="y", fixed=["medium", "position"], random=["edge"], covariates=["position"])
        intercept, slope = fit.coefficients.estimate[[0, -1]]
        at_mean = intercept + slope * table["position"].mean()
        assert fit.means("medium").estimate[0] == pytest.approx(at_mean, rel=1e-12)

    def test_the_grand_mean_of_a_model_without_factors(self) -> None:
        table = pd.DataFrame({"y": [1.0, 2.0, 4.0, 5.0], "edge": ["a", "a", "b", "b"]})
        grand = fit_mixed(table, response="y", random=["edge"]).means(())
        assert grand.estimate == pytest.approx([3.0])
        assert grand.df == pytest.approx([1.0])

    def test_term_rows_are_the_marginal_differences(self) -> None:
        fit = fit_two(two_factors())
        means, _ = mean_rows(fit.frame, ("medium",), {})
        assert term_rows(fit.frame, ("medium",)) == pytest.approx(means[1:] - means[0], abs=1e-14)
        inner = term_rows(fit.frame, ("medium", "steel"))
        assert np.linalg.matrix_rank(inner) == 2
        assert inner @ fit.fixed.beta == pytest.approx(fit.coefficients.estimate[-2:], rel=1e-9)

    def test_the_term_of_a_covariate_is_its_slope(self) -> None:
        table = unbalanced(4)
        fit = fit_mixed(table, response="y", fixed=["medium", "position", ("medium", "position")], random=["edge"],
                        covariates=["position"])  # fmt: skip
        b = fit.fixed.beta
        assert term_rows(fit.frame, ("position",)) @ b == pytest.approx([b[3] + (b[4] + b[5]) / 3], rel=1e-10)
        assert term_rows(fit.frame, ("medium", "position")) @ b == pytest.approx(b[4:], rel=1e-10)


class TestPairs:
    @given(st.integers(1, 7), st.data())
    def test_each_row_takes_one_from_another(self, count: int, data: st.DataObject) -> None:
        reference = data.draw(st.none() | st.integers(0, count - 1))
        rows, pairs = pair_rows(count, reference)
        assert len(pairs) == (count * (count - 1) // 2 if reference is None else count - 1)
        assert all(rows[k, i] == 1 and rows[k, j] == -1 for k, (i, j) in enumerate(pairs))
        assert np.abs(rows).sum() == 2 * len(pairs)

    def test_swapping_a_pair_flips_estimate_and_interval_exactly(self) -> None:
        fit = fit_mixed(unbalanced(2), response="y", fixed=["medium"], random=["blade", "edge"])
        one = fit.contrasts("medium", against="m0")
        two = fit.contrasts("medium", against="m1")
        assert (one.terms[0], two.terms[0]) == ("m1 minus m0", "m0 minus m1")
        assert two.estimate[0] == -one.estimate[0]
        assert (two.low[0], two.high[0]) == (-one.high[0], -one.low[0])
        assert (two.se[0], two.df[0], two.p[0]) == (one.se[0], one.df[0], one.p[0])

    def test_relabelling_that_turns_the_order_round_flips_signs_only(self) -> None:
        table = unbalanced(2)
        fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"])
        turned = table.assign(medium=table["medium"].map({"m0": "z", "m1": "y", "m2": "x"}))
        other = fit_mixed(turned, response="y", fixed=["medium"], random=["blade", "edge"])
        one = fit.contrasts("medium").table.set_index("term").loc[["m1 minus m2", "m0 minus m2", "m0 minus m1"]]
        two = other.contrasts("medium").table.set_index("term").loc[["x minus y", "x minus z", "y minus z"]]
        assert two["estimate"].to_numpy() == pytest.approx(-one["estimate"].to_numpy(), rel=1e-9)
        for column in ("se", "df", "p"):
            assert two[column].to_numpy() == pytest.approx(one[column].to_numpy(), rel=1e-9)


class TestNotAnswered:
    def test_an_empty_cell_leaves_averages_over_it_open(self) -> None:
        table = two_factors(3)
        table = table[~((table["medium"] == "m2") & (table["steel"] == "carbon"))]
        fit = fit_two(table)
        means = fit.means("medium")
        assert np.isnan(means.estimate).tolist() == [False, False, True]
        assert np.isnan([means.se[2], means.df[2], means.low[2], means.high[2]]).all()
        assert [note.text for note in means.notes if note.code == "not-answered"] == [
            "These edges do not answer m2: a combination it needs has no edge."
        ]
        cells = fit.means("medium", by="steel")
        assert np.isnan(cells.estimate).tolist() == [False, False, True, False, False, False]
        pairs = fit.contrasts("medium", adjust="holm")
        assert np.isnan(pairs.estimate).tolist() == [False, True, True]
        assert np.isnan(pairs.p).tolist() == [False, True, True]

    def test_the_term_is_not_tested_either(self) -> None:
        table = two_factors(3)
        table = table[~((table["medium"] == "m2") & (table["steel"] == "carbon"))]
        terms = fit_two(table).terms().table.set_index("term")
        assert np.isnan(terms.loc["medium", "f"])
        assert np.isnan(terms.loc["medium", "p"])

    def test_without_the_interaction_the_same_edges_do_answer(self) -> None:
        table = two_factors(3)
        table = table[~((table["medium"] == "m2") & (table["steel"] == "carbon"))]
        assert np.isfinite(fit_two(table, interaction=False).means("medium").estimate).all()

    def test_estimable_rows_do_not_touch_the_null_space(self) -> None:
        null = np.array([[0.0], [1.0], [-1.0]])
        rows = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 1.0, 1.0], [1.0, 1e-12, 0.0]])
        assert estimable(rows, null).tolist() == [True, False, True, True]
        assert estimable(rows, np.zeros((3, 0))).all()


class TestBadInput:
    def test_unknown_factor(self) -> None:
        fit = fit_two(two_factors())
        with pytest.raises(FitError, match=r"^`blade` is not a fixed factor of this fit\. Its fixed factors are: "
                                           r"`medium`, `steel`\.$"):  # fmt: skip
            fit.means("blade")
        with pytest.raises(FitError, match=r"Its fixed factors are: none\.$"):
            fixed_factor(fit_mixed(two_factors(), response="y", random=["edge"]).frame, "medium")

    def test_unknown_level(self) -> None:
        fit = fit_two(two_factors())
        with pytest.raises(FitError, match=r"^Factor `steel` has no level 'bronze'\. Its levels are carbon, "):
            mean_rows(fit.frame, ("medium",), {"steel": "bronze"})

    def test_grid_has_a_row_for_every_combination(self) -> None:
        rows, levels = grid_rows(fit_two(two_factors()).frame)
        assert levels.tolist() == [[0, 0], [0, 1], [1, 0], [1, 1], [2, 0], [2, 1]]
        assert np.linalg.matrix_rank(rows) == 6
