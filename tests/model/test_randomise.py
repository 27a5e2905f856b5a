"""Re-randomising: against Fisher's count, SciPy, and what must hold for any layout."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sharpstats.model import randomise
from sharpstats.model.many import SharedLayout
from sharpstats.model.mixed import fit_mixed
from sharpstats.model.randomise import Dealt, Rerandomised, rerandomise


def never(found: Rerandomised) -> bool:
    return False


def dealt(values, first, group=None) -> Dealt:
    nil = np.zeros(len(values), dtype=np.intp)
    return Dealt(np.asarray(values, float), np.asarray(first, bool), nil if group is None else np.asarray(group), nil,
                 np.ones(1))  # fmt: skip


def blocked(seed: int, sizes=((2, 2), (1, 2), (3, 1))) -> Dealt:
    """Blocks with so many units of either label, and an own level each."""
    rng = np.random.default_rng(seed)
    first = np.concatenate([np.repeat([True, False], size) for size in sizes])
    group = np.repeat(np.arange(len(sizes)), [sum(size) for size in sizes])
    return dealt(rng.normal(size=len(first)) + rng.normal(size=len(sizes))[group] + 0.7 * first, first, group)


def test_darwins_maize_as_fisher_counted() -> None:
    """Fisher (1935), The Design of Experiments, section 21: 863 of 32,768 (from memory)."""
    gaps = [49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48]
    pair = np.repeat(np.arange(15), 2)
    values = np.ravel([(gap, 0) for gap in gaps])
    found = rerandomise(dealt(values, np.tile([True, False], 15), pair), 1, never)
    assert (found.arrangements, found.draws) == (32_768, 0)
    assert found.p_above(0.0) == 863 / 32_768
    assert found.difference == pytest.approx(314 / 15)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("null", [-0.3, 0.0, 0.4])
def test_two_groups_as_scipy(seed: int, null: float) -> None:
    rng = np.random.default_rng(seed)
    one, other = rng.normal(0.2, 1, 7), rng.normal(0, 1, 5)
    found = rerandomise(dealt([*one, *other], [True] * 7 + [False] * 5), 1, never)
    for alternative, p in (("greater", found.p_above(null)), ("less", found.p_below(null))):
        peer = stats.permutation_test(
            (one - null, other), lambda a, b: a.mean() - b.mean(), n_resamples=np.inf, alternative=alternative
        )
        assert p == pytest.approx(peer.pvalue, rel=1e-12)


@pytest.mark.parametrize("null", [-0.3, 0.0, 0.4])
def test_pairs_as_scipy(null: float) -> None:
    gaps = np.random.default_rng(5).normal(0.3, 1, 9)
    values = np.ravel(np.column_stack([gaps, np.zeros(9)])) + np.repeat(np.arange(9.0), 2)
    found = rerandomise(dealt(values, np.tile([True, False], 9), np.repeat(np.arange(9), 2)), 1, never)
    for alternative, p in (("greater", found.p_above(null)), ("less", found.p_below(null))):
        peer = stats.permutation_test(
            (gaps - null,), np.mean, permutation_type="samples", n_resamples=np.inf, alternative=alternative
        )
        assert p == pytest.approx(peer.pvalue, rel=1e-12)


def test_difference_is_that_of_least_squares() -> None:
    d = blocked(3)
    x = np.column_stack([d.first, np.eye(3)[d.group]])
    assert rerandomise(d, 1, never).difference == pytest.approx(np.linalg.lstsq(x, d.values)[0][0], rel=1e-12)


def test_dividing_by_the_standard_error_changes_no_order() -> None:
    """Least squares' t of every arrangement: as many are as large as the one observed."""
    d = blocked(4)
    blocks = np.eye(3)[d.group]

    def t(first: np.ndarray) -> float:
        x = np.column_stack([first, blocks])
        beta, left = np.linalg.lstsq(x, d.values)[:2]
        return float(beta[0] / math.sqrt(left[0] * np.linalg.inv(x.T @ x)[0, 0]))

    all_t = [t(first) for first in arrangements(d)]
    share = np.mean(np.array(all_t) >= t(d.first) - 1e-9)
    assert rerandomise(d, 1, never).p_above(0.0) == pytest.approx(share, rel=1e-12)


def arrangements(d: Dealt) -> list[np.ndarray]:
    """Every way to deal the labels out, by plain enumeration."""
    found = [np.zeros(len(d.first), dtype=bool)]
    for g in range(d.group.max() + 1):
        members, k = np.flatnonzero(d.group == g), int(d.first[d.group == g].sum())
        found = [_with(flags, chosen) for flags in found for chosen in combinations(members, k)]
    return found


def _with(flags: np.ndarray, chosen: tuple[int, ...]) -> np.ndarray:
    new = flags.copy()
    new[list(chosen)] = True
    return new


@pytest.mark.parametrize("null", [0.0, 0.5])
def test_errs_no_more_often_than_any_rate(null: float) -> None:
    """Where the difference is just `null` for every unit, each arrangement's p value is a rank: uniform, exactly."""
    rng = np.random.default_rng(11)
    base = blocked(0)
    free = rng.normal(size=len(base.values))  # what each unit would read with the other label
    all_ways = arrangements(base)
    p = [
        rerandomise(dealt(free + null * first, first, base.group), 1, never).p_above(null) for first in all_ways
    ]
    assert len(all_ways) == base.arrangements == 6 * 3 * 4
    assert np.sort(p) == pytest.approx(np.arange(1, len(p) + 1) / len(p), abs=1e-12)


seeds = st.integers(0, 10_000)
quick = settings(max_examples=20, derandomize=True, deadline=None)


@quick
@given(seed=seeds, null=st.floats(-1, 1), drawn=st.booleans())
def test_what_must_not_matter(seed: int, null: float, drawn: bool) -> None:
    """Order of units, names of groups, which label is first, level of a block, unit: all listed or drawn."""
    half = randomise.HALF
    randomise.HALF = 1 if drawn else half
    try:
        d = blocked(seed)
        p = rerandomise(d, 7, never).p_above(null)
        order = np.random.default_rng(seed).permutation(len(d.values))
        mixed = Dealt(d.values[order], d.first[order], np.array([2, 0, 1])[d.group][order], d.stratum, d.weights)
        swapped = Dealt(d.values, ~d.first, d.group, d.stratum, d.weights)
        moved = Dealt(d.values + np.array([5.0, -3.0, 0.0])[d.group], *_rest(d))
        scaled = Dealt(9.80665 * d.values, *_rest(d))
        shifted = Dealt(d.values + 0.25 * d.first, *_rest(d))
        assert rerandomise(mixed, 7, never).p_above(null) == p
        assert rerandomise(swapped, 7, never).p_below(-null) == p
        assert rerandomise(moved, 7, never).p_above(null) == p
        assert rerandomise(scaled, 7, never).p_above(9.80665 * null) == p
        if not drawn:  # another difference may be drawn with the labels turned
            assert rerandomise(shifted, 7, never).p_above(null + 0.25) == p
    finally:
        randomise.HALF = half


def _rest(d: Dealt) -> tuple[np.ndarray, ...]:
    return d.first, d.group, d.stratum, d.weights


@quick
@given(seed=seeds)
def test_p_values_only_grow_with_the_null_difference(seed: int) -> None:
    found = rerandomise(blocked(seed), 1, never)
    p = [found.p_above(null) for null in np.linspace(-3, 3, 25)]
    assert np.all(np.diff(p) >= 0)
    assert (found.p_above(-math.inf), found.p_above(math.inf)) == (0.0, 1.0)
    assert (found.p_below(-math.inf), found.p_below(math.inf)) == (1.0, 0.0)


def test_draws_come_near_the_count(monkeypatch: pytest.MonkeyPatch) -> None:
    d = blocked(8, sizes=((4, 4), (3, 3), (6, 5)))
    exact = rerandomise(d, 1, never)
    monkeypatch.setattr(randomise, "HALF", 1)
    monkeypatch.setattr(randomise, "LISTED", 100)  # so that one group is drawn unit by unit
    drawn = rerandomise(d, 1, lambda found: True)
    assert (exact.draws, drawn.draws) == (0, randomise.MOST)
    for null in (0.0, 0.5, 1.0):
        p = exact.p_above(null)
        assert drawn.p_above(null) == pytest.approx(p, abs=4.5 * drawn.error(p))
    assert drawn.p_above(-9.0) == 1 / (1 + drawn.draws)


def test_draws_stop_when_decided(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(randomise, "HALF", 1)
    assert rerandomise(blocked(1), 1, never).draws == randomise.BATCH
    assert rerandomise(blocked(1), 1, lambda found: found.draws < 5000).draws == 3 * randomise.BATCH


def test_strata_weigh_as_asked() -> None:
    d = blocked(2, sizes=((2, 2), (3, 3)))
    weighed = Dealt(d.values, d.first, d.group, d.group, np.array([0.25, 0.75]))
    gaps = [d.values[(d.group == g) & d.first].mean() - d.values[(d.group == g) & ~d.first].mean() for g in (0, 1)]
    assert rerandomise(weighed, 1, never).difference == pytest.approx(0.25 * gaps[0] + 0.75 * gaps[1], rel=1e-12)


@pytest.mark.parametrize("sizes", [((1, 1),) * 10_000, ((600, 400),), ((1, 3000),), ((3000, 1),)])
def test_large_layouts_do_not_hang(sizes) -> None:
    found = rerandomise(blocked(1, sizes=sizes), 1, never)
    assert 0 < found.p_below(0.0) <= 1
    assert found.arrangements == math.prod(math.comb(a + b, a) for a, b in sizes)


def test_as_the_mixed_models_t_refitted_for_every_arrangement() -> None:
    """REML and Kenward-Roger for all 1,296 arrangements at once: nearly the same p value, by other arithmetic."""
    d = blocked(6, sizes=((2, 2),) * 4)
    table = pd.DataFrame({"y": d.values, "blade": d.group, "medium": np.where(d.first, "film", "stone"),
                          "edge": np.arange(len(d.values))})  # fmt: skip
    fit = fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"])
    sign = -1.0 if fit.frame.factors["medium"].levels[0] == "film" else 1.0
    ways = arrangements(d)
    responses = np.array([d.values[_order(d, way)] for way in ways])
    t = sign * SharedLayout(fit, np.array([0.0, 1.0])).fit(responses).statistic[:, 0]
    at = next(i for i, way in enumerate(ways) if np.array_equal(way, d.first))
    assert np.mean(t >= t[at] - 1e-9) == pytest.approx(rerandomise(d, 1, never).p_above(0.0), abs=0.01)
    assert len(ways) == d.arrangements == 1296


def _order(d: Dealt, way: np.ndarray) -> np.ndarray:
    """Units put so that those with the first label in `way` stand where those of the layout stand."""
    order = np.empty(len(way), dtype=int)
    for g in range(d.group.max() + 1):
        here = d.group == g
        for label in (True, False):
            order[here & (d.first == label)] = np.flatnonzero(here & (way == label))
    return order
