"""Families of contrasts: R, agreement of interval and p value, two ways to one probability.

Printed tables are held against in `tests/reference/against_published.py`.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from reference.against_r import CASES, comparisons
from reference.layouts import unbalanced
from reference.stored import stored_json
from scipy import stats

from sharpstats.model import multiple
from sharpstats.model.mixed import fit_mixed
from sharpstats.model.multiple import (
    Family,
    dunnett_factor,
    dunnett_p,
    holm,
    holm_levels,
    max_t_cdf,
    one_factor,
    tukey_factor,
    tukey_p,
)

# Contrasts whose correlation is not a product of loadings.
WOVEN = np.array([[1, 0.7, 0.2, 0.5], [0.7, 1, 0.5, 0.25], [0.2, 0.5, 1, 0.3], [0.5, 0.25, 0.3, 1]])
WITH_MEANS = [name for name, case in CASES.items() if case.fixed]
DESIGNS = stored_json("r/dunnett_mvt_a")["designs"]
p_values = st.lists(st.floats(0, 1), min_size=1, max_size=12).map(np.array)


class TestAgainstR:
    @pytest.mark.parametrize("case", WITH_MEANS)
    def test_families(self, case: str) -> None:
        """R's Tukey values carry 1e-8 in p and, by their own account, 1e-4 in limits."""
        allowed = {"KR Tukey p": 1e-7, "KR Tukey limits": 1e-6, "KR Holm p": 1e-9, "KR Dunnett p": 1e-8,
                   "KR Dunnett factor": 1e-8, "KR Dunnett limits": 1e-8}  # fmt: skip
        found = {name: one.error for name, one in comparisons(case, "families").items()}
        assert {name for name, error in found.items() if error > allowed[name]} == set()
        assert found.keys() == allowed.keys()

    def test_holm(self) -> None:
        rows = stored_json("r/multiplicity_a")["adjusted"]
        assert holm(np.array([row["p"] for row in rows])) == pytest.approx([row["holm"] for row in rows], rel=1e-12)

    @pytest.mark.parametrize("design", DESIGNS, ids=lambda design: f"design-{design['id']}")
    def test_dunnett(self, design: dict) -> None:
        """Unequal numbers of edges, df that are not whole."""
        correlation, df = np.array(design["correlation"]), float(design["df"])
        assert dunnett_factor(1 - design["alpha"], np.array([df]), correlation) == pytest.approx(
            [design["crit_two_sided"]], abs=1e-8
        )
        assert dunnett_p(np.array([2.5]), np.array([df]), correlation) == pytest.approx(
            [design["p_two_sided_at_t_2.5"]], abs=1e-9
        )


class TestTheory:
    def test_one_contrast_is_the_t_test(self) -> None:
        t, df, alone = np.array([2.1]), np.array([7.3]), np.eye(1)
        plain = 2 * stats.t.sf(2.1, 7.3)
        assert dunnett_p(t, df, alone) == pytest.approx([plain], rel=1e-9)
        assert tukey_p(t, df, 2) == pytest.approx([plain], rel=1e-6)
        assert holm(np.array([plain])) == pytest.approx([plain])
        assert dunnett_factor(0.95, df, alone) == pytest.approx([stats.t.isf(0.025, 7.3)], rel=1e-9)

    def test_pairs_of_three_means_with_one_against_the_other_two_lie_between(self) -> None:
        """Dunnett is sharper than Tukey, and both are sharper than Bonferroni."""
        df = np.array([12.0])
        correlation = np.full((3, 3), 0.5) + 0.5 * np.eye(3)
        unadjusted, bonferroni = stats.t.isf(0.025, 12), stats.t.isf(0.025 / 6, 12)
        dunnett, tukey = dunnett_factor(0.95, df, correlation)[0], tukey_factor(0.95, df, 4)[0]
        assert unadjusted < dunnett < tukey < bonferroni

    def test_many_df_are_normal(self) -> None:
        correlation = np.full((2, 2), 0.5) + 0.5 * np.eye(2)
        limit = stats.multivariate_normal([0, 0], correlation)
        box = limit.cdf([2.0, 2.0]) - 2 * limit.cdf([2.0, -2.0]) + limit.cdf([-2.0, -2.0])
        assert max_t_cdf(2.0, np.inf, correlation) == pytest.approx(box, abs=1e-7)
        assert max_t_cdf(2.0, 1e7, correlation) == pytest.approx(max_t_cdf(2.0, 9e4, correlation), abs=1e-5)

    @pytest.mark.parametrize("t", [6.0, 20.0, 100.0])
    def test_a_p_value_is_never_below_zero(self, t: float) -> None:
        correlation = np.full((3, 3), 0.5) + 0.5 * np.eye(3)
        for df in (3.0, 30.0, np.inf):
            assert 0 <= dunnett_p(np.array([t]), np.array([df]), correlation)[0] < 0.05
            assert 0 <= tukey_p(np.array([t]), np.array([df]), 4)[0] < 0.05


class TestHolm:
    @given(p_values)
    def test_never_smaller_monotone_and_within_bonferroni(self, p: np.ndarray) -> None:
        adjusted = holm(p)
        assert np.all(adjusted >= p)
        assert np.all(adjusted <= np.minimum(len(p) * p, 1.0))
        order = np.argsort(p)
        assert all(a <= b for a, b in pairwise(adjusted[order]))

    @given(p_values, st.randoms())
    def test_the_order_of_the_family_does_not_matter(self, p: np.ndarray, random: object) -> None:
        shuffled = list(range(len(p)))
        random.shuffle(shuffled)  # type: ignore[attr-defined]
        assert np.array_equal(holm(p[shuffled]), holm(p)[shuffled])

    @given(p_values, st.floats(0.001, 0.3))
    def test_levels_reject_exactly_what_the_adjusted_p_rejects(self, p: np.ndarray, alpha: float) -> None:
        adjusted, levels = holm(p), holm_levels(p, alpha)
        assume(np.all(np.abs(adjusted - alpha) > 1e-9 * alpha))
        assert np.array_equal(p <= levels, adjusted <= alpha)


@st.composite
def families(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Estimates of two to four means against one, with uneven precision."""
    count = draw(st.integers(2, 4))
    variances = np.array(draw(st.lists(st.floats(0.2, 4.0), min_size=count + 1, max_size=count + 1)))
    covariance = variances[0] + np.diag(variances[1:])
    t = np.array(draw(st.lists(st.floats(-5, 5), min_size=count, max_size=count)))
    return t, np.full(count, draw(st.floats(2.5, 60))), covariance


class TestIntervalsMatch:
    @settings(max_examples=25)
    @given(families(), st.sampled_from(["none", "dunnett", "holm"]), st.sampled_from([0.9, 0.95]))
    def test_p_below_alpha_exactly_where_the_interval_excludes_zero(
        self, family: tuple[np.ndarray, np.ndarray, np.ndarray], adjust: multiple.Adjust, level: float
    ) -> None:
        t, df, covariance = family
        p, factor, _ = Family(adjust, (), len(t) + 1).apply(t, df, covariance, level)
        assume(np.all(np.abs(p - (1 - level)) > 1e-7))
        assert np.array_equal(p <= 1 - level, np.abs(t) >= factor)

    @pytest.mark.parametrize("df", [2.5, 9.0, 40.0])
    def test_tukey(self, df: float) -> None:
        t = np.linspace(0.5, 7, 14)
        p, factor, levels = Family("tukey", (), 3).apply(t, np.full(14, df), np.eye(14), 0.95)
        assert np.array_equal(p <= 0.05, np.abs(t) >= factor)
        assert levels.tolist() == [0.95] * 14

    def test_a_family_is_the_rows_at_one_level_and_unknown_rows_are_not_counted(self) -> None:
        t = np.array([3.0, 2.0, np.nan, 3.0, 2.0, 1.0])
        df, covariance = np.full(6, 10.0), np.eye(6)
        p, _, _ = Family("holm", (slice(0, 3), slice(3, 6)), 3).apply(t, df, covariance, 0.95)
        single = 2 * stats.t.sf(np.abs(t), df)
        assert p[:2] == pytest.approx(holm(single[:2]))
        assert np.isnan(p[2])
        assert p[3:] == pytest.approx(holm(single[3:]))


class TestTwoWaysToOneProbability:
    @settings(max_examples=10)
    @given(families(), st.floats(0.5, 4.0))
    def test_draws_agree_with_integration(
        self, family: tuple[np.ndarray, np.ndarray, np.ndarray], bound: float
    ) -> None:
        _, df, covariance = family
        correlation = multiple._correlation(covariance)
        assert one_factor(correlation) is not None
        drawn = multiple._inside_by_draws(-bound, bound, df[0], correlation)
        assert drawn == pytest.approx(max_t_cdf(bound, df[0], correlation), abs=1e-4)

    def test_loadings_give_the_correlation_back(self) -> None:
        loadings = np.array([0.3, 0.9, 0.5, 0.7])
        correlation = np.outer(loadings, loadings)
        np.fill_diagonal(correlation, 1.0)
        assert one_factor(correlation) == pytest.approx(loadings, abs=1e-10)

    def test_other_correlations_have_no_loadings_and_say_that_they_were_drawn(self) -> None:
        assert one_factor(WOVEN) is None
        assert one_factor(np.array([[1.0, -0.2], [-0.2, 1.0]])) is None
        notes = Family("dunnett", (), 5).notes(WOVEN)
        assert [note.code for note in notes] == ["drawn-probability"]
        assert notes[0].text == (
            "The adjusted p values and limits come from quasi-random draws with a fixed seed; "
            "their error is about 0.00001."
        )
        assert Family("holm", (), 5).notes(WOVEN) == ()

    def test_draws_against_the_outside(self) -> None:
        """SciPy's own multivariate t, on a correlation without loadings."""
        box = stats.multivariate_t(np.zeros(4), WOVEN, df=8, seed=1)
        theirs = box.cdf(np.full(4, 2.4), lower_limit=np.full(4, -2.4), maxpts=200_000)
        assert max_t_cdf(2.4, 8.0, WOVEN) == pytest.approx(theirs, abs=2e-4)

    def test_draws_give_the_same_answer_every_time(self) -> None:
        assert max_t_cdf(2.4, 8.0, WOVEN) == max_t_cdf(2.4, 8.0, WOVEN)


class TestBadInput:
    @pytest.mark.parametrize(("arguments", "says"), [
        ({"adjust": "scheffe"}, r"^`adjust` must be one of none, tukey, dunnett, holm, got 'scheffe'$"),
        ({"adjust": "tukey", "against": "m0"}, r'^`adjust="tukey"` is for all pairs; against one level use "dunnett"$'),
        ({"adjust": "dunnett"}, r'^`adjust="dunnett"` needs `against`, the level that all others are compared with$'),
    ])  # fmt: skip
    def test_a_family_that_does_not_fit(self, arguments: dict, says: str) -> None:
        fit = fit_mixed(unbalanced(0), response="y", fixed=["medium"], random=["edge"])
        with pytest.raises(ValueError, match=says):
            fit.contrasts("medium", **arguments)

    def test_factors_are_searched_once_for_df_that_differ_by_rounding(self, monkeypatch: pytest.MonkeyPatch) -> None:
        asked = []
        quantile = stats.studentized_range.ppf
        monkeypatch.setattr(stats.studentized_range, "ppf", lambda *a: asked.append(a) or quantile(*a))
        factors = tukey_factor(0.95, 45 + 1e-13 * np.arange(5), 3)
        assert len(asked) == 1
        assert np.ptp(factors) == 0
