"""The ratio of two spreads: against R's profile, the exact F test, Pitman and Morgan's test, and by simulation."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from reference.layouts import crossed
from reference.stored import stored_json, stored_table
from scipy import special, stats

from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.model.ratio import SpreadRatio


def fitted(table: pd.DataFrame, random: list[str]) -> MixedFit:
    return fit_mixed(table, response="y", fixed=["medium"], random=random, spread_by="medium")


def ratio(fit: MixedFit, one: str, other: str) -> SpreadRatio:
    return SpreadRatio(fit.reduced, fit.optimum, fit.structure.place_of(one), fit.structure.place_of(other))


def two_samples(m: int, n: int, f: float, seed: int = 0) -> pd.DataFrame:
    """Two samples whose variances have just the ratio `f`."""
    rng = np.random.default_rng(seed)
    one, other = (stats.zscore(rng.normal(size=size), ddof=1) for size in (m, n))
    return pd.DataFrame({"medium": ["m0"] * m + ["m1"] * n, "y": np.r_[math.sqrt(f) * one, 3 + other]})


class TestAgainstR:
    @pytest.mark.parametrize("case", ["lme_spread_a", "lme_spread_b"])
    def test_the_profile_reaches_its_threshold_at_r_s_limits(self, case: str) -> None:
        table, r = stored_table(f"r/{case}"), stored_json(f"r/{case}")
        fit, reach = fitted(table.assign(y=np.log(table["force"])), ["blade", "edge"]), stats.norm.isf(0.025)
        assert len(r["profile_ci_sd_ratio"]) == 3
        for row in r["profile_ci_sd_ratio"]:
            found = ratio(fit, row["sd_of"], row["over_sd_of"])
            assert found.estimate == pytest.approx(row["ratio"], rel=1e-10)
            assert found.signed_root(math.log(row["lower"])) == pytest.approx(reach, rel=1e-9)
            assert found.signed_root(math.log(row["upper"])) == pytest.approx(-reach, rel=1e-9)


class TestAgainstTheFTest:
    """Without cut error and blocks the F test is exact; the uncorrected root is not near it."""

    @pytest.mark.parametrize(("m", "n", "off"), [(3, 3, 3e-3), (3, 8, 1.2e-3), (4, 4, 1.2e-3), (6, 6, 4e-4),
                                                 (12, 12, 1e-4), (24, 24, 2e-5)])  # fmt: skip
    @pytest.mark.parametrize("p", [0.01, 0.05, 0.2, 0.95])
    def test_p_values(self, m: int, n: int, off: float, p: float) -> None:
        found = ratio(fitted(two_samples(m, n, float(stats.f.ppf(p, m - 1, n - 1))), []), "m0", "m1")
        assert found.p_below(1.0) == pytest.approx(p, abs=off + 2e-5)
        assert found.p_above(1.0) == pytest.approx(1 - p, abs=off + 2e-5)
        plain = float(special.ndtr(found.signed_root(0.0)))
        if m == n:
            assert abs(plain - p) > 3 * abs(found.p_below(1.0) - p)

    @pytest.mark.parametrize(("m", "n"), [(3, 3), (4, 9), (12, 12)])
    def test_limits(self, m: int, n: int) -> None:
        low, high = ratio(fitted(two_samples(m, n, 0.3), []), "m0", "m1").limits(0.05)
        exact = [math.sqrt(0.3 / stats.f.ppf(q, m - 1, n - 1)) for q in (0.95, 0.05)]
        assert [low, high] == pytest.approx(exact, rel=0.03 if m < 6 else 0.001)

    def test_near_the_estimate_the_root_has_no_step(self) -> None:
        found = ratio(fitted(two_samples(4, 9, 0.3), []), "m0", "m1")
        places = math.log(found.estimate) + np.linspace(-0.3, 0.3, 25)
        roots = np.array([found.root(float(place)) for place in places])
        assert np.all(np.diff(roots) < 0)
        assert np.abs(np.diff(roots, 2)).max() < 0.02

    def test_equal_cuts_give_the_f_test_of_edge_means(self) -> None:
        """Held at one, the cut error is the same on both sides and drops out."""
        table = crossed(np.random.default_rng(3), media=2, blades=1, edges=8, cuts=4, sd=(0.0, 0.0, 0.3, 0.1))
        means = table.groupby(["medium", "edge"])["y"].mean().groupby("medium").var()
        exact = stats.f.cdf(means["m0"] / means["m1"], 7, 7)
        assert ratio(fitted(table, ["edge"]), "m0", "m1").p_below(1.0) == pytest.approx(exact, abs=0.002)


class TestAgainstPitmanAndMorgan:
    """One edge of either medium on each blade: the sums and differences are uncorrelated if the spreads are equal."""

    @pytest.mark.parametrize(("blades", "off"), [(5, 0.01), (8, 0.005), (16, 0.002)])
    def test_one_sided_p_value(self, blades: int, off: float) -> None:
        rng, checked = np.random.default_rng(blades), 0
        for _ in range(12):
            table = crossed(rng, media=2, blades=blades, edges=1, cuts=1, sd=(0.3, 0.0, 0.2, 0.0))
            table["y"] += np.where(table["medium"] == "m1", rng.normal(0, 0.2, len(table)), 0.0)
            fit = fitted(table, ["blade", "edge"])
            if fit.optimum.zero.any():
                continue
            wide = table.pivot_table(index="blade", columns="medium", values="y")
            exact = stats.pearsonr(wide["m0"] + wide["m1"], wide["m0"] - wide["m1"], alternative="less").pvalue
            assert ratio(fit, "m0", "m1").p_below(1.0) == pytest.approx(exact, abs=off)
            checked += 1
        assert checked > 5


class TestSymmetry:
    def test_swapping_the_two_turns_the_ratio(self) -> None:
        fit = fitted(crossed(np.random.default_rng(4), edges=4), ["blade", "edge"])
        there, back = ratio(fit, "m0", "m2"), ratio(fit, "m2", "m0")
        assert back.estimate == pytest.approx(1 / there.estimate, rel=1e-12)
        assert back.p_below(1.3) == pytest.approx(there.p_above(1 / 1.3), rel=1e-7)
        assert back.limits(0.05) == pytest.approx([1 / value for value in reversed(there.limits(0.05))], rel=1e-7)

    def test_unit_and_origin_of_the_readings_do_not_matter(self) -> None:
        table = crossed(np.random.default_rng(4), edges=4)
        found = [ratio(fitted(one, ["blade", "edge"]), "m0", "m1")
                 for one in (table, table.assign(y=1000 * table["y"] + 7))]  # fmt: skip
        assert found[1].limits(0.05) == pytest.approx(found[0].limits(0.05), rel=1e-7)

    def test_mean_squares_are_those_of_edge_means(self) -> None:
        table = crossed(np.random.default_rng(3), media=2, blades=1, edges=8, cuts=4, sd=(0.0, 0.0, 0.3, 0.1))
        found = ratio(fitted(table, ["edge"]), "m0", "m1")
        means = table.groupby(["medium", "edge"])["y"].mean().groupby("medium").var()
        value, df = found.mean_squares()
        assert value == pytest.approx(means.to_numpy(), rel=1e-9)
        assert df == pytest.approx([7, 7], rel=1e-9)
        held, _ = found.mean_squares(1.0)
        assert held[0] == pytest.approx(held[1], rel=1e-9)


def flat(table: pd.DataFrame, *media: str) -> pd.DataFrame:
    """The same with all edges of some media at one mean."""
    means = table.groupby("edge")["y"].transform("mean")
    return table.assign(y=np.where(table["medium"].isin(media), table["y"] - means, table["y"]))


class TestZero:
    table = crossed(np.random.default_rng(6), media=2, blades=1, edges=6, sd=(0.0, 0.0, 0.2, 0.1))

    def test_a_spread_of_zero(self) -> None:
        found = ratio(fitted(flat(self.table, "m0"), ["edge"]), "m0", "m1")
        assert found.estimate == 0
        low, high = found.limits(0.05)
        assert low == 0 and 0 < high < math.inf
        assert 0 < found.p_below(1.0) < 0.5 < found.p_above(1.0) < 1

    def test_upside_down_it_is_infinite(self) -> None:
        found = ratio(fitted(flat(self.table, "m0"), ["edge"]), "m1", "m0")
        assert found.estimate == math.inf
        low, high = found.limits(0.05)
        assert 0 < low < math.inf and high == math.inf

    def test_two_spreads_of_zero_say_nothing(self) -> None:
        found = ratio(fitted(flat(self.table, "m0", "m1"), ["edge"]), "m0", "m1")
        assert math.isnan(found.estimate)
        assert found.limits(0.05) == (0, math.inf)
        assert (found.p_below(1.0), found.p_above(1.0)) == (1, 1)

    def test_where_a_spread_is_zero_the_correction_only_makes_more_cautious(self) -> None:
        found = ratio(fitted(flat(self.table, "m0"), ["edge"]), "m0", "m1")
        for place in (-1.0, 0.0, 1.0):
            assert abs(found.root(place)) <= abs(found.signed_root(place))


def test_a_likelihood_that_hardly_depends_on_the_ratio_finds_nothing_against_its_estimate() -> None:
    """Edges that differ little beside what cuts and blades do: the correction may be many times the root."""
    rng, flat = np.random.default_rng(20261125), 0
    for _ in range(12):
        table = crossed(rng, media=3, blades=5, edges=2, cuts=4, sd=(0.09, 0.04, 0.03, 0.09))
        fit = fit_mixed(
            table, response="y", fixed=["medium"], random=["blade", ("blade", "medium"), "edge"], spread_by="medium"
        )
        found = SpreadRatio(fit.reduced, fit.optimum, 1, 2)
        for log_ratio in (-2.0, -0.5, 0.0, 0.5, 2.0):
            plain, corrected = found.signed_root(log_ratio), found.root(log_ratio)
            assert corrected * math.copysign(1.0, plain) >= -0.5
            assert abs(corrected) <= abs(plain) + 0.5
            flat += abs(plain) < 0.5
    assert flat > 5
