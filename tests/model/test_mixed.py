"""`fit_mixed` as a whole: the edge is the unit, layouts that cannot answer say why, nothing else matters."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.against_nist import SETS, digits, exact, fitted
from reference.layouts import crossed, nested, unbalanced
from reference.stored import stored_table
from scipy import stats

from sharpstats.errors import FitError
from sharpstats.model import mixed
from sharpstats.model.anova import anova
from sharpstats.model.freedom import fixed_effects
from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.model.reduce import reduce_readings
from sharpstats.model.reml import maximise


def layout() -> pd.DataFrame:
    return crossed(np.random.default_rng(0))


def codes_of(fit: MixedFit) -> list[str]:
    return [note.code for note in fit.notes]


class TestTheEdgeIsTheUnit:
    """Twenty cuts on one edge are one edge read well, not twenty edges."""

    def twenty_cuts(self, seed: int) -> pd.DataFrame:
        """Two media, four edges each, twenty cuts on every edge; edges and cuts spread alike."""
        rng = np.random.default_rng(seed)
        return nested(rng, media=2, blades=4, edges=1, cuts=20, sd=(0.0, 0.15, 0.15)).drop(columns="blade")

    @pytest.mark.parametrize("seed", range(3))
    def test_the_interval_is_that_of_the_edge_means(self, seed: int) -> None:
        table = self.twenty_cuts(seed)
        right = fit_mixed(table, response="y", fixed=["medium"], random=["edge"]).contrasts("medium")
        means = table.groupby(["medium", "edge"])["y"].mean()
        by_hand = stats.ttest_ind(means["m0"], means["m1"]).confidence_interval(0.95)
        assert right.df == pytest.approx([6], rel=1e-9)
        assert (right.low[0], right.high[0]) == pytest.approx((by_hand.low, by_hand.high), rel=1e-9)

    @pytest.mark.parametrize("seed", range(3))
    def test_taking_cuts_for_edges_would_make_it_several_times_too_narrow(self, seed: int) -> None:
        table = self.twenty_cuts(seed)
        right = fit_mixed(table, response="y", fixed=["medium"], random=["edge"]).contrasts("medium")
        wrong = fit_mixed(table, response="y", fixed=["medium"]).contrasts("medium")
        assert wrong.df == pytest.approx([158], rel=1e-9)
        assert (right.high[0] - right.low[0]) > 2.5 * (wrong.high[0] - wrong.low[0])

    def test_twenty_edges_narrow_it_where_twenty_cuts_do_not(self) -> None:
        """With this spread: twenty cuts for five gain a tenth, twenty edges for five more than half."""
        def width(edges: int, cuts: int) -> float:
            found = []
            for seed in range(40):
                rng = np.random.default_rng(seed)
                table = nested(rng, media=2, blades=edges, edges=1, cuts=cuts, sd=(0.0, 0.15, 0.15))
                fit = fit_mixed(table, response="y", fixed=["medium"], random=["edge"]).contrasts("medium")
                found.append(fit.high[0] - fit.low[0])
            return float(np.mean(found))

        few, many_cuts, many_edges = width(5, 5), width(5, 20), width(20, 5)
        assert 0.85 * few < many_cuts < few
        assert many_edges < 0.5 * few

    def test_repeating_the_same_cuts_changes_no_width_at_all(self) -> None:
        """Every cut entered twice looks like better cuts; the edge means stay and so does the interval."""
        table = self.twenty_cuts(7)
        twice = pd.concat([table, table], ignore_index=True)
        one, two = (fit_mixed(t, response="y", fixed=["medium"], random=["edge"]).contrasts("medium")
                    for t in (table, twice))  # fmt: skip
        assert (two.low[0], two.high[0]) == pytest.approx((one.low[0], one.high[0]), rel=1e-9)


class TestLayoutsThatCannotAnswer:
    def refused(self, table: pd.DataFrame, fixed: list, random: list) -> str:
        with pytest.raises(FitError) as caught:
            fit_mixed(table, response="y", fixed=fixed, random=random)
        return str(caught.value)

    def test_each_medium_on_a_blade_of_its_own(self) -> None:
        table = layout()
        table = table[table["blade"].str[1:] == table["medium"].str[1:]]
        assert self.refused(table, ["medium"], ["blade", "edge"]) == (
            "The spread between levels of blade cannot be told from the factors under test: each has its own blade. "
            "Use more than one blade for each."
        )

    def test_each_medium_on_a_day_of_its_own(self) -> None:
        table = layout().assign(day=lambda t: "day " + t["medium"])
        assert self.refused(table, ["medium"], ["day", "blade", "edge"]).startswith(
            "The spread between levels of day cannot be told from the factors under test: each has its own day."
        )

    def test_each_operator_on_a_day_of_their_own(self) -> None:
        table = layout().assign(operator=lambda t: "o" + t["blade"], day=lambda t: "d" + t["blade"])
        assert self.refused(table, ["medium"], ["operator", "day", "edge"]) == (
            "The spreads of operator and day cannot be told apart on this layout: they always change together. "
            "Leave one of them out."
        )

    def test_two_names_for_the_edge(self) -> None:
        assert self.refused(layout().assign(run=lambda t: "r" + t["edge"]), ["medium"], ["edge", "run"]) == (
            "The random terms edge and run always change together, so their spreads cannot be told apart. "
            "Leave one of them out."
        )

    def test_one_edge_for_each_medium(self) -> None:
        table = layout()
        table = table[table["edge"].isin(table.groupby("medium")["edge"].first())]
        assert self.refused(table, ["medium"], ["edge"]) == (
            "There are 3 levels of edge for 3 fixed effects, so nothing is left to show how far two alike differ. "
            "Make at least two of each (twenty cuts on one edge are still one edge)."
        )

    @pytest.mark.parametrize("subjects", [3, 4])
    def test_few_blocks_that_each_hold_all_treatments_are_enough(self, subjects: int) -> None:
        """Ergostool: the classical analysis of randomised blocks, with fewer subjects than stools."""
        table = stored_table("r/lmm_ergostool")
        table = table[table["Subject"].isin([f"S{i}" for i in range(1, subjects + 1)])]
        fit = fit_mixed(table, response="effort", fixed=["Type"], random=["Subject"])
        row = anova(table, response="effort", fixed=["Type"], random=["Subject"]).table.set_index("term").loc["Type"]
        tested = fit.terms().table.iloc[0]
        assert fit.components.variances.min() > 0
        assert tested[["df1", "df2", "f"]].tolist() == pytest.approx(row[["df1", "df2", "f"]].tolist(), rel=1e-8)

    def test_all_readings_equal(self) -> None:
        assert self.refused(layout().assign(y=150.0), ["medium"], ["blade", "edge"]) == (
            "All values of `y` are equal: there is no spread to judge a difference by."
        )

    @pytest.mark.parametrize("value", [150.0, 0.1, np.log(137.0)])
    def test_all_cuts_of_an_edge_equal(self, value: float) -> None:
        """Whether or not their mean is exact in binary."""
        table = layout().assign(y=lambda t: value * (1 + t["edge"].str[1:].astype(int)))
        assert self.refused(table, ["medium"], ["blade", "edge"]) == (
            "All values of `y` within each edge are equal, so the error of a single one cannot be seen. "
            "Ask what step the tester rounds to, or keep one value for each."
        )

    @pytest.mark.parametrize("random", [[], ["blade", "edge"]])
    def test_the_answer_given_as_the_readings(self, random: list[str]) -> None:
        table = layout().drop_duplicates("edge").assign(y=lambda t: t["medium"].map({"m0": 0.1, "m1": 0.2, "m2": 0.7}))
        assert self.refused(table, ["medium"], random) == (
            "The factors under test explain every value of `y` exactly, so there is no spread to judge a difference "
            "by. Was a fitted column named instead of the readings?"
        )

    def test_more_blocks_than_a_person_would_count(self) -> None:
        """Said at once, before a matrix of 30,000 rows is asked for."""
        blades = np.repeat(np.arange(30_000), 2)
        table = pd.DataFrame({"blade": blades, "edge": np.arange(blades.size)})
        table = pd.concat([table, table], ignore_index=True)
        table["y"] = np.random.default_rng(0).normal(size=len(table))
        assert self.refused(table, [], ["blade", "edge"]) == (
            "The blocks have 30,000 levels in all (blade 30,000); more than 3,000 cannot be fitted. "
            "Name as blocks only what a person would count: blades, days, operators."
        )

    def test_one_reading(self) -> None:
        assert self.refused(layout().iloc[:1], [], []).startswith("There are 1 levels of reading for 1 fixed effects")

    def test_factors_that_are_one_leave_their_differences_open(self) -> None:
        """Every plate is stainless: what is the plate's and what the steel's has no answer, but the sum has."""
        table = layout().assign(steel=lambda t: t["medium"].map({"m0": "carbon", "m1": "stainless", "m2": "stainless"}))
        fit = fit_mixed(table, response="y", fixed=["medium", "steel"], random=["blade", "edge"])
        pairs = fit.contrasts("medium")
        assert np.isnan(pairs.estimate).tolist() == [True, True, False]
        assert [note.text for note in pairs.notes if note.code == "not-answered"] == [
            f"These edges do not answer {pair}: a combination it needs has no edge."
            for pair in ("m0 minus m1", "m0 minus m2")
        ]
        alone = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"]).contrasts("medium")
        for column in ("estimate", "se", "df"):
            assert getattr(pairs, column)[2] == pytest.approx(getattr(alone, column)[2], rel=1e-9)

    def test_small_cut_error_is_no_confounding(self) -> None:
        """However far apart the variances are, only the layout decides what can be told apart."""
        for cut in (1e-2, 1e-4, 1e-6):
            table = crossed(np.random.default_rng(1), sd=(0.3, 0.2, 0.2, cut))
            fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", ("blade", "medium"), "edge"])
            assert fit.terms().df2 == pytest.approx([6], rel=1e-6)


class TestNotes:
    def test_one_reading_each(self) -> None:
        fit = fit_mixed(layout().drop_duplicates("edge"), response="y", fixed=["medium"], random=["blade", "edge"])
        assert codes_of(fit) == ["one-reading-each"]
        assert fit.notes[0].text == (
            "Each edge has one reading, so the spread between levels of edge and the error of a reading are one: "
            "the residual."
        )
        assert fit.components.terms == ("blade", "residual")

    def test_notes_travel_with_every_result(self) -> None:
        fit = fit_mixed(layout().drop_duplicates("edge"), response="y", fixed=["medium"], random=["blade", "edge"])
        for result in (fit.components, fit.coefficients, fit.terms(), fit.means("medium"), fit.contrasts("medium")):
            assert "one-reading-each" in [note.code for note in result.notes]


class TestNothingElseMatters:
    """What must not change an answer does not."""

    FIXED, RANDOM = ("medium", "steel"), ("blade", "edge")

    def fit(self, table: pd.DataFrame) -> MixedFit:
        return fit_mixed(table, response="y", fixed=self.FIXED, random=self.RANDOM)

    def alike(self, one: MixedFit, two: MixedFit) -> None:
        assert two.reml_criterion == pytest.approx(one.reml_criterion, abs=1e-8)
        assert two.optimum.variances == pytest.approx(one.optimum.variances, rel=1e-7, abs=1e-10)
        a, b = one.contrasts("medium", adjust="holm"), two.contrasts("medium", adjust="holm")
        for column in ("estimate", "se", "df", "p", "low", "high"):
            assert getattr(b, column) == pytest.approx(getattr(a, column), rel=1e-7, abs=1e-9)

    @settings(max_examples=15)
    @given(st.integers(0, 50), st.randoms(use_true_random=False))
    def test_the_order_of_the_rows(self, seed: int, random: object) -> None:
        table = unbalanced(seed)
        order = list(range(len(table)))
        random.shuffle(order)  # type: ignore[attr-defined]
        self.alike(self.fit(table), self.fit(table.iloc[order].reset_index(drop=True)))

    @settings(max_examples=15)
    @given(st.integers(0, 50), st.permutations(range(5)))
    def test_the_names_of_blades_and_edges(self, seed: int, names: list[int]) -> None:
        table = unbalanced(seed)
        renamed = table.assign(
            blade=table["blade"].map({f"b{i}": f"<{name}> & co" for i, name in enumerate(names)}),
            edge=table["edge"].map(lambda edge: f"{names[int(edge[1:]) % 5]}-{edge}"),
        )
        self.alike(self.fit(table), self.fit(renamed))

    @settings(max_examples=10)
    @given(st.integers(0, 50), st.floats(-1e4, 1e4))
    def test_a_constant_added(self, seed: int, constant: float) -> None:
        table = unbalanced(seed)
        self.alike(self.fit(table), self.fit(table.assign(y=table["y"] + constant)))

    def test_the_index_of_the_table_and_columns_that_are_not_used(self) -> None:
        table = unbalanced(3)
        dressed = table.set_index(pd.Index(["same"] * len(table))).assign(note=None, y2=np.nan)
        self.alike(self.fit(table), self.fit(dressed))

    def test_how_labels_are_stored(self) -> None:
        table = unbalanced(3)
        as_category = table.assign(**{name: table[name].astype("category") for name in ("medium", "blade", "edge")})
        as_object = table.assign(**{name: table[name].astype(object) for name in ("medium", "blade", "edge")})
        as_number = table.assign(blade=table["blade"].str[1:].astype(int), edge=table["edge"].str[1:].astype(float))
        for other in (as_category, as_object, as_number):
            self.alike(self.fit(table), self.fit(other))

    def test_the_order_of_the_terms(self) -> None:
        table = unbalanced(3)
        other = fit_mixed(table, response="y", fixed=self.FIXED[::-1], random=self.RANDOM[::-1])
        assert other.components.terms == ("edge", "blade", "residual")
        one, two = self.fit(table).contrasts("medium"), other.contrasts("medium")
        assert two.estimate == pytest.approx(one.estimate, rel=1e-8)
        assert two.df == pytest.approx(one.df, rel=1e-8)

    def test_a_table_is_left_as_it_was(self) -> None:
        table = unbalanced(3)
        before = table.copy(deep=True)
        self.fit(table)
        pd.testing.assert_frame_equal(table, before)


    def test_labels_of_edges_with_one_reading_each_leave_a_covariate_in_its_row(self) -> None:
        """Labels sort as e0, e1, e10, e11, e2 ...; against numpy's least squares, 10 digits."""
        x = np.arange(13.0) ** 1.3
        table = pd.DataFrame({"x": x, "y": 2 * x + np.sin(7 * x), "edge": [f"e{i}" for i in range(13)]})
        fit = fit_mixed(table, response="y", fixed=["x"], random=["edge"], covariates=["x"])
        np.testing.assert_allclose(fit.coefficients.estimate, np.polyfit(x, table["y"], 1)[::-1], rtol=1e-10)


class TestSteps:
    def test_by_hand_the_steps_give_the_one_line_call(self) -> None:
        fit = fit_mixed(unbalanced(1), response="y", fixed=["medium"], random=["blade", "edge"])
        reduced, _ = reduce_readings(fit.units, mixed._design(fit.frame, fit.units), fit.frame.y - fit.offset)
        optimum = maximise(reduced)
        assert optimum.variances == pytest.approx(fit.optimum.variances, rel=1e-12)
        assert fixed_effects(reduced, optimum).adjusted == pytest.approx(fit.fixed.adjusted, rel=1e-12)

    def test_refit_is_the_fit_of_the_other_response(self) -> None:
        one, two = unbalanced(1), unbalanced(1)
        two["y"] = np.random.default_rng(9).normal(3, 1, len(two))
        calls = {"response": "y", "fixed": ["medium", "steel"], "random": ["blade", "day", "edge"]}
        again, fresh = fit_mixed(one, **calls).refit(two["y"].to_numpy()), fit_mixed(two, **calls)
        assert np.array_equal(again.optimum.variances, fresh.optimum.variances)
        assert again.means("medium").table.equals(fresh.means("medium").table)
        assert again.components.table.equals(fresh.components.table)
        assert again.residual_limits == (fresh.components.low[-1], fresh.components.high[-1])
        assert again.notes == fresh.notes

    def test_refit_asks_for_one_number_a_row(self) -> None:
        fit = fit_mixed(unbalanced(1), response="y", fixed=["medium"], random=["edge"])
        with pytest.raises(ValueError, match=r"^`response` must have shape \(\d+,\), got \(3,\)$"):
            fit.refit(np.zeros(3))
        with pytest.raises(FitError, match=r"^All values of `y` are equal"):
            fit.refit(np.ones(fit.frame.y.size))

    def test_criterion_for_is_the_criterion_of_the_refit(self) -> None:
        fit = fit_mixed(unbalanced(1), response="y", fixed=["medium"], random=["edge"])
        logs = np.log(fit.frame.y)
        assert fit.criterion_for(logs) == pytest.approx(fit.refit(logs).reml_criterion, abs=1e-10)

    @pytest.mark.parametrize("level", [0.0, 1.0, 95])
    def test_a_level_is_a_share(self, level: float) -> None:
        with pytest.raises(ValueError, match=rf"^`level` must lie between 0 and 1, got {level}$"):
            fit_mixed(layout(), response="y", random=["edge"], level=level)

    def test_the_level_of_the_fit_is_that_of_its_intervals_unless_another_is_asked_for(self) -> None:
        fit = fit_mixed(layout(), response="y", fixed=["medium"], random=["edge"], level=0.9)
        assert set(fit.contrasts("medium").table["level"]) == {0.9}
        assert set(fit.components.table["level"]) == {0.9}
        narrow, wide = fit.contrasts("medium", level=0.5), fit.contrasts("medium", level=0.99)
        assert np.all(narrow.high < wide.high)
        assert set(wide.table["level"]) == {0.99}

    def test_unknown_level_of_a_comparison(self) -> None:
        fit = fit_mixed(layout(), response="y", fixed=["medium"], random=["edge"])
        with pytest.raises(FitError, match=r"^medium has no level 'slate'\. It has m0, m1, m2\.$"):
            fit.contrasts("medium", against="slate")


class TestNist:
    """Without random factors the model is the classical analysis of variance."""

    @pytest.mark.parametrize("name", SETS)
    def test_residual_sd_and_f_to_the_last_digits_that_doubles_hold(self, name: str) -> None:
        fit, truth = fitted(name), exact(name)
        assert digits(float(np.sqrt(fit.optimum.variances[0])), truth["residual_sd"]) > 12
        assert digits(fit.terms().f[0], truth["F"]) > 12
