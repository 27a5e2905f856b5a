"""The example that `sharpstats new` writes."""

from __future__ import annotations

import csv
import re
import tomllib
from io import StringIO
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import sharpstats.trial.example as example
from sharpstats.columns import readings_column
from sharpstats.errors import TrialError
from sharpstats.trial.plan import CLAIM_KINDS
from sharpstats.trial.toml import read_plan
from sharpstats.trial.trial import open_trial

FILES = ["trial.toml", "readings.csv", "media.csv"]


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(text)))


def edges_of(text: str) -> list[dict[str, str]]:
    return [row for row in rows_of(text) if row["cut"] == "1"]


def test_makes_the_folder_and_names_what_it_wrote(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "trial"
    written = example.write_example(folder, seed=3)
    assert [path.name for path in written] == FILES
    assert sorted(path.name for path in folder.iterdir()) == sorted(FILES)


def test_the_plan_names_the_seed_that_ordered_the_sheet(tmp_path: Path) -> None:
    example.write_example(tmp_path)
    plan = tomllib.loads((tmp_path / "trial.toml").read_text(encoding="utf-8"))
    sheet = (tmp_path / "readings.csv").read_text(encoding="utf-8")
    assert sheet == example.run_sheet(plan["layout"]["seed"])


def test_plan_sheet_and_media_tell_of_the_same_trial(tmp_path: Path) -> None:
    example.write_example(tmp_path, seed=3)
    plan = tomllib.loads((tmp_path / "trial.toml").read_text(encoding="utf-8"))
    rows = rows_of((tmp_path / "readings.csv").read_text(encoding="utf-8"))
    media = rows_of((tmp_path / "media.csv").read_text(encoding="utf-8"))
    named = set(plan["factors"]["medium"])
    assert {row["medium"] for row in rows} == named
    assert {row["medium"] for row in media} == named
    assert {int(row["cut"]) for row in rows} == set(range(1, plan["layout"]["cuts"] + 1))
    assert all(row["reading"] == "" for row in rows)
    assert all(readings_column(name) is not None for name in rows[0])


def test_the_plan_shows_every_kind_of_claim_once(tmp_path: Path) -> None:
    """A gap needs a second factor, which the example has none of: it stands in a remark."""
    example.write_example(tmp_path, seed=3)
    text = (tmp_path / "trial.toml").read_text(encoding="utf-8")
    assert [text.count(f'kind = "{kind.kind}"') for kind in CLAIM_KINDS] == [1] * len(CLAIM_KINDS)
    made = {claim["kind"] for claim in tomllib.loads(text)["claim"]}
    assert {kind.kind for kind in CLAIM_KINDS} - made == {"gap"}


@pytest.mark.parametrize(
    "caution",
    ["cut-resistant glove", "clamp the blade", "away from your body", "powered wheel", "crystalline silica",
     "skin", "lungs", "count the blades", "makers' instructions", "local rules", "workplace safety"],
)  # fmt: skip
def test_the_cautions_stand_on_top_of_the_plan(tmp_path: Path, caution: str) -> None:
    example.write_example(tmp_path, seed=3)
    head, _ = (tmp_path / "trial.toml").read_text(encoding="utf-8").split("\ntitle =")
    assert caution in head.lower()


@given(st.integers(min_value=0, max_value=2**63))
def test_every_blade_meets_every_medium_once_whatever_the_seed(seed: int) -> None:
    trial = [edge for edge in edges_of(example.run_sheet(seed)) if edge["role"] == "trial"]
    cells = sorted((edge["blade"], edge["medium"]) for edge in trial)
    assert cells == sorted((blade, medium) for blade in example.BLADES for medium in example.MEDIA)
    by_block = [edge["blade"] for edge in trial]
    assert all(len(set(by_block[start : start + 3])) == 1 for start in range(0, 12, 3))


def test_control_edges_come_first_half_way_and_last() -> None:
    edges = edges_of(example.run_sheet(5))
    runs = [int(edge["run"]) for edge in edges if edge["role"] == "control"]
    assert runs == [1, 8, 15]
    assert len(edges) == 15


def test_the_order_of_media_differs_from_seed_to_seed_and_from_blade_to_blade() -> None:
    sheets = [[edge["medium"] for edge in edges_of(example.run_sheet(seed))] for seed in range(20)]
    assert len({tuple(sheet) for sheet in sheets}) > 15
    assert any(sheet[1:4] != sheet[4:7] for sheet in sheets)


def test_refuses_to_overwrite_and_names_the_files(tmp_path: Path) -> None:
    (tmp_path / "trial.toml").write_text("mine")
    (tmp_path / "media.csv").write_text("mine too")
    with pytest.raises(TrialError) as caught:
        example.write_example(tmp_path, seed=1)
    assert [Path(problem.file).name for problem in caught.value.problems] == ["trial.toml", "media.csv"]
    assert "exists already and is not overwritten; nothing was written" in str(caught.value)
    assert "Choose another folder" in str(caught.value)
    assert (tmp_path / "trial.toml").read_text() == "mine"
    assert not (tmp_path / "readings.csv").exists()


def test_a_file_in_place_of_the_folder_is_an_error_that_says_so(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("mine")
    says = re.escape(f"{path}: the example cannot be written here (") + r".+\)\. Choose another folder"
    with pytest.raises(TrialError, match=says):
        example.write_example(path)
    assert path.read_text() == "mine"


def test_the_example_is_a_plan_without_mistakes_that_opens_with_all_edges_still_to_make(tmp_path: Path) -> None:
    example.write_example(tmp_path, seed=3)
    plan = read_plan(tmp_path / "trial.toml")
    assert [claim.kind for claim in plan.claims] == ["same", "no worse", "keener", "steadier", "reaches"]
    trial = open_trial(tmp_path)
    assert (trial.counts["read"], trial.counts["used"], trial.counts["set_aside"]) == (45, 0, 45)
    assert set(trial.set_aside["code"]) == {"no-reading"}
    assert trial.repairs == ()


def test_the_filled_in_sheet_is_used_row_for_row(tmp_path: Path) -> None:
    example.write_example(tmp_path, seed=3)
    sheet = tmp_path / "readings.csv"
    names = sheet.read_text(encoding="utf-8").splitlines()[0].split(",")
    place = names.index("reading")
    filled = [
        ",".join([*line.split(",")[:place], str(140 + number % 9), *line.split(",")[place + 1 :]])
        for number, line in enumerate(sheet.read_text(encoding="utf-8").splitlines()[1:])
    ]
    sheet.write_text("\n".join([",".join(names), *filled]), encoding="utf-8")
    counts = open_trial(tmp_path).counts
    assert counts == {"read": 45, "used": 45, "set_aside": 0, "over_range": 0, "edges": 12, "control_edges": 3}
