"""How many more edges: sense, and a simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from sharpstats.claims.region import Region
from sharpstats.claims.settle import CHANCE, MOST, chance_of_region, fewest, more_for_region

SAME = Region(-0.15, 0.15)
KEENER = Region(-math.inf, 0.0)


def test_fewest_is_the_first_that_reaches_the_chance() -> None:
    assert fewest(lambda edges: float(edges >= 17), 10) == 7
    assert fewest(lambda edges: float(edges >= 10 + MOST), 10) == MOST


def test_more_than_a_thousand_is_none() -> None:
    assert fewest(lambda edges: float(edges > 10 + MOST), 10) is None
    assert more_for_region(SAME, 0.15, 0.05, 20, 0.05, 8) is None  # an estimate on the margin never settles


@given(st.floats(-0.4, 0.4), st.floats(0.03, 0.2), st.floats(3, 60), st.sampled_from([SAME, KEENER]))
def test_one_more_than_needed_is_enough_and_one_fewer_is_not(
    estimate: float, se: float, df: float, region: Region
) -> None:
    more = more_for_region(region, estimate, se, df, 0.05, 8)
    assume(more is not None and more > 1)

    def chance(edges: int) -> float:
        return chance_of_region(region, estimate, se / math.sqrt(edges / 8), df * edges / 8, 0.05)

    assert chance(8 + more) >= CHANCE > chance(8 + more - 1)


@given(st.floats(0, 0.1), st.floats(0.05, 0.2), st.floats(5, 60))
def test_harder_cases_ask_for_more(estimate: float, se: float, df: float) -> None:
    """A wider interval, a stricter rate, an estimate nearer to the margin: never fewer edges."""

    def more(estimate: float, se: float, rate: float) -> float:
        found = more_for_region(SAME, estimate, se, df, rate, 8)
        return math.inf if found is None else found

    now = more(estimate, se, 0.05)
    assert more(estimate, 1.2 * se, 0.05) >= now
    assert more(estimate, se, 0.01) >= now
    assert more(estimate + 0.03, se, 0.05) >= now


def test_chance_mirrors() -> None:
    there = chance_of_region(Region(-math.inf, 0.1), 0.02, 0.05, 9, 0.05)
    assert chance_of_region(Region(-0.1, math.inf), -0.02, 0.05, 9, 0.05) == pytest.approx(there, rel=1e-12)


@pytest.mark.parametrize(
    ("region", "estimate"), [(SAME, 0.04), (KEENER, -0.08), (Region(-math.inf, 0.1), 0.25), (SAME, -0.3)]
)
def test_as_simulated(region: Region, estimate: float) -> None:
    """That many more edges settle the claim about four times in five: 20,000 trials drawn anew."""
    sd, now, rate = 0.2, 8, 0.05
    more = more_for_region(region, estimate, sd * math.sqrt(2 / now), 2 * now - 2, rate, now)
    assert more is not None
    edges, rng = now + more, np.random.default_rng(7)
    df = 2 * edges - 2
    drawn = rng.normal(estimate, sd * math.sqrt(2 / edges), 20_000)
    se = sd * math.sqrt(2 / edges) * np.sqrt(rng.chisquare(df, 20_000) / df)
    reach = stats.t.isf(rate, df) * se
    shown = (drawn - reach > region.low) & (drawn + reach < region.high)
    contradicted = (drawn + reach < region.low) | (drawn - reach > region.high)
    assert np.mean(shown | contradicted) == pytest.approx(CHANCE, abs=0.03)
