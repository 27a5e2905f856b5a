"""A region of differences: its two p values, its scale, and what is reported of it."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.weightstats import ttost_ind, ttost_paired

from sharpstats.claims.region import Outside, Region, on_scale, reported
from sharpstats.units import Quantity

REFERENCE = Path(__file__).parents[1] / "reference"

estimates = st.floats(-3, 3)
errors = st.floats(0.05, 2)
freedoms = st.one_of(st.floats(1, 200), st.just(math.inf))
margins = st.floats(0.05, 2)


def regions() -> st.SearchStrategy[Region]:
    """Regions of every kind: inside a margin, below one, below minus one."""
    return st.one_of(
        margins.map(lambda m: Region(-m, m)), margins.map(lambda m: Region(-math.inf, m)),
        st.floats(0, 2).map(lambda m: Region(-math.inf, -m)),
    )  # fmt: skip


def test_published_crossover_example() -> None:
    """Chow & Liu's worked bioequivalence example: both t statistics, the interval, the conclusion."""
    stored = json.loads((REFERENCE / "equivalence" / "worked_tost_chow_liu.json").read_text(encoding="utf-8"))
    inputs, published = stored["inputs"], stored["published"]
    test, reference = float(inputs["mean_test"]), float(inputs["mean_reference"])
    se = math.sqrt(float(inputs["sigma_d_squared"]) * 2 / inputs["n_per_sequence"])
    df, difference, margin = inputs["df"], test - reference, 0.2 * reference
    region = Region(-margin, margin)
    reach = stats.t.isf(0.05, df) * se
    assert difference - reach == pytest.approx(float(published["ci90"][0]), abs=6e-4)
    assert difference + reach == pytest.approx(float(published["ci90"][1]), abs=6e-4)
    lower, upper = float(published["T_L"]), float(published["T_U"])
    expected = max(stats.t.sf(lower, df), stats.t.cdf(upper, df))
    assert region.p_shown(difference, se, df) == pytest.approx(expected, rel=2e-3)  # T is printed to three decimals
    assert region.p_shown(difference, se, df) < 0.05  # "equivalent at 5 %"


@pytest.mark.parametrize("limits", [(-1.0, 1.0), (-0.4, 0.4), (-0.1, 0.9)])
def test_two_samples_as_statsmodels(limits: tuple[float, float]) -> None:
    rng = np.random.default_rng(1)
    one, other = rng.normal(0.2, 1, 12), rng.normal(0, 1, 9)
    peer = ttost_ind(one, other, *limits, usevar="pooled")[0]
    pooled = ((one.size - 1) * one.var(ddof=1) + (other.size - 1) * other.var(ddof=1)) / (one.size + other.size - 2)
    se = math.sqrt(pooled * (1 / one.size + 1 / other.size))
    found = Region(*limits).p_shown(one.mean() - other.mean(), se, one.size + other.size - 2)
    assert found == pytest.approx(peer, rel=1e-12)


@pytest.mark.parametrize("limits", [(-1.0, 1.0), (-0.3, 0.3)])
def test_pairs_as_statsmodels(limits: tuple[float, float]) -> None:
    rng = np.random.default_rng(2)
    one, other = rng.normal(0.2, 1, 10), rng.normal(0, 1, 10)
    gap = one - other
    found = Region(*limits).p_shown(gap.mean(), gap.std(ddof=1) / math.sqrt(10), 9)
    assert found == pytest.approx(ttost_paired(one, other, *limits)[0], rel=1e-12)


@given(regions(), estimates, errors, freedoms, st.floats(0.001, 0.2))
def test_p_values_say_what_the_interval_says(
    region: Region, estimate: float, se: float, df: float, rate: float
) -> None:
    """Shown at a rate: the interval lies inside; contradicted: wholly outside."""
    reach = stats.t.isf(rate, df) * se
    low, high = estimate - reach, estimate + reach
    for limit in (region.low, region.high):
        assume(min(abs(low - limit), abs(high - limit)) > 1e-9)
    assert (region.p_shown(estimate, se, df) <= rate) == (region.low < low and high < region.high)
    assert (region.p_contradicted(estimate, se, df) <= rate) == (high < region.low or low > region.high)


@given(regions(), estimates, errors, freedoms)
def test_mirror_image(region: Region, estimate: float, se: float, df: float) -> None:
    """Swapping the two media mirrors difference and region, and changes no p value by a bit."""
    mirror = Region(-region.high, -region.low)
    assert mirror.p_shown(-estimate, se, df) == region.p_shown(estimate, se, df)
    assert mirror.p_contradicted(-estimate, se, df) == region.p_contradicted(estimate, se, df)


@given(margins, estimates, errors, freedoms)
def test_worse_by_the_margin_is_the_other_keener_by_it(margin: float, estimate: float, se: float, df: float) -> None:
    """`no worse` is contradicted by just what shows the reverse `keener`, and the other way round."""
    no_worse, reverse_keener = Region(-math.inf, margin), Region(-math.inf, -margin)
    assert no_worse.p_contradicted(estimate, se, df) == reverse_keener.p_shown(-estimate, se, df)
    assert no_worse.p_shown(estimate, se, df) == reverse_keener.p_contradicted(-estimate, se, df)


def test_tiny_p_values_keep_their_digits() -> None:
    assert Region(-math.inf, 0.0).p_shown(-30.0, 1.0, 40) == pytest.approx(stats.t.sf(30, 40), rel=1e-12)
    assert 0 < Region(-math.inf, 0.0).p_shown(-30.0, 1.0, 40) < 1e-25


@pytest.mark.parametrize("percent", [0.0, 5.0, 15.0, 100.0])
def test_percent_is_a_ratio_on_the_log_scale(percent: float) -> None:
    distance = on_scale(Quantity(percent, "%"), "log")
    assert math.exp(distance) == pytest.approx(1 + percent / 100, rel=1e-15)
    assert reported(distance, "log") == pytest.approx(percent, rel=1e-14)


def test_force_stays_a_force_on_the_scale_as_read() -> None:
    assert on_scale(Quantity(25.0, "gf"), "as read") == 25.0
    assert reported(-25.0, "as read") == -25.0


@given(st.floats(-2, 2))
def test_reported_percents_of_a_swapped_pair_are_one_ratio_and_its_inverse(difference: float) -> None:
    there, back = 1 + reported(difference, "log") / 100, 1 + reported(-difference, "log") / 100
    assert there * back == pytest.approx(1, rel=1e-12)


limits = st.floats(0, 2)


@given(limits, estimates, errors, freedoms, st.floats(0.001, 0.2))
def test_beyond_the_limits_is_shown_by_the_two_sided_interval(
    limit: float, estimate: float, se: float, df: float, rate: float
) -> None:
    """Shown at a rate: the interval with half of it on each side lies wholly beyond a limit. Contradicted: within."""
    region = Outside(-limit, limit)
    half, whole = stats.t.isf(rate / 2, df) * se, stats.t.isf(rate, df) * se
    for end in (estimate - half, estimate + half, estimate - whole, estimate + whole):
        assume(abs(abs(end) - limit) > 1e-9)
    assert (region.p_shown(estimate, se, df) <= rate) == (abs(estimate) - half > limit)
    assert (region.p_contradicted(estimate, se, df) <= rate) == (abs(estimate) + whole < limit)


@given(limits, estimates, errors, freedoms)
def test_beyond_the_limits_is_the_mirror_of_within(limit: float, estimate: float, se: float, df: float) -> None:
    outside, inside = Outside(-limit, limit), Region(-limit, limit)
    assert outside.p_contradicted(estimate, se, df) == inside.p_shown(estimate, se, df)
    assert outside.p_shown(estimate, se, df) == min(1, 2 * inside.p_contradicted(estimate, se, df))
    assert outside.p_shown(-estimate, se, df) == outside.p_shown(estimate, se, df)


@given(estimates, errors, freedoms)
def test_without_a_margin_it_is_the_plain_two_sided_test(estimate: float, se: float, df: float) -> None:
    p = Outside(0.0, 0.0).p_shown(estimate, se, df)
    assert p == pytest.approx(min(1, 2 * stats.t.sf(abs(estimate) / se, df)), rel=1e-12)
    assert Outside(0.0, 0.0).p_contradicted(estimate, se, df) >= 0.5  # nothing shows a gap of exactly nothing


def test_the_smaller_one_sided_p_value_would_err_twice_as_often_without_a_margin() -> None:
    """What the halved rate is for: no gap, no margin, 2,000 trials."""
    trials, alpha, df = 2000, 0.05, 8
    rng = np.random.default_rng(31)
    drawn = zip(rng.standard_normal(trials), np.sqrt(rng.chisquare(df, trials) / df), strict=True)
    region = Outside(0.0, 0.0)
    p = np.array([(region.p_shown(b, se, df), Region(0.0, 0.0).p_contradicted(b, se, df)) for b, se in drawn])
    shown, one_sided = (p <= alpha).mean(axis=0)
    three_sigma = 3 * math.sqrt(alpha * (1 - alpha) / trials)
    assert shown == pytest.approx(alpha, abs=three_sigma)
    assert one_sided == pytest.approx(2 * alpha, abs=2 * three_sigma)
