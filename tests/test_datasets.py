"""The demo trial and the demo study of a tester: what their scripts make ships, and holds what is said."""

from __future__ import annotations

import csv
import runpy
import tomllib
from collections import Counter
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sharpstats.columns import MASSES, READINGS, SHOPS, TESTED
from sharpstats.tester.examine import Examination
from sharpstats.tester.study import TesterStudy, open_tester
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


# --- the demo study of a tester ---


@pytest.fixture(scope="module")
def tester(demo: Path) -> Path:
    return demo.parent / "tester-study"


@pytest.fixture(scope="module")
def tested(tester: Path) -> list[Row]:
    with (tester / "readings.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def tester_script(demo: Path) -> dict[str, Any]:
    return runpy.run_path(str(demo.parent / "make_tester_study.py"))


@pytest.fixture(scope="module")
def study(tester: Path) -> TesterStudy:
    return open_tester(tester)


def test_the_script_of_the_tester_study_makes_what_ships_byte_for_byte(
    tester: Path, tester_script: dict[str, Any], tmp_path: Path
) -> None:
    made = tester_script["write"](tmp_path)
    assert [path.name for path in made] == ["readings.csv", "masses.csv", "shops.csv"]
    assert all(path.read_bytes() == (tester / path.name).read_bytes() for path in made)


def test_the_tester_study_says_that_it_is_invented_in_plan_script_and_readme(tester: Path, study: TesterStudy) -> None:
    assert study.plan.publishing.invented
    assert "INVENTED" in (tester / "tester.toml").read_text(encoding="utf-8").splitlines()[0]
    assert "Everything here is invented." in (tester / "README.md").read_text(encoding="utf-8")
    assert "Nothing here was measured." in (tester.parent / "make_tester_study.py").read_text(encoding="utf-8")


def test_columns_of_the_tester_study_are_the_known_ones_in_their_order(tester: Path) -> None:
    for schema, name in ((TESTED, "readings"), (MASSES, "masses"), (SHOPS, "shops")):
        names = (tester / f"{name}.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
        assert names == [known for known in schema.names if known in names]


def test_cuts_are_crossed_in_four_rounds_as_the_plan_says(tested: list[Row], study: TesterStudy) -> None:
    plan, pairs = study.plan.layout, [(row["operator"], row["edge"]) for row in tested]
    assert (plan.kind, plan.operators, plan.edges, plan.cuts) == ("crossed", 3, 8, 4)
    assert [int(row["run"]) for row in tested] == list(range(1, 97))
    rounds = [pairs[first : first + 24] for first in range(0, 96, 24)]
    assert all(len(set(each)) == 24 for each in rounds)
    assert len({tuple(each) for each in rounds}) == 4, "each round in an order of its own"


def test_lots_of_filament_are_tangled_with_neither_evenings_nor_volunteers_nor_edges(tested: list[Row]) -> None:
    for name in ("day", "operator", "edge"):
        met = Counter((row[name], row["filament_lot"]) for row in tested)
        assert len(set(met.values())) == 1 and len(met) == 2 * len({row[name] for row in tested})


def test_the_place_along_the_edge_is_not_the_order_of_its_cuts(tested: list[Row]) -> None:
    for edge in {row["edge"] for row in tested}:
        cuts = [row for row in tested if row["edge"] == edge]
        assert [int(row["cut"]) for row in cuts] == list(range(1, 13))
        places = [int(row["position_mm"]) for row in cuts]
        assert sorted(places) == list(range(10, 130, 10)) != places
        assert abs(float(np.corrcoef(places, range(12))[0, 1])) < 0.8


def test_cuts_of_the_tester_study_run_forward_before_the_trial(tested: list[Row], rows: list[Row]) -> None:
    moments = [row["taken_at"] for row in tested]
    assert moments == sorted(set(moments)) and moments[-1] < rows[0]["taken_at"]


def test_the_bench_left_its_marks_on_the_tester_study(tested: list[Row]) -> None:
    odd = [row["reading"] for row in tested if not row["reading"].isdigit()]
    assert Counter(odd) == {"": 2, "1S5": 1, "220,0": 1}
    assert all(row["set_aside"].startswith("lost: ") for row in tested if row["reading"] == "")
    assert len([row for row in tested if row["set_aside"]]) == 3
    assert len([row for row in tested if row["note"]]) == 1
    by_hand = [int(row["reading"]) % 5 for row in tested if row["operator"] == "volunteer C" and row["reading"]]
    assert set(by_hand) == {0}, "one volunteer rounds to 5 gf"


def test_opened_the_tester_study_counts_what_its_readme_says(study: TesterStudy) -> None:
    assert study.counts == {
        "read": 219, "used": 215, "set_aside": 4, "cuts": 92, "over_range": 0, "edges": 8, "operators": 3,
        "loads": 39, "shops": 7,
    }  # fmt: skip
    assert Counter(study.set_aside["code"]) == {"by-hand": 3, "not-a-number": 1}
    assert [note.code for note in study.repairs] == ["decimal-comma"]
    assert study.shops is not None and len(study.shops) == 84
    assert set(study.shops.groupby(["shop", "batch"]).size()) == {4}


def test_masses_go_up_and_down_three_times(tester: Path, study: TesterStudy) -> None:
    with (tester / "masses.csv").open(encoding="utf-8", newline="") as file:
        loads = [(row["series"], int(row["mass_g"]), row["direction"]) for row in csv.DictReader(file)]
    up, down = [50, 100, 200, 300, 400, 500], [400, 300, 200, 100, 50]
    once = [(0, ""), *((load, "up") for load in up), *((load, "down") for load in down), (0, "")]
    assert loads == [(str(series), *each) for series in (1, 2, 3) for each in once]
    assert study.masses is not None and study.plan.masses.gravity == 9.81
    assert study.masses["applied"].max() == pytest.approx(500 * 9.81 / 9.80665)


@pytest.fixture(scope="module")
def examined(study: TesterStudy) -> Examination:
    return study.examine()


def test_the_examination_finds_the_spreads_that_the_script_put_in(
    examined: Examination, tester_script: dict[str, Any]
) -> None:
    assert examined.spreads is not None
    parts = examined.spreads.table.set_index("term")
    edges = np.log(list(tester_script["EDGE_GF"].values())).std(ddof=1)
    for term, truth in {"repeatability": tester_script["SPREAD"]["cut"], "operator": 0.03, "edge": edges}.items():
        assert parts.loc[term, "low"] < truth < parts.loc[term, "high"]
    assert parts.loc["repeatability", "sd"] == pytest.approx(tester_script["SPREAD"]["cut"], abs=0.004), "as picked"
    assert 0.02 < parts.loc["operator", "sd"] < 0.042
    assert parts.loc["day", "sd"] < 0.012 and "operator x edge" not in parts.index


def test_the_examination_finds_the_step_between_lots_the_wear_and_the_habit(
    examined: Examination, tester_script: dict[str, Any]
) -> None:
    assert examined.wear is not None and examined.drift is not None and examined.rounding is not None
    lots = examined.drift.lots
    assert lots is not None and lots.table["shared"].tolist() == [""]
    step = lots.table.iloc[0]
    assert 0 < step["low"] < tester_script["LOT"]["lot 2"] < step["high"]
    assert examined.wear.slope.low < tester_script["WEAR"] < examined.wear.slope.high
    assert examined.rounding.grid is not None and examined.rounding.grid.step == 1
    steps = {habit.name: habit.grid.step for habit in examined.rounding.operators if habit.grid is not None}
    assert steps == {"volunteer A": 1, "volunteer B": 1, tester_script["ROUNDS_TO_FIVE"]: 5}


def test_the_round_of_libraries_has_one_that_lies_off(examined: Examination, tester_script: dict[str, Any]) -> None:
    assert examined.round_robin is not None
    batches = examined.round_robin.batches
    marked = [look.shops for batch in batches for look in batch.looks if look.p < 0.05]
    assert marked == [tuple(tester_script["OFF"])] * len(batches)
    assert any(batch.outlying for batch in batches)


def test_the_readme_of_the_tester_study_tells_the_sizes_of_the_script(
    tester: Path, tester_script: dict[str, Any]
) -> None:
    text = (tester / "README.md").read_text(encoding="utf-8")
    assert f"| {tester_script['SPREAD']['cut']:.0%} standard deviation |".replace("%", " %") in text
    assert f"| {tester_script['SPREAD']['volunteer x edge']:.0%} |".replace("%", " %") in text
    assert f"| {tester_script['LOT']['lot 2']:.0%} higher |".replace("%", " %") in text
    assert f"| by {tester_script['WEAR']:.1%} |".replace("%", " %") in text
    assert f"lies {np.expm1(tester_script['OFF']['quarry']):.0%} too high".replace("%", " %") in text
    assert "two contributions" in text and len(open_tester(tester).plan.contributions) == 2
    assert f"slope {tester_script['SLOPE'] - 1:.1%} too high".replace("%", " %") in text


def test_the_budget_has_what_the_plan_states_beside_what_the_study_found(examined: Examination) -> None:
    assert examined.budget is not None and examined.skipped == ()
    stated = [one.name for one in examined.study.plan.contributions]
    assert stated == ["angle of the blade in the slot", "warmth of the filament"]
    assert {*stated, "from cut to cut", "check masses"} <= set(examined.budget.table["term"])


def test_the_cuts_that_the_trial_took_are_enough_for_the_difference_wanted(examined: Examination) -> None:
    assert examined.study.plan.wanted is not None
    assert examined.needed[0].cuts is not None and examined.needed[0].cuts <= 5
