"""Mean squares: NIST's certified values, R's, balanced layouts by hand, and what is not balanced."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.against_nist import QUANTITIES, SETS, analysed, certified, digits, exact, ours
from reference.layouts import crossed, nested, unbalanced
from reference.stored import stored_json, stored_table
from scipy import stats

from sharpstats.errors import FitError
from sharpstats.model.anova import anova, welch

# What doubles can hold: the spacing near 1e12 is 1.2e-4, so SmLs07's tenths are not there any more.
CERTIFIED_DIGITS = {"SiRstv": 13, "AtmWtAg": 10, "SmLs01": 14, "SmLs04": 10, "SmLs07": 4}


class TestNist:
    @pytest.mark.parametrize("name", SETS)
    @pytest.mark.parametrize("quantity", QUANTITIES)
    def test_certified_values(self, name: str, quantity: str) -> None:
        assert digits(ours(name)[quantity], certified(name)[quantity]) > CERTIFIED_DIGITS[name] - 0.05

    @pytest.mark.parametrize("name", SETS)
    @pytest.mark.parametrize("quantity", QUANTITIES)
    def test_exact_arithmetic_on_the_same_doubles(self, name: str, quantity: str) -> None:
        """What is lost against the certified values was lost when the text became doubles."""
        assert digits(ours(name)[quantity], exact(name)[quantity]) > 14

    def test_smls07_is_as_close_as_doubles_allow(self) -> None:
        """Exact arithmetic on its doubles agrees with the certified F to 4.4 digits, and so do we."""
        allowed = digits(exact("SmLs07")["F"], certified("SmLs07")["F"])
        assert allowed == pytest.approx(4.4, abs=0.05)
        assert digits(ours("SmLs07")["F"], certified("SmLs07")["F"]) == pytest.approx(allowed, abs=1e-9)

    @pytest.mark.parametrize("name", SETS)
    def test_degrees_of_freedom(self, name: str) -> None:
        values = stored_json(f"nist_anova/{name}")["certified"]
        assert analysed(name).df.tolist() == [values["between_df"], values["within_df"]]


class TestAgainstR:
    def test_welch_on_edge_means(self) -> None:
        stored = stored_json("r/means_edges_a")["welch_anova"]
        data = stored_table("r/means_edges_a")
        found = welch(data["log_force"].to_numpy(), pd.factorize(data["medium"], sort=True)[0])
        assert found is not None
        assert (found.f, found.df1, found.df2, found.p) == pytest.approx(
            (stored["F"], stored["ndf"], stored["ddf"], stored["p"]), rel=1e-11
        )

    def test_classical_on_edge_means(self) -> None:
        stored = stored_json("r/means_edges_a")["classical_anova"]
        row = anova(stored_table("r/means_edges_a"), response="log_force", fixed=["medium"]).table.iloc[0]
        assert row[["f", "df1", "df2", "p"]].tolist() == pytest.approx(
            [stored["F"], stored["ndf"], stored["ddf"], stored["p"]], rel=1e-11
        )

    def test_split_plot_of_oats(self) -> None:
        """Yates's experiment; R's F tests of the mixed model are the classical ones."""
        stored = {row["term"]: row for row in stored_json("r/lmm_oats")["kenward_roger"]["terms_type2"]}
        table = anova(
            stored_table("r/lmm_oats"), response="yield", fixed=["nitro", "Variety", ("nitro", "Variety")],
            random=["Block", ("Block", "Variety")],
        ).table.set_index("term")  # fmt: skip
        for term, row in stored.items():
            mine = table.loc[term.replace(":", " x ")]
            assert mine[["df1", "df2", "f", "p"]].tolist() == pytest.approx(
                [row["ndf"], row["ddf"], row["F"], row["p"]], rel=1e-10
            )


class TestTheory:
    def test_by_hand(self) -> None:
        """Two media on two edges of two cuts each."""
        table = pd.DataFrame({"y": [1.0, 3.0, 5.0, 7.0, 10.0, 12.0, 8.0, 6.0], "medium": list("aaaabbbb"),
                              "edge": list("ppqqrrss")})  # fmt: skip
        found = anova(table, response="y", fixed=["medium"], random=["edge"])
        # medium means 4 and 9; edge means 2, 6, 11, 7; every cut lies 1 from its edge's mean
        assert found.terms == ("medium", "edge", "residual")
        assert found.df.tolist() == [1, 2, 4]
        assert found.sum_of_squares == pytest.approx([50, 32, 8])
        assert found.f[:2] == pytest.approx([50 / 16, 16 / 2])
        assert found.r_squared == pytest.approx(82 / 90)
        assert found.residual_sd == pytest.approx(np.sqrt(2))

    @settings(max_examples=20)
    @given(st.integers(0, 10**6), st.integers(2, 4), st.integers(2, 4), st.integers(2, 3), st.integers(2, 3))
    def test_parts_add_up_to_the_whole(self, seed: int, media: int, blades: int, edges: int, cuts: int) -> None:
        table = crossed(np.random.default_rng(seed), media=media, blades=blades, edges=edges, cuts=cuts)
        found = anova(table, response="y", fixed=["medium"], random=["blade", ("blade", "medium"), "edge"])
        assert found.df.sum() == len(table) - 1
        assert found.sum_of_squares.sum() == pytest.approx(((table["y"] - table["y"].mean()) ** 2).sum(), rel=1e-10)
        expected = {"medium": media - 1, "blade": blades - 1, "blade x medium": (media - 1) * (blades - 1),
                    "edge": media * blades * (edges - 1), "residual": media * blades * edges * (cuts - 1)}  # fmt: skip
        assert dict(zip(found.terms, found.df, strict=True)) == expected

    @given(st.integers(0, 10**6))
    def test_one_factor_is_scipys_test(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        groups = [rng.normal(size=n) for n in rng.integers(2, 7, 3)]
        table = pd.DataFrame({"y": np.concatenate(groups), "g": np.repeat([0, 1, 2], [len(g) for g in groups])})
        row = anova(table, response="y", fixed=["g"]).table.iloc[0]
        outside = stats.f_oneway(*groups)
        assert (row["f"], row["p"]) == pytest.approx((outside.statistic, outside.pvalue), rel=1e-9)

    def test_a_term_is_tested_against_the_coarsest_random_term_finer_than_it(self) -> None:
        table = nested(np.random.default_rng(2), media=3, blades=4, edges=2, cuts=2)
        found = anova(table, response="y", fixed=["medium"], random=["blade", "edge"])
        assert [found.terms[k] if k >= 0 else "" for k in found.error] == ["blade", "edge", "residual", ""]
        assert found.df2[:3].tolist() == [9, 12, 24]

    def test_the_order_of_the_terms_does_not_matter(self) -> None:
        table = crossed(np.random.default_rng(2))
        one = anova(table, response="y", fixed=["medium"], random=["blade", ("blade", "medium"), "edge"]).table
        two = anova(table, response="y", fixed=["medium"], random=["edge", ("medium", "blade"), "blade"]).table
        two["term"] = two["term"].replace("medium x blade", "blade x medium")
        pd.testing.assert_frame_equal(
            one.sort_values("term", ignore_index=True), two.sort_values("term", ignore_index=True), rtol=1e-10
        )


class TestWelch:
    @given(st.integers(0, 10**6))
    def test_two_groups_are_welchs_t_test(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        groups = rng.normal(0, 1, rng.integers(2, 8)), rng.normal(0.5, 3, rng.integers(2, 8))
        found = welch(np.concatenate(groups), np.repeat([0, 1], [len(g) for g in groups]))
        outside = stats.ttest_ind(*groups, equal_var=False)
        assert found is not None
        assert (found.f, found.df2, found.p) == pytest.approx(
            (outside.statistic**2, outside.df, outside.pvalue), rel=1e-9
        )

    @pytest.mark.parametrize(("values", "groups"), [
        ([1.0, 2.0, 3.0], [0, 0, 1]),  # one edge of a medium
        ([1.0, 1.0, 2.0, 3.0], [0, 0, 1, 1]),  # no spread in a medium
        ([1.0, 2.0, 3.0], [0, 0, 0]),  # one medium
    ])  # fmt: skip
    def test_nothing_to_say(self, values: list[float], groups: list[int]) -> None:
        assert welch(np.array(values), np.array(groups)) is None


class TestBadInput:
    def test_not_balanced(self) -> None:
        says = (
            r"^The layout is not balanced for \w+, so its sum of squares depends on the order of the terms\. "
            r"Use `fit_mixed`, which does not need balance\.$"
        )
        with pytest.raises(FitError, match=says):
            anova(unbalanced(0), response="y", fixed=["medium"], random=["blade"])

    def test_a_term_that_adds_nothing(self) -> None:
        table = crossed(np.random.default_rng(2)).assign(stone=lambda t: "stone " + t["medium"])
        with pytest.raises(FitError, match=r"^The term stone adds nothing to the terms before it\. Leave one of them "
                                           r"out\.$"):  # fmt: skip
            anova(table, response="y", fixed=["medium", "stone"])

    def test_a_missing_column(self) -> None:
        with pytest.raises(FitError, match=r"^The table has no column `steel`\."):
            anova(unbalanced(0).drop(columns="steel"), response="y", fixed=["steel"])
