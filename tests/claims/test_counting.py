"""Counting edges: the exact binomial test and its order statistics."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from sharpstats.claims.counting import Counted

means = st.lists(st.floats(0, 10), max_size=40).map(np.array)
least = st.lists(st.floats(0, 10), max_size=5).map(np.array)
shares = st.sampled_from([0.1, 0.5, 0.8, 0.9, 0.95])


@given(means, shares)
def test_p_values_as_scipy(means: np.ndarray, share: float) -> None:
    assume(len(means))
    counted = Counted(means, np.array([]), 5.0, share)
    for p, side in ((counted.p_shown, "greater"), (counted.p_contradicted, "less")):
        assert p == pytest.approx(stats.binomtest(counted.below, len(means), share, side).pvalue, rel=1e-9)


@given(means, least, shares, st.sampled_from([0.01, 0.05, 0.2]))
def test_order_statistics_say_what_the_counts_say(
    means: np.ndarray, least: np.ndarray, share: float, rate: float
) -> None:
    assume(len(means) + len(least))
    counted = Counted(means, least, 5.0, share)
    low, high = counted.bounds(rate)
    for count in range(counted.edges):  # a tie of a probability with the rate is decided by rounding
        chance = stats.binom.cdf(count, counted.edges, share)
        assume(abs(chance - rate) > 1e-9 and abs(1 - chance - rate) > 1e-9)
    assert (counted.p_shown <= rate) == (high < 5.0)
    assert (counted.p_contradicted <= rate) == (low >= 5.0)
    assert low <= high


def test_covers_the_quantile_as_often_as_it_says() -> None:
    """Exact for any distribution: the bound of a share of 80 % from 30 edges."""
    rng, counts = np.random.default_rng(4), np.zeros(2)
    truth = stats.expon.ppf(0.8)
    for _ in range(4000):
        low, high = Counted(rng.exponential(size=30), np.array([]), 5.0, 0.8).bounds(0.05)
        counts += (low > truth, high < truth)
    assert np.all(counts / 4000 <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / 4000))


def test_an_over_range_edge_is_above_where_a_claim_is_to_be_shown_and_below_where_contradicted() -> None:
    counted = Counted(np.array([1.0, 2.0]), np.array([3.0, 9.0]), 5.0, 0.5)
    assert (counted.below, counted.perhaps, counted.edges) == (2, 3, 4)
    assert counted.p_shown == pytest.approx(stats.binom.sf(1, 4, 0.5))
    assert counted.p_contradicted == pytest.approx(stats.binom.cdf(3, 4, 0.5))


def test_estimate_is_the_reading_with_the_share_at_or_below_it() -> None:
    ten = np.arange(1.0, 11.0)
    assert Counted(ten, np.array([]), 5.0, 0.9).estimate == 9.0
    assert Counted(ten, np.array([]), 5.0, 0.85).estimate == 9.0
    assert Counted(ten[:8], np.array([2.0, 3.0]), 5.0, 0.8).estimate == 8.0
    assert Counted(ten[:8], np.array([2.0, 3.0]), 5.0, 0.9).estimate == math.inf


def test_too_few_edges_have_no_bounds() -> None:
    assert Counted(np.array([1.0, 2.0]), np.array([]), 5.0, 0.9).bounds(0.05)[1] == math.inf
    assert Counted(np.array([1.0, 2.0]), np.array([]), 5.0, 0.1).bounds(0.05)[0] == -math.inf


def test_no_edges_no_p_values() -> None:
    counted = Counted(np.array([]), np.array([]), 5.0, 0.9)
    assert math.isnan(counted.p_shown)
    assert math.isnan(counted.p_contradicted)


def test_opinion_tells_the_count() -> None:
    counted = Counted(np.arange(10.0), np.array([]), 8.5, 0.5)
    assert counted.opinion(0.05, "shown").text == "9 of 10 edges read below; by counting alone the claim is shown, too."
    other = counted.opinion(0.001, "shown")
    assert (other.outcome, other.agrees) == ("open", False)
    assert other.text == "9 of 10 edges read below; by counting alone the claim is open."


def test_more_edges_are_enough_by_simulation() -> None:
    """18 of 20 below where 70 % is claimed: with that many more, four trials in five are settled."""
    counted = Counted(np.array([1.0] * 18 + [9.0] * 2), np.array([]), 5.0, 0.7)
    more = counted.more_edges(0.05)
    assert more is not None
    rng, edges = np.random.default_rng(5), 20 + more
    below = rng.binomial(edges, 18.5 / 21, 20_000)
    settled = (stats.binom.sf(below - 1, edges, 0.7) <= 0.05) | (stats.binom.cdf(below, edges, 0.7) <= 0.05)
    assert 0.78 <= settled.mean() <= 0.9


def test_a_share_as_claimed_is_never_settled() -> None:
    assert Counted(np.array([1.0] * 15 + [9.0] * 5), np.array([]), 5.0, 0.75).more_edges(0.05) is None
