"""The example of a tester study: balanced, in random order, and ready to be filled in."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import pandas as pd
import pytest

from sharpstats.errors import TrialError
from sharpstats.tester.example import LOADS, SERIES, SIZES, cut_sheet, mass_sheet, write_tester_example
from sharpstats.tester.study import open_tester

KINDS = tuple(SIZES)


def sheet(kind: str, seed: int = 3) -> pd.DataFrame:
    return pd.read_csv(StringIO(cut_sheet(kind, seed)))


@pytest.mark.parametrize("kind", KINDS)
def test_the_example_opens_and_waits_for_its_readings(kind: str, tmp_path: Path) -> None:
    write_tester_example(tmp_path, kind, seed=5)
    study = open_tester(tmp_path)
    assert study.plan.layout.kind == kind
    assert study.plan.layout.seed == 5
    assert set(study.set_aside["code"]) == {"no-reading"}
    assert not study.cautions


@pytest.mark.parametrize("kind", KINDS)
def test_filled_in_it_is_as_planned(kind: str, tmp_path: Path) -> None:
    write_tester_example(tmp_path, kind, seed=5)
    rows = sheet(kind, 5)
    rows.assign(reading=[150 + place % 7 for place in range(len(rows))]).to_csv(tmp_path / "readings.csv", index=False)
    study = open_tester(tmp_path)
    assert study.counts["used"] == len(rows)
    assert not [note for note in study.cautions if note.code in ("not-as-planned", "order-unknown", "same-spot")]


@pytest.mark.parametrize("kind", KINDS)
def test_everybody_cuts_each_of_their_edges_once_a_round_at_a_spot_of_its_own(kind: str) -> None:
    rows = sheet(kind)
    assert rows["run"].tolist() == list(range(1, len(rows) + 1))
    rounds = [*range(1, SIZES[kind].cuts + 1)]
    assert all(cuts.tolist() == rounds for _, cuts in rows.groupby(["operator", "edge"])["cut"])
    assert rows["cut"].is_monotonic_increasing
    assert not rows.duplicated(["edge", "position_mm"]).any()
    shared = rows.groupby("edge")["operator"].nunique()
    assert (shared == (SIZES[kind].operators if kind == "crossed" else 1)).all()


def test_another_seed_gives_another_order_and_the_same_seed_the_same() -> None:
    assert cut_sheet("crossed", 1) == cut_sheet("crossed", 1)
    assert cut_sheet("crossed", 1) != cut_sheet("crossed", 2)


def test_masses_go_up_and_down_again_between_two_readings_without_a_load() -> None:
    rows = pd.read_csv(StringIO(mass_sheet()))
    assert rows["series"].nunique() == SERIES
    for _, series in rows.groupby("series"):
        assert series["mass_g"].tolist() == [0, *LOADS, *LOADS[-2::-1], 0]
        assert (series["direction"].value_counts()[["up", "down"]] == [len(LOADS), len(LOADS) - 1]).all()


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "masses.csv").write_text("mine", encoding="utf-8")
    with pytest.raises(TrialError, match="exists already"):
        write_tester_example(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["masses.csv"]
