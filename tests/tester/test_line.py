"""A calibration line: the prediction band and the force behind a reading."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from sharpstats.tester.line import Line


def made(slope: float = 1.02, slope_se: float = 0.004, *, relative: float = 0.0, constant: float = 4.0) -> Line:
    covariance = np.array([[0.8, -0.003], [-0.003, slope_se**2]])
    return Line(intercept=2.0, slope=slope, covariance=covariance, df=18, constant=constant, relative=relative,
                level=0.95)  # fmt: skip


def excess(line: Line, x: float, reading: float, readings: int) -> float:
    """(t statistic)^2 of the reading against the line at a force, minus the squared quantile."""
    variance = line.variance_at(x) + (line.constant + line.relative * x**2) / readings
    return float((reading - line.at(x)) ** 2 / variance - line.t**2)


@pytest.mark.parametrize("readings", [1, 3, 10])
@pytest.mark.parametrize("reading", [-1.0, 60.0, 204.0, 900.0])
@pytest.mark.parametrize("relative", [0.0, 4e-4])
def test_fiellers_limits_are_where_the_t_statistic_meets_its_quantile(
    reading: float, readings: int, relative: float
) -> None:
    """Against direct root finding, 9 digits."""
    line = made(relative=relative, constant=1.0)
    found = line.force_behind(reading, readings)
    assert found.shape == "bounded"
    assert found.estimate == pytest.approx((reading - 2.0) / 1.02, rel=1e-14)
    for end, away in ((found.low, -400.0), (found.high, 400.0)):
        root = optimize.brentq(lambda x: excess(line, x, reading, readings), found.estimate, found.estimate + away,
                               xtol=1e-12, rtol=1e-14)  # fmt: skip
        assert end == pytest.approx(root, rel=1e-9, abs=1e-9)


def test_a_slope_that_cannot_be_told_from_zero_rules_out_nothing_or_a_middle_part() -> None:
    level_line = made(slope=0.005, slope_se=0.01)
    nothing = level_line.force_behind(2.2)
    assert (nothing.shape, nothing.low, nothing.high) == ("everything", -np.inf, np.inf)
    far = level_line.force_behind(30.0)
    assert far.shape == "outside"
    assert excess(level_line, (far.low + far.high) / 2, 30.0, 1) > 0
    assert excess(level_line, far.high + 1, 30.0, 1) < 0 < excess(level_line, far.high - 1e-6, 30.0, 1)


def test_the_band_holds_the_limits_of_the_inverse() -> None:
    """A force is inside exactly while the reading is inside the band there."""
    line = made()
    found = line.force_behind(204.0)
    low, high = line.band([found.low, found.high])
    assert high[0] == pytest.approx(204.0, rel=1e-12)
    assert low[1] == pytest.approx(204.0, rel=1e-12)


def test_more_readings_tell_more() -> None:
    line = made()
    widths = [np.diff(line.band(100.0, m))[0] for m in (1, 4, 10**9)]
    assert widths[0] > widths[1] > widths[2]
    assert widths[2] == pytest.approx(2 * line.t * np.sqrt(line.variance_at(100.0)), rel=1e-6)
