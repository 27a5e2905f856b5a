"""The runs rules together: limits for this very series."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from sharpstats.tester.alarms import RULES, Alarms, find_alarms, known_rate, simulated
from sharpstats.tester.limits import individual_limits
from sharpstats.tester.series import Series, cut_series


def plain(values: np.ndarray) -> Series:
    return cut_series(pd.DataFrame({"reading": values, "turn": np.arange(len(values))}), "as read")


def alarms(series: Series, **options) -> Alarms:
    return find_alarms(series, individual_limits(series.deviations, series.df, series.neighbours), **options)


NOISE = np.random.default_rng(21).standard_normal(60)
STEP = NOISE + np.where(np.arange(60) >= 30, 2.0, 0.0)


class TestLimits:
    def test_the_joint_rate_is_what_was_asked(self) -> None:
        found = alarms(plain(NOISE))
        assert found.joint <= 0.05
        assert found.joint > 0.045
        assert np.all(found.rates <= found.joint)

    def test_fresh_steady_series(self) -> None:
        """60 of one layout: p values uniform, and 5 % of them below 5 %, within four Monte-Carlo errors."""
        table = pd.DataFrame({"edge": list("aabbcc") * 5, "operator": list("pppqqq") * 5, "turn": range(30)})
        series = cut_series(table.assign(reading=NOISE[:30]), "as read")
        chance, fresh = (simulated(series, np.random.default_rng(seed)) for seed in (1, 2))
        p = np.array([chance.joint(worst) for worst in fresh.most[:60]])
        assert abs(p.mean() - 0.5) < 4 * math.sqrt(1 / 12 / 60)
        assert abs((p <= 0.05).mean() - 0.05) < 4 * math.sqrt(0.05 * 0.95 / 60)

    def test_rates_of_usual_limits_agree_with_the_exact_ones(self) -> None:
        """Spread and centre estimated from 250 cuts: nearly known."""
        series = plain(np.random.default_rng(24).standard_normal(250))
        found = alarms(series)
        np.testing.assert_allclose(found.usual_rates, found.usual_known, atol=0.06)
        np.testing.assert_allclose(found.usual_known, [known_rate(rule, 250) for rule in RULES])
        assert found.usual_joint > 0.9

    def test_the_usual_list_cries_wolf(self) -> None:
        found = alarms(plain(NOISE))
        assert 0.4 < found.usual_joint < found.usual_joint_known < 0.7

    def test_more_cuts_need_wider_limits(self) -> None:
        short, long = alarms(plain(NOISE[:20])), alarms(plain(np.tile(NOISE, 2)))
        assert np.all(long.limits > short.limits)

    def test_the_seed_is_kept_and_repeats(self) -> None:
        one, two = alarms(plain(NOISE), seed=9), alarms(plain(NOISE), seed=9)
        assert one.seed == 9
        np.testing.assert_array_equal(one.limits, two.limits)


class TestSignals:
    def test_a_spike(self) -> None:
        values = NOISE.copy()
        values[30] = 9.0
        found = alarms(plain(values))
        assert ("far", 30, 30) in [(s.rule, s.first, s.last) for s in found.signals]
        assert found.p_joint == pytest.approx(1 / found.draws)

    def test_a_step(self) -> None:
        found = alarms(plain(STEP))
        spoken = {s.rule for s in found.signals}
        assert "average" in spoken
        assert not found.steady
        assert all(0 <= s.first <= s.last < 60 for s in found.signals)

    def test_a_rise(self) -> None:
        values = NOISE.copy()
        values[20:32] = np.linspace(-2.2, 2.2, 12)
        found = [s for s in alarms(plain(values)).signals if s.rule == "one-way"]
        assert max((s.last - s.first, s.first, s.last) for s in found)[1:] == (20, 31)

    def test_steady_noise(self) -> None:
        found = alarms(plain(NOISE))
        assert found.steady
        assert found.p_joint > 0.05

    def test_signals_and_p_agree(self) -> None:
        rng = np.random.default_rng(25)
        for k in range(5):
            values = rng.standard_normal(25) + np.linspace(0, 0.7 * k, 25)
            found = alarms(plain(values), seed=k)
            assert found.steady == (found.p_joint > 0.05)


@pytest.mark.parametrize("change", [lambda v: -v, lambda v: 50 - 3 * v, lambda v: 0.00980665 * v])
def test_mirrored_and_other_units(change) -> None:
    one, other = alarms(plain(STEP[20:45])), alarms(plain(change(STEP[20:45])))
    np.testing.assert_allclose(other.worst, one.worst, rtol=1e-9)
    assert other.signals == one.signals


def test_table() -> None:
    found = alarms(plain(NOISE))
    assert list(found.table["term"]) == [rule.code for rule in RULES]
    np.testing.assert_allclose(found.table["limit"], found.limits)


@pytest.mark.slow
def test_steady_series_long_run() -> None:
    """500 steady series: the share with any signal within three Monte-Carlo errors of 5 %."""
    rng = np.random.default_rng(26)
    table = pd.DataFrame({"edge": list("aabbcc") * 4, "operator": list("pppqqq") * 4, "turn": range(24)})
    made = [table.assign(reading=rng.standard_normal(24)) for _ in range(500)]
    hits = sum(not alarms(cut_series(one, "as read"), seed=k % 7).steady for k, one in enumerate(made))
    assert abs(hits / 500 - 0.05) < 3 * math.sqrt(0.05 * 0.95 / 500)
