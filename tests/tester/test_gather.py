"""The budget of a study: each number from the part that found it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from reference.studies import cuts_on_edges, made_study

from sharpstats.errors import FitError
from sharpstats.tester.examine import Examination
from sharpstats.tester.gather import study_budget
from sharpstats.tester.study import open_tester

PLAN = '[layout]\ncuts = 4\n[masses]\nuncertainty = "0.4 gf"\n'
OTHER = '[[contribution]]\nname = "angle of the blade"\nhalf_width = "2 %"\nsource = "common practice, no source"\n'


def examined(folder: Path, plan: str = PLAN, *, masses: bool = True, table: pd.DataFrame | None = None) -> Examination:
    loads = np.tile([0.0, 100.0, 200.0, 300.0], 4)
    rng = np.random.default_rng(3)
    hung = pd.DataFrame({"mass_g": loads, "series": np.repeat([1, 2, 3, 4], 4),
                         "reading": (1.02 * loads + 1 + rng.normal(0, 1, 16)).round(1)})  # fmt: skip
    others = {"masses": hung} if masses else {}
    return open_tester(made_study(folder, cuts_on_edges(2) if table is None else table, plan, **others)).examine()


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Examination:
    """Cuts and masses, once for all tests that change nothing."""
    return examined(tmp_path_factory.mktemp("whole") / "t")


def rows(found: Examination) -> dict[str, float]:
    assert found.budget is not None
    return {one.name: one.u for one in found.budget.contributions}


def test_repeatability_is_in_it_with_its_degrees_of_freedom_and_averages(whole: Examination) -> None:
    assert whole.spreads is not None
    assert whole.budget is not None
    cuts = next(one for one in whole.budget.contributions if one.averages)
    assert cuts.u == pytest.approx(100 * whole.spreads.sds["repeatability"].estimate, rel=1e-12)
    assert cuts.df == pytest.approx(whole.spreads.df, rel=1e-9)
    assert whole.budget.cuts == 4


def test_edges_are_no_fault_of_the_tester(whole: Examination) -> None:
    assert "edges" not in rows(whole)


def test_the_calibration_gives_its_uncertainty_at_the_reading_and_the_bias_is_said(whole: Examination) -> None:
    assert whole.budget is not None
    assert whole.calibration is not None
    assert whole.budget.reading is not None
    at = float(np.sqrt(whole.calibration.line.variance_at(whole.budget.reading)))
    assert rows(whole)["calibration of the tester"] == pytest.approx(at, rel=1e-12)
    assert rows(whole)["check masses"] == 0.4
    assert "uncorrected-bias" in [note.code for note in whole.budget.notes]


def test_without_masses_nothing_is_told_of_them(tmp_path: Path) -> None:
    assert not {"calibration of the tester", "check masses"} & set(rows(examined(tmp_path / "t", masses=False)))


def test_what_the_plan_states_is_added(tmp_path: Path) -> None:
    found = examined(tmp_path / "t", PLAN + OTHER)
    assert rows(found)["angle of the blade"] == pytest.approx(2 / np.sqrt(3), rel=1e-12)


def test_the_reading_is_the_geometric_mean_on_the_log_scale(whole: Examination) -> None:
    assert whole.budget is not None
    readings = whole.study.readings
    assert readings is not None
    assert whole.budget.reading == pytest.approx(np.exp(np.log(readings["reading"]).mean()), rel=1e-12)


def test_a_trend_goes_in_only_if_it_is_more_than_chance(whole: Examination, tmp_path: Path) -> None:
    table = cuts_on_edges(2)
    assert "drift during the study" not in rows(whole)
    moved = table.assign(reading=(table["reading"] * np.exp(0.006 * table["run"])).round(1))
    found = examined(tmp_path / "moved", table=moved)
    assert found.drift is not None
    assert found.drift.trend is not None
    trend = found.drift.trend
    whole = trend.slope.estimate * (trend.last - trend.first) / trend.slope.per
    assert rows(found)["drift during the study"] == pytest.approx(100 * whole / 2 / np.sqrt(3), rel=1e-12)


def test_without_a_spread_there_is_none(tmp_path: Path) -> None:
    found = examined(tmp_path / "t", table=cuts_on_edges(1).assign(reading=150))
    assert found.budget is None
    assert "Without the spread of cuts" in found.why_not("budget")
    with pytest.raises(FitError):
        study_budget(found.study.plan, None, None, None, None)
