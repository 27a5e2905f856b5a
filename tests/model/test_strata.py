"""Strata of balanced layouts: mean squares by labels, by dense projections, and layouts that have none."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.layouts import crossed, nested, unbalanced

from sharpstats.errors import FitError
from sharpstats.model.anova import anova
from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.model.strata import find_strata

EDGE = ["blade", ("blade", "medium"), "edge"]


def fitted(table: pd.DataFrame, random: list, fixed: tuple[str, ...] = ("medium",)) -> MixedFit:
    return fit_mixed(table, response="y", fixed=fixed, random=random)


def split_plot(seed: int) -> pd.DataFrame:
    """A factor within edges: each edge is cut at heel, middle and tip."""
    table = crossed(np.random.default_rng(seed), media=3, blades=4, edges=1, cuts=6)
    return table.assign(place=[("heel", "middle", "tip")[i % 3] for i in range(len(table))])


class TestClassicalTables:
    @settings(max_examples=15)
    @given(st.integers(0, 10**6), st.integers(2, 4), st.integers(2, 5), st.integers(2, 3), st.integers(2, 3))
    def test_every_blade_with_every_medium(self, seed: int, media: int, blades: int, edges: int, cuts: int) -> None:
        table = crossed(np.random.default_rng(seed), media=media, blades=blades, edges=edges, cuts=cuts)
        found = fitted(table, EDGE).mean_squares
        by_label = anova(table, response="y", fixed=["medium"], random=EDGE).table.set_index("term")
        rows = by_label.loc[list(found.terms)]
        assert found.df.tolist() == rows["df1"].tolist()
        assert found.mean_square == pytest.approx(rows["mean_square"].to_numpy(), rel=1e-10)
        # Each level's number of readings, for the terms that it holds (Scheffe 1959, section 8.2).
        n = np.array([media * edges * cuts, edges * cuts, cuts, 1])
        assert found.expected == pytest.approx(np.triu(np.tile(n, (4, 1))), abs=1e-9)

    def test_blades_of_their_own_for_each_medium(self) -> None:
        table = nested(np.random.default_rng(3), media=3, blades=4, edges=2, cuts=5)
        found = fitted(table, ["blade", "edge"]).mean_squares
        by_label = anova(table, response="y", fixed=["medium"], random=["blade", "edge"])
        assert found.terms == ("blade", "edge", "residual")
        assert found.df.tolist() == by_label.df[1:].tolist() == [9, 12, 96]
        assert found.mean_square == pytest.approx(by_label.mean_square[1:], rel=1e-10)
        assert found.expected == pytest.approx(np.array([[10, 5, 1], [0, 5, 1], [0, 0, 1]]), abs=1e-9)

    def test_a_factor_that_varies_within_edges(self) -> None:
        table = split_plot(4)
        found = fitted(table, ["blade", "edge"], ("medium", "place")).mean_squares
        by_label = anova(table, response="y", fixed=["medium", "place"], random=["blade", "edge"]).table
        rows = by_label.set_index("term").loc[list(found.terms)]
        assert found.df.tolist() == rows["df1"].tolist() == [3, 6, 58]
        assert found.mean_square == pytest.approx(rows["mean_square"].to_numpy(), rel=1e-10)

    def test_media_with_unequal_numbers_of_edges_need_no_more(self) -> None:
        """Edges of one number of cuts: what is within media has two strata, whatever the media's share."""
        table = nested(np.random.default_rng(5), media=3, blades=6, edges=1, cuts=4)
        few = table[~table["edge"].isin(["e0", "e1", "e8"])]
        found = fitted(few, ["edge"]).mean_squares
        means = few.groupby(["medium", "edge"])["y"].mean()
        within = ((means - means.groupby("medium").transform("mean")) ** 2).sum() * 4 / 12
        assert found.df.tolist() == [12, 45]
        assert found.mean_square[0] == pytest.approx(within, rel=1e-10)


def projected(table: pd.DataFrame, fixed: list[str], blocks: str) -> tuple[np.ndarray, np.ndarray]:
    """What dense algebra leaves of the blocks' G after the fixed effects."""
    x = pd.get_dummies(table[fixed], dtype=float).to_numpy()
    z = pd.get_dummies(table[blocks], dtype=float).to_numpy()
    m = np.eye(len(table)) - x @ np.linalg.pinv(x)
    return m @ z @ z.T @ m, m


class TestSeelysCriterion:
    """Balanced incomplete blocks: media meet in pairs equally often, blocks need not."""

    def trial(self, blocks: list[str]) -> pd.DataFrame:
        rng = np.random.default_rng(6)
        rows = [(medium, f"k{i}", f"e{i}{medium}") for i, block in enumerate(blocks) for medium in block]
        table = pd.DataFrame(rows, columns=["medium", "block", "edge"])
        noise = rng.normal(0, 1, len(blocks))
        return table.assign(y=noise[table["block"].str[1:].astype(int)] + rng.normal(0, 1, len(table)))

    def test_as_many_blocks_as_media_have_one_eigenvalue(self) -> None:
        """The 7 triples of the Fano plane: r = k = 3, lambda = 1, so k - (r - lambda) / r = 7/3."""
        table = self.trial(["abc", "ade", "afg", "bdf", "beg", "cdg", "cef"])
        found = fitted(table, ["block", "edge"]).mean_squares
        between, m = projected(table, ["medium"], "block")
        values = np.linalg.eigvalsh(between)
        assert found.expected == pytest.approx(np.array([[7 / 3, 1], [0, 1]]), rel=1e-9)
        assert values[values > 1e-9] == pytest.approx(np.full(6, 7 / 3))
        assert found.df.tolist() == [6, 8]
        y = m @ table["y"].to_numpy()
        total, block = found.df @ found.mean_square, y @ between @ y / (7 / 3)
        assert (total, 6 * found.mean_square[0]) == pytest.approx((y @ y, block), rel=1e-9)

    def test_more_blocks_than_media_have_two(self) -> None:
        """All pairs of four: eigenvalues k and k - (r - lambda) / r, too many for two variances."""
        table = self.trial(["ab", "ac", "ad", "bc", "bd", "cd"])
        values = np.linalg.eigvalsh(projected(table, ["medium"], "block")[0])
        assert len(np.unique(values[values > 1e-9].round(6))) == 2
        assert find_strata(fitted(table, ["block", "edge"]).reduced) is None


class TestAgainstTheLikelihood:
    @pytest.mark.parametrize("seed", range(6))
    def test_both_agree_where_no_variance_is_held_at_zero(self, seed: int) -> None:
        table = crossed(np.random.default_rng(seed), blades=8, sd=(0.8, 0.3, 0.3, 0.1))
        fit = fitted(table, EDGE)
        assert fit.components.variances.min() > 0
        assert fit.mean_squares.components.variances == pytest.approx(fit.components.variances, rel=1e-9)

    def test_order_of_rows_and_names_do_not_matter_and_the_unit_only_scales(self) -> None:
        table = crossed(np.random.default_rng(8))
        one = fitted(table, EDGE).mean_squares
        other = table.sample(frac=1, random_state=1).assign(y=100 * table["y"] + 7, blade="x" + table["blade"])
        two = fitted(other, EDGE).mean_squares
        assert two.mean_square == pytest.approx(1e4 * one.mean_square, rel=1e-9)
        assert two.expected == pytest.approx(one.expected, abs=1e-9)


class TestNotBalanced:
    def refused(self, table: pd.DataFrame, random: list) -> str:
        fit = fitted(table, random)
        assert find_strata(fit.reduced) is None
        with pytest.raises(FitError) as caught:
            _ = fit.mean_squares
        return str(caught.value)

    def test_one_cut_missing(self) -> None:
        assert self.refused(crossed(np.random.default_rng(0)).drop(index=3), ["blade", "edge"]) == (
            "The layout is not balanced: not every edge has the same number of readings, so the variances have no "
            "mean squares of their own. Use `components`, which needs none."
        )

    def test_one_edge_missing(self) -> None:
        table = crossed(np.random.default_rng(0))
        assert self.refused(table[table["edge"] != "e4"], ["blade", "edge"]) == (
            "The layout is not balanced: its factors do not meet equally often, so the variances have no mean squares "
            "of their own. Use `components`, which needs none."
        )

    @pytest.mark.parametrize("seed", range(3))
    def test_edges_spread_at_random(self, seed: int) -> None:
        even = unbalanced(seed).drop_duplicates("edge")
        for random in (["blade", "edge"], ["blade", "day"]):
            assert "not balanced" in self.refused(even, random)

    @pytest.mark.parametrize(("how", "why"), [
        ({"spread_by": "medium"}, "The spread differs by medium"), ({"over": "over"}, "Some readings are limits"),
    ])  # fmt: skip
    def test_fits_that_are_no_plain_sums_of_squares(self, how: dict[str, str], why: str) -> None:
        table = crossed(np.random.default_rng(0))
        table["over"] = table["y"] > table["y"].quantile(0.9)
        fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"], **how)
        assert fit.strata is None
        with pytest.raises(FitError) as caught:
            _ = fit.mean_squares
        assert str(caught.value) == (
            f"{why}, so the variances have no mean squares of their own. Use `components`, which needs none."
        )

    def test_a_covariate_that_lies_between_and_within_edges(self) -> None:
        table = crossed(np.random.default_rng(0))
        table["position"] = np.random.default_rng(1).uniform(0, 60, len(table))
        fit = fit_mixed(table, response="y", fixed=["position"], random=["edge"], covariates=["position"])
        assert find_strata(fit.reduced) is None
