"""Sharing the error rate: Holm's adjusted p values, and intervals that decide the findings."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.multitest import multipletests

from sharpstats.claims.evidence import Evidence
from sharpstats.claims.family import Shared, share
from sharpstats.claims.region import Outside, Region

REFERENCE = Path(__file__).parents[1] / "reference"


def evidence(region: Region, estimate: float, se: float, df: float) -> Evidence:
    """What a comparison hands over, by its own formulas."""

    def interval(rate: float) -> tuple[float, float]:
        reach = stats.t.isf(rate, df) * se
        return estimate - reach, estimate + reach

    return bare(region.p_shown(estimate, se, df), region.p_contradicted(estimate, se, df), interval, region.tails)


def bare(
    p_shown: float, p_contradicted: float = 1.0, interval=lambda rate: (math.nan, math.nan), tails: int = 1
) -> Evidence:
    return Evidence(
        p_shown=p_shown, p_contradicted=p_contradicted, unit="%", estimate=0.0, df=1.0, estimate_on_scale=0.0, se=1.0,
        bound_low=None, bound_high=None, real=None, interval=interval, more_edges=lambda rate: None,
        opinions=lambda rate, found: (), edges={}, cuts={}, tails=tails,
    )  # fmt: skip


margins = st.floats(0.05, 1)
regions = st.one_of(
    margins.map(lambda m: Region(-m, m)), margins.map(lambda m: Region(-math.inf, m)),
    st.floats(0, 1).map(lambda m: Region(-math.inf, -m)), st.floats(0, 1).map(lambda m: Outside(-m, m)),
)  # fmt: skip
cases = st.tuples(regions, st.floats(-2, 2), st.floats(0.02, 1), st.floats(1, 100), st.booleans())


@given(st.lists(cases, min_size=1, max_size=6), st.sampled_from([0.01, 0.05, 0.2, 0.4]))
def test_finding_is_where_the_interval_lies(
    claims: list[tuple[Region, float, float, float, bool]], alpha: float
) -> None:
    """Shown exactly if the interval told lies where the claim is true, contradicted exactly if wholly elsewhere."""
    pieces = [evidence(*case[:4]) for case in claims]
    for (region, *_), piece, part in zip(claims, pieces, share(pieces, [c[4] for c in claims], alpha), strict=True):
        low, high = piece.interval(part.rate)
        for limit in (region.low, region.high):
            assume(min(abs(low - limit), abs(high - limit)) > 1e-9)
        inside = region.low < low and high < region.high
        outside = high < region.low or low > region.high
        inside, outside = (outside, inside) if region.tails > 1 else (inside, outside)
        assert part.finding == ("shown" if inside else "contradicted" if outside else "open")


p_values = st.lists(st.floats(0, 1), min_size=1, max_size=8)


@settings(max_examples=25)  # the peer takes its time
@given(p_values, st.sampled_from([0.01, 0.05, 0.2]))
def test_holm_as_statsmodels(p: list[float], alpha: float) -> None:
    rejected, adjusted, _, _ = multipletests(p, alpha, method="holm")
    assume(np.min(np.abs(adjusted - alpha)) > 1e-12)  # a tie with alpha is decided by rounding
    parts = share([bare(value) for value in p], [True] * len(p), alpha)
    assert [part.p_adjusted for part in parts] == pytest.approx(adjusted, rel=1e-12)
    assert [part.finding == "shown" for part in parts] == list(rejected)
    assert [part.p_adjusted <= alpha for part in parts] == list(rejected)


def test_holm_as_r() -> None:
    """R's `p.adjust` on fourteen p values with ties."""
    stored = json.loads((REFERENCE / "r" / "multiplicity_a.json").read_text(encoding="utf-8"))["adjusted"]
    parts = share([bare(row["p"]) for row in stored], [True] * len(stored), 0.05)
    assert [part.p_adjusted for part in parts] == pytest.approx([row["holm"] for row in stored], rel=1e-12)
    assert [part.finding for part in parts].count("shown") == 3  # T01, T03, T09


@given(p_values)
def test_contradictions_share_their_own_error_rate(p: list[float]) -> None:
    """Holm runs over the p values against the claims as it does over those for them."""
    for_them = share([bare(value, 1.0) for value in p], [True] * len(p), 0.05)
    against = share([bare(1.0, value) for value in p], [True] * len(p), 0.05)
    turned = {"shown": "contradicted", "open": "open"}
    assert [part.finding for part in against] == [turned[part.finding] for part in for_them]
    told = [(a.rate, b.rate) for a, b in zip(for_them, against, strict=True) if a.finding == "shown"]
    assert all(a == b for a, b in told)


@given(st.lists(st.sampled_from([0.001, 0.01, 0.02, 0.3, 1.0]), min_size=1, max_size=8), st.randoms())
def test_order_of_the_claims_does_not_count(p: list[float], random) -> None:
    """Not even where p values are tied."""
    order = list(range(len(p)))
    random.shuffle(order)
    parts = share([bare(value) for value in p], [True] * len(p), 0.05)
    shuffled = share([bare(p[i]) for i in order], [True] * len(p), 0.05)
    assert shuffled == [parts[i] for i in order]


def test_claims_outside_the_family_keep_the_whole_rate_and_cost_the_others_nothing() -> None:
    p = [0.02, 0.024, 0.04, 0.04]
    together = share([bare(value) for value in p], [True, True, False, False], 0.05)
    assert together[:2] == share([bare(value) for value in p[:2]], [True, True], 0.05)
    assert together[2:] == [Shared(0.04, 0.05, "shown")] * 2
    assert [part.finding for part in share([bare(value) for value in p], [True] * 4, 0.05)] == ["open"] * 4


def test_a_claim_that_is_not_answered_stays_in_the_family() -> None:
    """It was declared: dropping it would make the others' levels depend on what was lost."""
    answered, unknown = share([bare(0.03), bare(math.nan, math.nan)], [True, True], 0.05)
    assert (answered.p_adjusted, answered.finding, answered.rate) == (0.06, "open", 0.025)
    assert (unknown.finding, unknown.rate) == ("open", 0.025)
    assert math.isnan(unknown.p_adjusted)


def test_a_claim_true_beyond_two_limits_is_told_with_half_the_rate_on_each_side() -> None:
    """Shown and open: the two-sided interval. Contradicted: the one inside the margins, as for `same`."""
    shown, against, undecided = (evidence(Outside(-1.0, 1.0), b, 0.2, 30) for b in (2.0, 0.0, 1.1))
    parts = share([shown, against, undecided], [False] * 3, 0.05)
    assert [part.finding for part in parts] == ["shown", "contradicted", "open"]
    assert [part.rate for part in parts] == [0.025, 0.05, 0.025]
    first, second, last = share([shown, against, undecided], [True] * 3, 0.06)
    assert (first.finding, first.rate, first.p_adjusted) == ("shown", pytest.approx(0.01), 3 * shown.p_shown)
    assert (second.finding, second.rate) == ("contradicted", pytest.approx(0.02))
    assert (last.finding, last.rate) == ("open", pytest.approx(0.015))


def test_no_family_no_adjustment() -> None:
    parts = share([bare(0.04), bare(0.9, 0.01)], [False, False], 0.05)
    assert parts == [Shared(0.04, 0.05, "shown"), Shared(0.9, 0.05, "contradicted")]


def rates(parts: Sequence[Shared]) -> list[float]:
    return [part.rate for part in parts]


def test_levels_of_the_steps() -> None:
    """Three claims, two shown: the steps are at a third, a half and the whole of alpha."""
    parts = share([bare(0.02), bare(0.001), bare(0.2)], [True] * 3, 0.06)
    assert rates(parts) == pytest.approx([0.03, 0.02, 0.02])
    # The open one is told at the wider of its two: a whole alpha for the claim, a third against it.
    assert [part.finding for part in parts] == ["shown", "shown", "open"]
