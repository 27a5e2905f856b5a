"""A few settings of the study with fixed seeds: wrong standard errors or degrees of freedom do not get past them."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from scipy import stats
from validity.differences import ALPHA, measure, within
from validity.draw import HEAVY, NORMAL, SKEWED
from validity.grid import AS_READ, Setting
from validity.layouts import NESTED, NO_BLADES, ONCE, TWICE, Layout
from validity.shares import OFF, bound

from sharpstats.claims.region import Region

TRIALS = 8000
EXACT = {
    "three edges each": Setting(Layout(NO_BLADES, 3), "edges most"),
    "six edges each, some lost": Setting(Layout(NO_BLADES, 6, lost=True), "edges most"),
    "twelve blades, an edge of each": Setting(Layout(ONCE, 12), "blades most"),
    "twelve blades, two edges of each": Setting(Layout(TWICE, 24)),
    "blades of their own": Setting(Layout(NESTED, 6), "blades most"),
}
"""Settings of each layout where a spread is least often estimated as zero: claims err as often as they may, no less."""


@lru_cache
def measured(setting: Setting) -> dict[str, float]:
    return measure(setting, TRIALS)


@pytest.mark.parametrize("name", EXACT)
class TestExact:
    def test_intervals_cover_what_they_say(self, name: str) -> None:
        assert measured(EXACT[name])["covers"] == pytest.approx(1 - ALPHA, abs=bound(TRIALS))

    def test_claims_err_as_often_as_they_may(self, name: str) -> None:
        for side in ("below", "above"):
            assert measured(EXACT[name])[side] == pytest.approx(ALPHA, abs=bound(TRIALS))

    def test_the_normal_quantile_would_not_pass(self, name: str) -> None:
        assert measured(EXACT[name])["normal"] < 1 - ALPHA - bound(TRIALS)


@pytest.mark.parametrize("shape", [HEAVY, SKEWED])
def test_other_shapes_do_no_harm_to_differences(shape: str) -> None:
    found = measured(Setting(Layout(TWICE, 8, lost=True), shape=shape))
    assert max(found[claim] for claim in ("same", "below", "above")) < OFF + bound(TRIALS)


def test_spreads_that_are_not_there_make_claims_careful_not_bold() -> None:
    found = measured(Setting(Layout(TWICE, 6), "only cuts"))
    assert found["zero"] > 0.9
    assert max(found[claim] for claim in ("same", "below", "above")) < ALPHA


def test_a_wrong_scale_with_lost_edges_does_harm() -> None:
    """Seen by the check of the scale in most such trials."""
    found = measure(Setting(Layout(NO_BLADES, 8, lost=True), scale=AS_READ), 4000)
    assert found["below"] > OFF + bound(4000, OFF)
    assert found["noticed"] > 0.5


class TestMeasure:
    def test_power_grows_with_edges(self) -> None:
        small, large = (measured(Setting(Layout(NO_BLADES, edges), "edges most")) for edges in (3, 24))
        for claim in ("power_same", "power_no_worse", "power_keener"):
            assert large[claim] > small[claim] + 0.3

    def test_shown_is_what_the_p_value_says(self) -> None:
        rng = np.random.default_rng(1)
        estimate, se, df = rng.normal(0, 1, 300), rng.uniform(0.2, 0.6, 300), rng.uniform(1.5, 30, 300)
        for region in (Region(-1.0, 1.0), Region(-np.inf, 0.3), Region(-0.3, np.inf)):
            by_p = [region.p_shown(*map(float, row)) <= ALPHA for row in zip(estimate, se, df, strict=True)]
            assert within(region.low, region.high, estimate, se, df).tolist() == by_p

    def test_a_true_difference_moves_the_estimate_and_nothing_else(self) -> None:
        """What lets one set of trials serve for boundaries and for power."""
        layout = Layout(TWICE, 8, lost=True)
        drawn = Setting(layout).draw(50)
        one, two = (layout.shared().fit(y) for y in (drawn, drawn + 0.7 * layout.raised))
        assert two.estimate == pytest.approx(one.estimate + 0.7, abs=1e-9)
        assert two.se == pytest.approx(one.se, rel=1e-7)
        assert two.df == pytest.approx(one.df, rel=1e-6)

    def test_edges_without_blades_are_a_t_test(self) -> None:
        """Balanced edges without blades, by the textbook: the pooled t test on means of edges."""
        setting = Setting(Layout(NO_BLADES, 4), "edges most")
        drawn = setting.draw(2000)
        edges = drawn.reshape(2000, 2, 4, 3).mean(axis=3)
        p = stats.ttest_ind(edges[:, 1], edges[:, 0], axis=1).statistic
        off = np.abs(p - setting.truth / _pooled(edges)) <= stats.t.isf(ALPHA / 2, 6)
        assert measure(setting, 2000)["covers"] == pytest.approx(off.mean(), abs=0.01)


def _pooled(edges: np.ndarray) -> np.ndarray:
    return np.sqrt(edges.var(axis=2, ddof=1).mean(axis=1) * 2 / 4)


def test_a_setting_gives_the_same_numbers_again() -> None:
    setting = Setting(Layout(ONCE, 3), shape=NORMAL)
    assert measure(setting, 300) == pytest.approx(measure(setting, 300), nan_ok=True)
