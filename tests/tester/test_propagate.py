"""Monte Carlo: the examples of JCGM 101:2008 (values from memory), exact distributions, repeatability by seed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from sharpstats.errors import FitError
from sharpstats.tester.budget import Budget, budget, budget_of
from sharpstats.tester.contribution import Contribution
from sharpstats.tester.distributions import BOUNDED, draw_one
from sharpstats.tester.propagate import Propagation, tolerance


def checked(found: Budget) -> Propagation:
    assert found.check is not None
    return found.check


def four(distribution: str, *, last: float = 1.0) -> Budget:
    parts = [Contribution(name=name, standard=last if name == "d" else 1.0,
                          distribution=distribution) for name in "abcd"]  # type: ignore[arg-type] # fmt: skip
    return budget(parts, unit="")


class TestAdditiveModel:
    """JCGM 101, 9.2: y = a + b + c + d."""

    def test_four_normals(self) -> None:
        """9.2.2: u = 2.0, limits -3.92 and 3.92 either way; validated."""
        found = four("normal")
        check = checked(found)
        assert (found.combined, round(found.expanded, 2), check.delta) == (2.0, 3.92, 0.05)
        assert check.sd == pytest.approx(2.0, abs=0.01)
        assert [check.low, check.high] == pytest.approx([-3.92, 3.92], abs=0.02)
        assert check.agrees and check.settled

    def test_four_rectangulars(self) -> None:
        """9.2.3: Monte Carlo and the exact distribution give 3.88: 4 - (24 * 0.025)^(1/4), scaled."""
        exact = (2 - (24 * 0.025) ** 0.25) * 2 * math.sqrt(3)
        check = checked(four("rectangular"))
        assert round(exact, 2) == 3.88
        assert [check.low, check.high] == pytest.approx([-exact, exact], abs=0.02)
        assert check.off_high == pytest.approx(0.04, abs=0.02)

    def test_one_ten_times_as_large(self) -> None:
        """9.2.4: the budget's interval is 19.9 either way, Monte Carlo's 17.0: not validated."""
        found = four("rectangular", last=10.0)
        check = checked(found)
        assert round(found.expanded, 1) == 19.9
        assert [check.low, check.high] == pytest.approx([-17.0, 17.0], abs=0.06)
        assert check.sd == pytest.approx(math.sqrt(103), rel=0.003)
        assert not check.agrees


def mass(second_order: bool) -> Budget:
    """JCGM 101, 9.3: calibration of a mass against a reference mass of the same nominal mass; milligrams."""
    inputs = [
        Contribution(name="m_Rc", value=100_000.0, standard=0.050),
        Contribution(name="delta", value=1.234, standard=0.020),
        Contribution(name="air", value=1.20, half_width=0.10),
        Contribution(name="rho_W", value=8000.0, half_width=1000.0),
        Contribution(name="rho_R", value=8000.0, half_width=50.0),
    ]
    return budget_of(lambda m, d, air, w, r: (m + d) * (1 + (air - 1.2) * (1 / w - 1 / r)) - 100_000.0, inputs,
                     unit="mg", second_order=second_order)  # fmt: skip


class TestMassCalibration:
    """Printed: first order u 0.0539, [1.1285, 1.3395]; second order 0.0750, [1.0870, 1.3810]; MC 0.0754."""

    def test_first_order(self) -> None:
        found = mass(second_order=False)
        assert found.value == pytest.approx(1.2340, abs=5e-5)
        assert found.combined == pytest.approx(0.0539, abs=5e-5)
        assert [found.low, found.high] == pytest.approx([1.1285, 1.3395], abs=2e-4)
        assert not checked(found).agrees
        assert "curved" in [note.code for note in found.notes]

    def test_second_order(self) -> None:
        found = mass(second_order=True)
        check = checked(found)
        assert found.combined == pytest.approx(0.0750, abs=5e-5)
        assert [found.low, found.high] == pytest.approx([1.0870, 1.3810], abs=2e-4)
        assert check.sd == pytest.approx(0.0754, abs=3e-4)
        assert [check.shortest_low, check.shortest_high] == pytest.approx([1.0834, 1.3825], abs=4e-3)


def test_gauge_block() -> None:
    """JCGM 101, 9.5: by the budget 838 nm, u = 32, [745, 931] at 99 %; by Monte Carlo u = 36, limits in doubt drawn.

    Variances by hand: t has df / (df - 2) times u^2, limits a in doubt by d have (a^2 + d^2 / 3) / 3.
    """
    inputs = [
        Contribution(name="L_S", value=50_000_623, standard=25, df=18),
        Contribution(name="D", value=215, standard=6, df=24),
        Contribution(name="d1", standard=4, df=5),
        Contribution(name="d2", standard=7, df=8),
        Contribution(name="alpha_S", value=11.5e-6, half_width=2e-6),
        Contribution(name="theta_0", value=-0.1, standard=0.2),
        Contribution(name="Delta", half_width=0.5, distribution="u-shaped"),
        Contribution(name="delta alpha", half_width=1e-6, df=50),
        Contribution(name="delta theta", half_width=0.05, df=2),
    ]
    found = budget_of(lambda s, d, d1, d2, a, t, swing, da, dt: s + d + d1 + d2 - s * (da * (t + swing) + a * dt)
                      - 50_000_000, inputs, unit="nm", level=0.99)  # fmt: skip
    check = checked(found)
    assert round(found.value) == 838
    assert found.combined == pytest.approx(32, abs=0.5)
    assert [found.low, found.high] == pytest.approx([745, 931], abs=1.5)
    exact = (625 * 18 / 16 + 36 * 24 / 22 + 16 * 5 / 3 + 49 * 8 / 6
             + 50.000623**2 * (1 + 0.01 / 3) / 3 * (0.01 + 0.04 + 0.125)
             + 50_000_623**2 * (0.05**2 + 0.025**2 / 3) / 3 * (11.5e-6**2 + (2e-6) ** 2 / 3))  # fmt: skip
    assert round(math.sqrt(exact)) == 36
    assert check.sd == pytest.approx(math.sqrt(exact), rel=0.01)


@pytest.mark.parametrize(("x1", "first", "second", "limits"), [
    (0.010, 100e-6, 112e-6, (0.0, 367e-6)), (0.050, 500e-6, 502e-6, (1590e-6, 3543e-6)),
])  # fmt: skip
def test_comparison_loss(x1: float, first: float, second: float, limits: tuple[float, float]) -> None:
    """JCGM 101, 9.4: x1^2 + x2^2, both with u = 0.005, not correlated; shortest intervals by Monte Carlo."""
    inputs = [Contribution(name="x1", value=x1, standard=0.005), Contribution(name="x2", standard=0.005)]
    linear = budget_of(lambda a, b: a**2 + b**2, inputs, seed=None)
    bent = budget_of(lambda a, b: a**2 + b**2, inputs, second_order=True)
    assert linear.combined == pytest.approx(first, abs=0.5e-6)
    assert bent.combined == pytest.approx(second, abs=0.5e-6)
    check = checked(bent)
    assert check.sd == pytest.approx(second, rel=0.01)
    assert check.mean == pytest.approx(x1**2 + 50e-6, rel=0.005)
    assert [check.shortest_low, check.shortest_high] == pytest.approx(limits, abs=10e-6)


def test_comparison_loss_at_zero() -> None:
    """There the first order sees nothing; exactly, the result is 0.005^2 chi-square with 2 df."""
    inputs = [Contribution(name="x1", standard=0.005), Contribution(name="x2", standard=0.005)]
    with pytest.raises(FitError, match="Ask for second_order=True"):
        budget_of(lambda a, b: a**2 + b**2, inputs)
    found = budget_of(lambda a, b: a**2 + b**2, inputs, second_order=True)
    assert found.combined == pytest.approx(50e-6, rel=1e-6)
    check = checked(found)
    exact = stats.chi2(2).ppf([0.025, 0.975, 0.95]) * 25e-6
    assert [check.low, check.high, check.shortest_high] == pytest.approx(exact, abs=1.5e-6)
    assert check.shortest_low == pytest.approx(0, abs=0.1e-6)
    assert not check.agrees


@pytest.mark.parametrize("name", BOUNDED)
def test_each_bounded_distribution(name: str) -> None:
    """Standard deviation as asked, limits at the half-width, and the exact distribution function."""
    a = 2.0
    part = Contribution(name="x", half_width=a, distribution=name)  # type: ignore[arg-type]
    drawn = draw_one(name, part.u, math.inf, 1, np.random.default_rng(1), 40_000)  # type: ignore[arg-type]
    exact = {
        "rectangular": stats.uniform(-a, 2 * a),
        "triangular": stats.triang(0.5, -a, 2 * a),
        "trapezoid": stats.trapezoid(0.25, 0.75, -a, 2 * a),
        "u-shaped": stats.arcsine(-a, 2 * a),
    }[name]
    assert part.u == pytest.approx(exact.std())
    assert np.abs(drawn).max() <= a
    assert stats.kstest(drawn, exact.cdf).pvalue > 0.001


def test_the_sum_of_two_rectangulars() -> None:
    """Of the same width it is triangular: the limits of 95 % lie at 2 a (1 - sqrt(0.05))."""
    part = Contribution(name="a", half_width=1.0)
    found = checked(budget([part, Contribution(name="b", half_width=1.0)], unit="", digits=1))
    exact = 2 * (1 - math.sqrt(0.05))
    assert [found.low, found.high] == pytest.approx([-exact, exact], abs=0.01)
    mean = budget([Contribution(name="a", half_width=1.0, averages=True)], unit="", cuts=2, digits=1)
    assert [checked(mean).low, checked(mean).high] == pytest.approx([-exact / 2, exact / 2], abs=0.005)


class TestFewDegreesOfFreedom:
    def test_a_single_t_contribution_is_the_budget(self) -> None:
        found = budget([Contribution(name="cuts", standard=10.0, df=6, kind="A", averages=True)], cuts=4,
                       difference=True)  # fmt: skip
        check = checked(found)
        assert found.expanded == pytest.approx(stats.t(6).ppf(0.975) * 10 / math.sqrt(2))
        assert [check.low, check.high] == pytest.approx([found.low, found.high], rel=0.01)
        assert check.sd == pytest.approx(10 / math.sqrt(2) * math.sqrt(6 / 4), rel=0.03)

    def test_two_degrees_of_freedom_have_no_standard_deviation(self) -> None:
        check = checked(budget([Contribution(name="operators", standard=10.0, df=2, kind="A")]))
        assert check.sd == math.inf and math.isfinite(check.mean)
        assert check.high == pytest.approx(stats.t(2).ppf(0.975) * 10, rel=0.02)

    def test_one_degree_of_freedom_has_no_mean(self) -> None:
        found = budget([Contribution(name="operators", standard=10.0, df=1, kind="A")])
        assert math.isnan(checked(found).mean)
        assert checked(found).high == pytest.approx(stats.t(1).ppf(0.975) * 10, rel=0.04)


def test_correlated_contributions_are_drawn_together() -> None:
    parts = [Contribution(name="a", standard=3.0), Contribution(name="b", standard=4.0)]
    check = checked(budget(parts, correlations={("a", "b"): 0.5}))
    assert check.sd == pytest.approx(math.sqrt(37), rel=0.01)
    assert check.agrees
    mixed = [parts[0], Contribution(name="b", half_width=4.0)]
    with pytest.raises(FitError, match="a, b are correlated, but not all normal"):
        budget(mixed, correlations={("a", "b"): 0.5})
    assert budget(mixed, correlations={("a", "b"): 0.5}, seed=None).check is None


def test_the_seed_decides() -> None:
    parts = [Contribution(name="a", standard=3.0), Contribution(name="b", half_width=4.0)]
    first, again, other = (checked(budget(parts, digits=1, seed=seed)) for seed in (1, 1, 2))
    assert (first.low, first.high, first.trials) == (again.low, again.high, again.trials)
    assert first.low != other.low
    assert first.low == pytest.approx(other.low, abs=2 * first.delta)


def test_a_very_high_level_takes_few_large_blocks() -> None:
    """At 99.99 % a block has a million draws (JCGM 101, 7.9.4): two of them, not ten."""
    check = checked(budget([Contribution(name="a", standard=1.0)], level=0.9999))
    assert check.trials == 2_000_000
    assert check.high == pytest.approx(3.8906, abs=0.05)


def test_both_intervals_are_in_the_table() -> None:
    table = checked(budget([Contribution(name="a", half_width=1.0)], digits=1)).table
    assert table["term"].tolist() == ["symmetric", "shortest"]
    assert table["high"].iloc[0] == pytest.approx(0.95, abs=0.01)


@pytest.mark.parametrize(("u", "digits", "delta"), [
    (0.035, 2, 0.0005), (2.0, 2, 0.05), (10.15, 2, 0.5), (9.96, 2, 0.5), (50e-6, 1, 5e-6), (24.0, 1, 5.0),
])  # fmt: skip
def test_numerical_tolerance(u: float, digits: int, delta: float) -> None:
    """JCGM 101, 7.9.2: half of the last significant digit; its own example: 0.035 with two digits gives 0.0005."""
    assert tolerance(u, digits) == pytest.approx(delta)


def test_the_limits_are_as_certain_as_they_say() -> None:
    """Over 40 seeds the high limit of a normal lies within twice its stated error as often as it should."""
    part = [Contribution(name="a", standard=2.0)]
    found = [checked(budget(part, digits=1, seed=seed)) for seed in range(40)]
    off = [abs(check.high - 1.959964 * 2) <= check.error for check in found]
    assert all(check.settled for check in found)
    assert sum(off) >= 33
