"""The slope between two that both err: against direct optimisation, scipy.odr, and how often its interval holds."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize

from sharpstats.tester.deming import DemingSlope, deming_slope


def values(seed: int, n: int = 12, slope: float = 1.1, sds: tuple[float, float] = (20.0, 10.0),
           lowest: float = 80.0) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    rng = np.random.default_rng(seed)
    true = rng.uniform(lowest, 300, n)
    return slope * true + rng.normal(0, sds[0], n), true + rng.normal(0, sds[1], n)


def found(one: np.ndarray, other: np.ndarray, ratio: float = 1.0) -> DemingSlope:
    slope = deming_slope(one, other, ratio, 0.95)
    assert slope is not None
    return slope


@pytest.mark.parametrize("ratio", [0.25, 1.0, 4.0])
@pytest.mark.parametrize("seed", range(4))
def test_against_direct_optimisation(seed: int, ratio: float) -> None:
    """Weighted squares of both errors, over the line and over where each edge truly lies."""
    one, other = values(seed)

    def squares(beta: float) -> float:
        off = one - one.mean() - beta * (other - other.mean())
        return float(off @ off / (ratio + beta**2))

    best = optimize.minimize_scalar(squares, bounds=(0.2, 5), method="bounded", options={"xatol": 1e-10})
    assert found(one, other, ratio).estimate == pytest.approx(best.x, rel=1e-6)


@pytest.mark.parametrize("ratio", [0.25, 1.0, 4.0])
def test_against_orthogonal_distance_regression(ratio: float) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        odr = pytest.importorskip("scipy.odr")
    one, other = values(9)
    line = odr.Model(lambda beta, x: beta[0] + beta[1] * x)
    data = odr.RealData(other, one, sx=1.0, sy=math.sqrt(ratio))
    fit = odr.ODR(data, line, beta0=[0.0, 1.0], sstol=1e-15, partol=1e-12, maxit=500).run()
    assert found(one, other, ratio).estimate == pytest.approx(fit.beta[1], rel=1e-6)


@given(st.integers(0, 10**6), st.floats(0.1, 10))
def test_swapping_gives_one_over_the_slope(seed: int, ratio: float) -> None:
    one, other = values(seed)
    there, back = deming_slope(one, other, ratio, 0.95), deming_slope(other, one, 1 / ratio, 0.95)
    assert (there is None) == (back is None)
    if there and back:
        assert back.estimate == pytest.approx(1 / there.estimate, rel=1e-9)
        assert back.low == pytest.approx(1 / there.high if math.isfinite(there.high) else 0.0, rel=1e-6)
        assert back.high == pytest.approx(1 / there.low if there.low > 0 else math.inf, rel=1e-6)


@given(st.integers(0, 10**6), st.floats(0.01, 100))
def test_the_unit_does_not_matter(seed: int, factor: float) -> None:
    one, other = values(seed)
    first, second = found(one, other), found(factor * one, factor * other)
    assert second.estimate == pytest.approx(first.estimate, rel=1e-9)
    assert second.low == pytest.approx(first.low, rel=1e-6)


def test_values_on_a_line_have_no_width() -> None:
    other = np.array([100.0, 150, 200, 250])
    slope = found(1.2 * other - 5, other)
    assert slope.estimate == pytest.approx(1.2) == slope.low == slope.high


def test_values_without_order_have_no_slope() -> None:
    assert deming_slope(np.array([3.0, 2, 1]), np.array([1.0, 2, 3]), 1.0, 0.95) is None


def test_a_cloud_excludes_no_slope() -> None:
    one, other = values(3, n=4, sds=(150.0, 150.0), lowest=250)
    slope = deming_slope(one, other, 1.0, 0.95) or deming_slope(one, -other, 1.0, 0.95)
    assert slope and (slope.low, slope.high) == (0.0, math.inf)


@pytest.mark.parametrize(("n", "sds"), [(5, (20.0, 10.0)), (12, (20.0, 20.0)), (12, (5.0, 25.0))])
def test_interval_holds_the_slope(n: int, sds: tuple[float, float]) -> None:
    """Edges spread evenly, not normally: the interval is exact all the same."""
    inside, studies = 0, 2000
    for seed in range(studies):
        one, other = values(seed, n=n, sds=sds)
        slope = deming_slope(one, other, (sds[0] / sds[1]) ** 2, 0.95)
        inside += slope is not None and slope.low <= 1.1 <= slope.high
    assert abs(inside / studies - 0.95) <= 4 * math.sqrt(0.95 * 0.05 / studies)


def test_least_squares_is_flat_where_this_is_not() -> None:
    """The other errs much: plain regression finds two thirds of the slope, this the slope."""
    plain, deming = [], []
    for seed in range(200):
        one, other = values(seed, n=40, slope=1.0, sds=(20.0, 45.0))
        plain.append(np.polyfit(other, one, 1)[0])
        deming.append(found(one, other, (20 / 45) ** 2).estimate)
    assert np.mean(plain) < 0.75
    assert np.median(deming) == pytest.approx(1.0, abs=0.03)
