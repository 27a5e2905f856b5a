"""Rounding of a study: step against spread, habits by operator, what it declines, what it refuses."""

from __future__ import annotations

import math
from typing import get_args

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.stored import stored_table
from scipy import stats

from sharpstats.errors import FitError
from sharpstats.tester.rounding import COARSE, TOO_COARSE, Rounding, find_rounding
from sharpstats.trial.plan import Scale
from sharpstats.units import NEWTONS_PER_GF


def study(step: float = 1.0, sd: float = 9.0, *, edges: int = 10, cuts: int = 6, seed: int = 1,
          lazy: float = 0.0) -> pd.DataFrame:  # fmt: skip
    """Two operators on the same edges; `ann` rounds a share of her readings to fives."""
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame({"edge": np.repeat([f"e{i}" for i in range(edges)], 2 * cuts)})
    frame["operator"] = np.tile(np.repeat(["ann", "bo"], cuts), edges)
    true = np.repeat(rng.normal(150, 20, edges), 2 * cuts) + rng.normal(0, sd, len(frame))
    frame["reading"] = step * np.rint(true / step)
    fives = (frame["operator"] == "ann") & (rng.random(len(frame)) < lazy)
    frame.loc[fives, "reading"] = 5 * np.rint(true[fives] / 5)
    return frame


def sd_read(ratio: float) -> np.ndarray:
    """SDs that rounding makes of an SD of 1 with a step of `ratio`, for every place of the mean, exactly."""
    steps = np.arange(-20, 22)
    edges = np.concatenate(([-np.inf], (steps + 0.5) * ratio))
    found = []
    for place in np.linspace(0, 1, 41):
        mass = np.diff(stats.norm.cdf(edges - place * ratio))
        mean = mass @ steps * ratio
        found.append(math.sqrt(mass @ (steps * ratio - mean) ** 2))
    return np.array(found)


class TestCriterion:
    """The figures that stand beside COARSE and TOO_COARSE."""

    @staticmethod
    def at(limit: float) -> np.ndarray:
        """SDs where step / SD as read (root mean square over places) is the limit."""
        ratios = np.linspace(0.5, 4, 141)
        read = [ratio / math.sqrt(np.mean(sd_read(ratio) ** 2)) for ratio in ratios]
        return sd_read(float(np.interp(limit, read, ratios)))

    def test_up_to_coarse_the_place_does_not_matter(self) -> None:
        found = self.at(COARSE)
        assert found.min() > 1.04 and found.max() < 1.05
        assert np.ptp(found) < 0.001

    def test_at_too_coarse(self) -> None:
        found, ratios = self.at(TOO_COARSE), np.linspace(2, 3, 41)
        assert found.min() == pytest.approx(1.15, abs=0.01)
        assert found.max() == pytest.approx(1.30, abs=0.01)
        ratio = ratios[np.argmin([abs(np.ptp(sd_read(r)) - np.ptp(found)) for r in ratios])]
        left = np.sqrt(found**2 - ratio**2 / 12)
        assert left.min() > 0.89 and left.max() < 1.10

    def test_beyond_it_the_place_decides(self) -> None:
        found = self.at(2.7)
        assert found.min() < 0.86 and found.max() > 1.9

    @pytest.mark.parametrize(("step", "sd", "verdict"), [(1, 9, "fine enough"), (5, 9, "fine enough"),
                                                         (10, 7, "coarse"), (10, 2, "too coarse")])  # fmt: skip
    def test_simulated_studies(self, step: float, sd: float, verdict: str) -> None:
        found = find_rounding(study(step, sd), unit="gf")
        assert (found.step, found.verdict) == (step, verdict)

    @pytest.mark.parametrize("ratio", [0.5, 1.0, 1.5])
    def test_the_correction_gives_back_the_spread(self, ratio: float) -> None:
        sd = 10.0
        found = find_rounding(study(ratio * sd, sd, edges=60, cuts=10, seed=3), unit="gf")
        assert found.sd_without == pytest.approx(sd, rel=4 / math.sqrt(2 * 1080))
        assert found.share == pytest.approx(ratio**2 / (12 + ratio**2), rel=0.2)


def test_share_and_sd_by_hand() -> None:
    """Two edges, three cuts each: squares 50 + 50 on 4 df; JCGM 100 F.2.2.1: 0.29 of the step."""
    frame = pd.DataFrame({"edge": list("aaabbb"), "reading": [145.0, 150, 150, 165, 170, 170]})
    found = find_rounding(frame, unit="gf", repeatability_sd=None)
    assert found.repeatability_sd == pytest.approx(math.sqrt(100 / 3 / 4))
    known = find_rounding(study(5.0), unit="gf", repeatability_sd=5.0)
    assert (known.sd_from, known.ratio, known.verdict) == ("given", 1.0, "fine enough")
    assert known.share == pytest.approx(1 / 12)
    assert known.rounding_sd == pytest.approx(0.29 * 5, abs=0.01)


def test_on_the_log_scale_the_spread_stands_at_the_typical_reading() -> None:
    frame = study(5.0)
    found = find_rounding(frame, unit="gf", scale="log", repeatability_sd=0.06)
    assert found.typical == pytest.approx(stats.gmean(frame["reading"]))
    assert found.repeatability_sd == pytest.approx(0.06 * found.typical)


class TestHabits:
    def test_one_operator_rounds_to_fives(self) -> None:
        found = find_rounding(study(lazy=1.0), unit="gf")
        assert found.step == 1.0
        ann, bo = found.operators
        assert ann.grid and ann.grid.step == 5.0
        assert bo.grid and bo.grid.step == 1.0
        assert ann.digits and ann.digits.favoured == 5 and ann.digits.leaning == pytest.approx(1.0)
        assert ann.p < 1e-6 < 0.05 < bo.p
        assert found.digits and found.digits.favoured == 5

    def test_most_but_not_all_is_a_habit_not_a_step(self) -> None:
        found = find_rounding(study(lazy=0.8), unit="gf")
        ann = found.operators[0]
        assert ann.grid and ann.grid.step == 1.0
        assert ann.digits and ann.digits.leaning == pytest.approx(0.8, abs=0.15)

    def test_p_values_of_operators_are_adjusted_by_holm(self) -> None:
        found = find_rounding(study(lazy=0.4), unit="gf")
        raw = sorted(one.digits.p for one in found.operators if one.digits)
        adjusted = sorted(one.p for one in found.operators)
        assert adjusted == pytest.approx([min(1, 2 * raw[0]), max(2 * raw[0], raw[1])])

    def test_tables_only_rearrange(self) -> None:
        found = find_rounding(study(lazy=0.8), unit="gf")
        assert found.digits
        assert list(found.table["at"].unique()) == ["", "ann", "bo"]
        assert found.table.loc[found.table["at"] == "", "cuts"].tolist() == found.digits.counts.tolist()
        assert found.by_operator["cuts"].sum() == found.readings


class TestDeclines:
    def test_narrow_edges(self) -> None:
        found = find_rounding(study(5.0, sd=2.0), unit="gf")
        assert found.verdict == "too coarse" and found.digits is None
        assert "narrow-for-digits" in [note.code for note in found.notes]

    def test_few_cuts(self) -> None:
        found = find_rounding([152.0, 148, 171, 139, 166, 157], unit="gf")
        assert found.digits is None and found.verdict == "unknown"
        assert {"few-for-digits", "no-repeatability"} <= {note.code for note in found.notes}

    def test_over_range_stays_out_and_is_counted(self) -> None:
        frame = study()
        frame["over_range"] = np.arange(len(frame)) < 3
        found = find_rounding(frame, unit="gf")
        assert found.readings == len(frame) - 3
        assert "3 readings over" in next(note.text for note in found.notes if note.code == "over-range")

    def test_a_converted_reading_does_not_hide_the_step(self) -> None:
        frame = study()
        frame.loc[3, "reading"] = 1.961 / 0.00980665
        found = find_rounding(frame, unit="gf")
        assert (found.step, found.readings) == (find_rounding(study(), unit="gf").step, len(frame) - 1)
        assert "1 reading was converted" in next(note.text for note in found.notes if note.code == "converted")

    def test_computed_readings(self) -> None:
        found = find_rounding(np.random.default_rng(1).normal(150, 9, 40), unit="gf", repeatability_sd=9.0)
        assert (found.step, found.share, found.verdict) == (None, 0.0, "fine enough")


@pytest.mark.parametrize("readings", [[], [150.0], [150.0] * 9])
def test_refuses_what_shows_no_step(readings: list[float]) -> None:
    with pytest.raises(FitError, match="show no step"):
        find_rounding(readings, unit="gf")


def test_refuses_wrong_arguments() -> None:
    with pytest.raises(ValueError, match="finite number"):
        find_rounding([150.0, math.nan], unit="gf")
    with pytest.raises(ValueError, match="above zero, got -1"):
        find_rounding([150.0, 151.0], unit="gf", repeatability_sd=-1)
    with pytest.raises(ValueError, match="between 0 and 1, got 95"):
        find_rounding([150.0, 151.0], unit="gf", level=95)
    with pytest.raises(FitError, match="no logarithm"):
        find_rounding([0.0, 151.0], unit="gf", scale="log")


def test_the_handbook_study_is_fine_enough() -> None:
    """NIST e-Handbook 2.6.1: day means with four decimals and an SD of about 0.03 between days."""
    text = stored_table("gauge/nist_mpc61_resistivity")
    frame = pd.DataFrame({"edge": text["wafer"].astype(str) + "/" + text["probe"].astype(str),
                          "reading": text["average"]})  # fmt: skip
    found = find_rounding(frame, unit="N")
    assert (found.step, found.verdict) == (0.0001, "fine enough")
    assert found.digits and found.digits.p > 0.001


def told(found: Rounding) -> list[object]:
    digits = found.digits
    assert digits and found.share is not None
    return [found.grid and (found.grid.count, found.grid.place, found.grid.unit), found.verdict, digits.counts.tolist(),
            digits.p, digits.overused, round(found.share, 9)]  # fmt: skip


@settings(max_examples=10)
@given(st.integers(0, 10**6))
def test_order_labels_and_unit_do_not_matter(seed: int) -> None:
    frame = study(sd=4.0, lazy=0.5, edges=4)
    wanted = told(find_rounding(frame, unit="gf", draws=200))
    shuffled = frame.sample(frac=1, random_state=seed)
    assert told(find_rounding(shuffled, unit="gf", draws=200)) == wanted
    renamed = frame.assign(edge="x" + frame["edge"])
    assert told(find_rounding(renamed, unit="gf", draws=200)) == wanted
    newtons = frame.assign(reading=frame["reading"] * NEWTONS_PER_GF)
    assert told(find_rounding(newtons, unit="N", draws=200)) == wanted


@pytest.mark.parametrize(("step", "sd", "edges", "cuts"), [(1, 2, 8, 4), (5, 12, 8, 4)])
def test_a_habit_is_seen_in_one_study_of_twenty_without_one(step: float, sd: float, edges: int, cuts: int) -> None:
    """Normal cuts: at most 0.05 and four Monte-Carlo standard errors of 120 studies."""
    p = [find_rounding(study(step, sd, edges=edges, cuts=cuts, seed=s).drop(columns="operator"), unit="gf",
                       draws=199).digits.p for s in range(120)]  # type: ignore[union-attr]  # fmt: skip
    assert np.mean(np.array(p) < 0.05) <= 0.05 + 4 * math.sqrt(0.05 * 0.95 / 120)


@pytest.mark.slow
@pytest.mark.parametrize("shape", ["normal", "t5", "gamma"])
@pytest.mark.parametrize(("step", "sd"), [(1, 2), (1, 3), (1, 5), (1, 12), (2, 4), (2, 12), (5, 12), (10, 30)])
def test_errors_of_the_digit_test(step: float, sd: float, shape: str) -> None:
    """Eight edges of four cuts and thirty of three, heavy tails and skewed cuts among them."""
    for edges, cuts in ((8, 4), (30, 3)):
        wrong, studies = 0, 300
        for seed in range(studies):
            rng = np.random.default_rng([seed, edges, int(step), int(sd)])
            drawn = {"normal": rng.standard_normal, "t5": lambda n, r=rng: r.standard_t(5, n) * math.sqrt(0.6),
                     "gamma": lambda n, r=rng: (r.gamma(4, 1, n) - 4) / 2}[shape](edges * cuts)  # fmt: skip
            true = np.repeat(rng.normal(150, 20, edges), cuts) + sd * drawn
            frame = pd.DataFrame({"edge": np.repeat(np.arange(edges), cuts), "reading": step * np.rint(true / step)})
            digits = find_rounding(frame, unit="gf", draws=399).digits
            wrong += digits is not None and digits.p < 0.05
        assert wrong / studies <= 0.06 + 4 * math.sqrt(0.06 * 0.94 / studies)


@pytest.mark.parametrize("scale", get_args(Scale))
def test_cuts_that_are_equal_to_the_last_digit_have_no_spread_left_by_arithmetic(scale: Scale) -> None:
    cells = [(f"e{edge}", 110.0 + 30 * edge) for edge in range(7)]
    table = pd.DataFrame([cell for cell in cells for _ in range(3)], columns=["edge", "reading"])
    found = find_rounding(table, scale=scale, unit="gf")
    assert found.repeatability_sd == 0
    assert found.ratio == math.inf
