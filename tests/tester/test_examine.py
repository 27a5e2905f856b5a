"""A study examined as a whole: every part that its readings can tell, and why one is missing."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from reference.studies import cuts_on_edges, made_study

from sharpstats.tester.examine import Examination
from sharpstats.tester.study import open_tester


def examined(folder: Path, table: pd.DataFrame | None = None, plan: str = "", **others: pd.DataFrame) -> Examination:
    found: Examination = open_tester(made_study(folder, table, plan, **others)).examine()
    return found


def test_cuts_on_edges_tell_spread_and_smallest_difference(tmp_path: Path) -> None:
    found = examined(tmp_path / "t", plan='wanted = "15 %"\n')
    assert found.spreads is not None
    assert found.smallest is not None
    assert [one.way for one in found.needed] == list(found.smallest.ways)
    assert found.needed[0].wanted == pytest.approx(0.13976194237515863, rel=1e-14)  # log 1.15
    assert {"spreads", "smallest", "needed", "rounding"} <= set(found.parts)


def test_a_part_that_cannot_be_told_says_why_and_stops_no_other(tmp_path: Path) -> None:
    found = examined(tmp_path / "t", cuts_on_edges(1).assign(reading=150))
    assert found.spreads is None
    assert "All 96 readings are 150" in found.why_not("spreads")
    assert "spreads" not in found.parts
    assert found.why_not("smallest") == ""


def test_level_and_seed_come_from_the_plan(tmp_path: Path) -> None:
    found = examined(tmp_path / "t", plan="level = 0.8\n[layout]\nseed = 77\n")
    assert found.spreads is not None
    assert (found.spreads.level, found.spreads.seed) == (0.8, 77)


def test_the_unit_of_the_plan_changes_nothing_but_the_unit(tmp_path: Path) -> None:
    table = cuts_on_edges(6)
    newtons = table.assign(reading=(table["reading"] * 0.00980665))
    one, other = (examined(tmp_path / unit, rows, f'unit = "{unit}"\n')
                  for unit, rows in (("gf", table), ("N", newtons)))  # fmt: skip
    assert one.spreads is not None
    assert other.spreads is not None
    for term in one.spreads.terms:
        assert other.spreads.sds[term].estimate == pytest.approx(one.spreads.sds[term].estimate, rel=1e-8)


def test_a_study_of_a_thousand_edges_does_not_hang(tmp_path: Path) -> None:
    edges = [f"e{number}" for number in range(1000)]
    table = pd.DataFrame({"edge": edges * 2, "run": range(2000), "reading": [150 + run % 37 for run in range(2000)]})
    found = examined(tmp_path / "t", table)
    for part in ("spreads", "wear", "drift"):
        assert "The study has 1000 edges; more than 400 would take far too long" in found.why_not(part)
    assert found.rounding is not None
