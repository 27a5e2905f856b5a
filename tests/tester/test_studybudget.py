"""The budget of a tester from the numbers of its study: by hand, rounding counted once, notes."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from reference.studies import cuts_on_edges

from sharpstats.errors import FitError
from sharpstats.tester.budget import Budget
from sharpstats.tester.contribution import Contribution
from sharpstats.tester.known import FromCurvature
from sharpstats.tester.spreads import find_spreads
from sharpstats.tester.studybudget import Estimated, estimated_parts, from_study


def made(**changes: Any) -> Budget:
    numbers: dict[str, Any] = {"reading": 150.0, "scale": "as read", "repeatability": Estimated(sd=12.0, df=60),
                               "seed": None}  # fmt: skip
    return from_study(**(numbers | changes))


def codes(found: Budget) -> list[str]:
    return [note.code for note in found.notes]


WHOLE = {
    "shared": {"operators": Estimated(sd=4.0, df=2), "filament lots": Estimated(sd=3.0, df=3)},
    "apart": {"operator by edge": Estimated(sd=2.0, df=12)},
    "drift": 6.0,
    "calibration": Estimated(sd=1.0, df=18),
    "masses": Estimated(sd=0.5, source="plan"),
    "others": (Contribution(name="filament", standard=2.0, unit="%", averages=True),),
}


def test_one_cut_by_hand() -> None:
    found = made(**WHOLE)
    parts = [144, 16, 9, 4, 1, 0.25, 3, 9]  # drift: 6 gf from end to end, rectangular: 36 / 12
    assert found.combined == pytest.approx(math.sqrt(sum(parts)))
    df = found.combined**4 / (144**2 / 60 + 16**2 / 2 + 9**2 / 3 + 16 / 12 + 1 / 18)
    assert found.effective_df == pytest.approx(df)
    assert found.df == math.floor(df)
    assert found.table["share"].sum() == pytest.approx(100)


def test_more_cuts_and_a_difference_by_hand() -> None:
    assert made(**WHOLE, cuts=4).combined == pytest.approx(math.sqrt(153 / 4 + 33.25))
    assert made(**WHOLE, cuts=4, difference=True).combined == pytest.approx(math.sqrt(2 * (153 / 4 + 4 + 3)))


def test_on_the_log_scale_spreads_are_percentages_of_the_reading() -> None:
    found = made(scale="log", repeatability=Estimated(sd=0.08, df=60), drift=0.04)
    assert found.combined == pytest.approx(150 * math.sqrt(0.08**2 + 0.04**2 / 12))
    assert list(found.table["unit"]) == ["%", "%"]


def test_newtons_and_gram_force_agree() -> None:
    g = 0.00980665
    newtons = made(reading=150 * g, unit="N", repeatability=Estimated(sd=12 * g, df=60), step=1 * g)
    assert newtons.expanded == pytest.approx(made(step=1.0).expanded * g)


class TestRounding:
    def test_a_fine_step_is_inside_the_spread(self) -> None:
        found = made(step=5.0)
        assert found.combined == made().combined
        assert codes(found) == ["rounding-inside"]

    def test_a_coarse_step_stands_by_itself_and_does_not_average(self) -> None:
        found = made(step=25.0, cuts=100)
        assert found.combined == pytest.approx(math.sqrt(1.44 + 25**2 / 12))
        assert codes(found) == ["rounding-apart"]

    def test_cuts_that_never_differ_leave_rounding(self) -> None:
        found = made(step=5.0, repeatability=Estimated(sd=0.0, df=60))
        assert found.combined == pytest.approx(5 / math.sqrt(12))
        assert codes(found) == ["zero-spread", "rounding-apart"]

    @pytest.mark.parametrize(("step", "cuts"), [(5.0, 1), (5.0, 9), (20.0, 4)])
    def test_the_budget_covers_rounded_readings(self, step: float, cuts: int) -> None:
        """Readings of edges anywhere between two steps, rounded: the stated interval holds what it says or more."""
        rng = np.random.default_rng(8)
        true = rng.uniform(140, 160, 20_000)
        read = step * np.rint((true[:, None] + rng.normal(0, 9, (20_000, cuts))) / step)
        sd = float(np.sqrt(81 + step**2 / 12))  # the spread as read
        found = made(repeatability=Estimated(sd=sd), step=step, cuts=cuts)
        covered = np.mean(np.abs(read.mean(axis=1) - true) <= found.expanded)
        assert 0.945 < covered < 0.97


def test_notes_that_people_must_read() -> None:
    found = made(scale="log", repeatability=Estimated(sd=0.2, df=50), bias=-3.0)
    assert codes(found) == ["uncorrected-bias", "lopsided"]
    assert "reads 3 gf too low" in found.notes[0].text
    low, high = 150 * math.exp(-found.expanded / 150), 150 * math.exp(found.expanded / 150)
    assert f"{low:.0f} to {high:.0f} gf" in found.notes[1].text


@pytest.mark.parametrize(("reading", "unit", "says"), [
    (148.3717, "gf", ("Near 148 gf", "3 gf too high")), (1523.4, "gf", ("Near 1523 gf", "3 gf too high")),
    (1.4715, "N", ("Near 1.47 N", "3.00 N too high")),
])  # fmt: skip
def test_numbers_in_notes_have_the_digits_of_the_uncertainty(reading: float, unit: str, says: tuple[str, str]) -> None:
    found = made(scale="log", reading=reading, unit=unit, repeatability=Estimated(sd=0.08, df=50), bias=3.0)
    assert all(text in found.notes[0].text for text in says)


def test_a_bias_that_rounds_to_nothing_is_not_told() -> None:
    assert codes(made(bias=0.2)) == []


def test_a_spread_that_is_hardly_known_has_one_degree_of_freedom() -> None:
    found = made(shared={"operators": Estimated(sd=40.0, df=0.3)})
    assert found.table["df"].tolist() == [60, 1]
    assert found.df == 1


class TestFromSpreads:
    def test_degrees_of_freedom_of_a_balanced_study(self) -> None:
        """By hand from the mean squares of 4 operators by 8 edges by 3 cuts: Satterthwaite for the operators."""
        spreads = find_spreads(cuts_on_edges(3, operators=4, edges=8, cuts=3, sd=(0.2, 0.3, 0.05)), scale="log")
        repeatability, shared, apart = estimated_parts(spreads)
        assert repeatability.sd == pytest.approx(spreads.sds["repeatability"].estimate)
        assert repeatability.df == pytest.approx(spreads.df)
        assert list(shared) == ["operators"] and set(apart) <= {"operator by edge"}
        assert spreads.squares is not None
        ms = dict(zip(spreads.squares.terms, spreads.squares.mean_square, strict=True))
        df = dict(zip(spreads.squares.terms, spreads.squares.df, strict=True))
        above, below = "operator", "operator x edge" if apart else spreads.squares.terms[-1]
        difference = ms[above] - ms[below]
        expected = difference**2 / (ms[above] ** 2 / df[above] + ms[below] ** 2 / df[below])
        assert shared["operators"].sd == pytest.approx(math.sqrt(difference / 24))
        assert shared["operators"].df == pytest.approx(expected)
        assert expected < 3

    def test_the_budget_of_one_cut_has_the_spread_of_the_tester(self) -> None:
        spreads = find_spreads(cuts_on_edges(3, sd=(0.2, 0.3, 0.05)), scale="log")
        repeatability, shared, apart = estimated_parts(spreads)
        found = made(scale="log", repeatability=repeatability, shared=shared, apart=apart)
        assert found.combined == pytest.approx(150 * spreads.sds["reproducibility"].estimate)

    def test_without_mean_squares_it_comes_from_the_likelihood(self) -> None:
        table = cuts_on_edges(3, sd=(0.2, 0.3, 0.05))
        balanced = estimated_parts(find_spreads(table, scale="log"))[0]
        spreads = replace(find_spreads(table, scale="log"), squares=None)
        assert isinstance(spreads.known, FromCurvature)
        repeatability, shared, _ = estimated_parts(spreads)
        assert repeatability.df == pytest.approx(balanced.df, rel=0.02)
        assert 1 <= shared["operators"].df < 3


def test_what_it_refuses() -> None:
    with pytest.raises(FitError, match="nothing is uncertain"):
        made(repeatability=Estimated(sd=0.0), masses=Estimated(sd=1.0), difference=True)
    with pytest.raises(FitError, match="found no spread at all"):
        made(repeatability=Estimated(sd=0.0))
    with pytest.raises(FitError, match='"check masses" and "Check masses" would be counted twice'):
        made(masses=Estimated(sd=1.0), others=[Contribution(name="Check masses", half_width=1.0)])
    with pytest.raises(ValueError, match="`reading` must be"):
        made(reading=0.0)
    with pytest.raises(ValueError, match="`step` must be"):
        made(step=-1.0)
    with pytest.raises(ValueError, match="must be a number from 0 up"):
        made(repeatability=Estimated(sd=math.inf))
