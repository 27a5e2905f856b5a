"""The demo trial: what its script makes is what ships, and it holds what its README says."""

from __future__ import annotations

import csv
import runpy
import tomllib
from collections import Counter
from itertools import groupby
from pathlib import Path

import pytest

from sharpstats.columns import READINGS
from sharpstats.trial.trial import open_trial

Row = dict[str, str]


@pytest.fixture(scope="module")
def rows(demo: Path) -> list[Row]:
    with (demo / "readings.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def edges(rows: list[Row]) -> list[Row]:
    return [row for row in rows if row["cut"] == "1"]


def test_the_script_makes_the_file_that_ships_byte_for_byte(demo: Path, tmp_path: Path) -> None:
    script = runpy.run_path(str(demo.parent / "make_tool_library.py"))
    made = script["write"](tmp_path)
    assert made.read_bytes() == (demo / "readings.csv").read_bytes()


def test_plan_script_and_readme_say_that_all_is_invented(demo: Path) -> None:
    plan = tomllib.loads((demo / "trial.toml").read_text(encoding="utf-8"))
    assert plan["publishing"]["invented"] is True
    assert "Everything here is invented." in (demo / "README.md").read_text(encoding="utf-8")
    assert "Nothing here was measured." in (demo.parent / "make_tool_library.py").read_text(encoding="utf-8")


def test_columns_are_the_known_ones_in_their_order_and_one_of_the_librarys_own(rows: list[Row]) -> None:
    known = [column.name for column in READINGS]
    names = list(rows[0])
    assert names[-1] == "tool"
    assert names[:-1] == [name for name in known if name in names]


def test_seventy_edges_of_five_cuts_in_the_order_of_their_runs(rows: list[Row]) -> None:
    places = [(int(row["run"]), int(row["cut"])) for row in rows]
    assert places == [(run, cut) for run in range(1, 71) for cut in range(1, 6)]
    assert all(len({row["edge"] for row in group}) == 1 for _, group in groupby(rows, lambda row: row["run"]))
    assert len({row["edge"] for row in rows}) == 70


def test_every_blade_has_two_edges_on_every_medium(edges: list[Row], demo: Path) -> None:
    plan = tomllib.loads((demo / "trial.toml").read_text(encoding="utf-8"))
    trial = [edge for edge in edges if edge["role"] == "trial"]
    cells = Counter((edge["steel"], edge["blade"], edge["medium"]) for edge in trial)
    assert set(cells.values()) == {plan["layout"]["edges_per_cell"]}
    assert len(cells) == 8 * 4
    blades = Counter(steel for steel, _ in {(edge["steel"], edge["blade"]) for edge in trial})
    assert blades == dict.fromkeys(plan["factors"]["steel"], 4)
    assert {edge["medium"] for edge in trial} == set(plan["factors"]["medium"])


def test_blades_are_blocks_each_in_an_order_of_its_own(edges: list[Row]) -> None:
    trial = [edge for edge in edges if edge["role"] == "trial"]
    blocks = {blade: list(group) for blade, group in groupby(trial, lambda edge: edge["blade"])}
    assert [len(block) for block in blocks.values()] == [8] * 8
    assert len({tuple(edge["medium"] for edge in block) for block in blocks.values()}) == 8
    assert all(len({(edge["day"], edge["operator"]) for edge in block}) == 1 for block in blocks.values())
    assert len({edge["day"] for edge in trial}) == 4


def test_control_edges_at_start_middle_and_end_of_one_blade_and_medium(edges: list[Row]) -> None:
    control = [edge for edge in edges if edge["role"] == "control"]
    assert [int(edge["run"]) for edge in control] == [1, 2, 35, 36, 69, 70]
    assert {(edge["blade"], edge["medium"], edge["operator"]) for edge in control} == {
        ("C9", "oilstone", "volunteer A")
    }


def test_the_filament_lot_changes_between_two_days(edges: list[Row]) -> None:
    assert {(edge["day"], edge["filament_lot"]) for edge in edges} == {
        ("day 1", "lot 1"), ("day 2", "lot 1"), ("day 3", "lot 2"), ("day 4", "lot 2"),
    }  # fmt: skip


def test_the_bench_left_its_marks(rows: list[Row]) -> None:
    odd = [row["reading"] for row in rows if not row["reading"].isdigit()]
    assert Counter(odd) == {"": 4, "1S2": 1, "-148": 1, ">1500": 1}
    assert all(row["note"].startswith("lost: ") for row in rows if row["reading"] == "")
    reasons = [row["set_aside"] for row in rows if row["set_aside"]]
    assert reasons == ["blade was not clamped and moved during the cut", "filament caught beside the edge"]


def test_moments_run_forward_in_2026(rows: list[Row]) -> None:
    moments = [row["taken_at"] for row in rows]
    assert moments == sorted(moments)
    assert len(set(moments)) == len(moments)
    assert all(moment.startswith("2026-") for moment in moments)


def test_notes_about_slate_stand_beside_slate_and_others_within_the_blade(rows: list[Row]) -> None:
    assert {row["medium"] for row in rows if row["note"].startswith("slate")} == {"roofing slate"}
    reach = {"chisel": 20, "kitchen knife": 140}
    assert all(0 < int(row["position_mm"]) <= reach[row["tool"]] for row in rows)


def test_opened_it_counts_what_its_readme_says(demo: Path) -> None:
    trial = open_trial(demo)
    assert trial.counts == {
        "read": 350, "used": 342, "set_aside": 8, "over_range": 0, "edges": 64, "control_edges": 6,
    }  # fmt: skip
    assert Counter(trial.set_aside["code"]) == {"no-reading": 4, "not-a-number": 1, "negative": 1, "by-hand": 2}
    assert trial.repairs == ()
    assert len(trial.plan.claims) == 7


def test_its_claims_come_out_all_three_ways(demo: Path) -> None:
    findings = {finding.claim: finding for finding in open_trial(demo).judge().findings}
    assert {name: finding.finding for name, finding in findings.items()} == {
        "slate-as-plate": "shown",
        "film-as-oilstone": "shown",
        "film-as-plate-stainless": "open",
        "plate-pays": "contradicted",
        "slate-fine-work": "contradicted",
        "film-bench-work": "shown",
        "film-keener-than-plate": "shown",
    }
    assert findings["slate-as-plate"].real is True, "the small difference that is real and does not matter"
    assert 5 < (findings["film-as-plate-stainless"].more_edges or 0) < 60


def test_the_model_finds_the_spreads_that_the_script_put_in(demo: Path) -> None:
    script = runpy.run_path(str(demo.parent / "make_tool_library.py"))
    table = open_trial(demo).fit().components.table.set_index("term")
    found = {term: table.loc[term, "sd"] for term in script["SPREAD"]}
    assert found == pytest.approx(script["SPREAD"], abs=0.02)
