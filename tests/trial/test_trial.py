from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sharpstats.errors import PlanError, TrialError
from sharpstats.trial.freeze import freeze_plan
from sharpstats.trial.sheet import write_xlsx
from sharpstats.trial.trial import Trial, open_trial

PLAN = 'title = "Slate or film?"\n[factors]\nmedium = ["slate", "film"]\n'
LINES = [
    f"e{edge},{cut},{'slate' if edge % 2 else 'film'},{150 + edge + cut}" for edge in range(1, 7) for cut in (1, 2)
]
HEADER = "edge,cut,medium,reading"
TEXT = "\n".join([HEADER, *LINES]) + "\n"


def same_readings(one: Trial, other: Trial) -> None:
    pd.testing.assert_frame_equal(
        one.readings.drop(columns=["file", "row"]), other.readings.drop(columns=["file", "row"])
    )


def test_the_demo_opens(demo: Path):
    trial = open_trial(demo)
    counts = trial.counts
    assert counts["read"] == counts["used"] + counts["set_aside"] == len(trial.text.frame)
    assert counts["over_range"] == 0
    assert (counts["edges"], counts["control_edges"]) == (64, 6)
    assert {"not-a-number", "negative", "by-hand", "no-reading"} == set(trial.set_aside["code"])
    assert trial.repairs == ()


def test_a_folder_and_its_plan_open_alike(make_folder):
    folder = make_folder(TEXT, PLAN)
    same_readings(open_trial(folder), open_trial(str(folder / "trial.toml")))


def test_a_trial_is_frozen_and_knows_where_it_came_from(make_folder):
    folder = make_folder(TEXT, PLAN)
    trial = open_trial(folder)
    assert trial.folder == folder
    assert trial.data_sha256 == hashlib.sha256(TEXT.encode()).hexdigest()
    assert trial.plan_sha256 == hashlib.sha256(PLAN.encode()).hexdigest()
    assert (trial.frozen, trial.differences) == (None, ())
    with pytest.raises(AttributeError):
        trial.plan = None  # type: ignore[misc]
    with pytest.raises(TypeError):
        iter(trial)  # type: ignore[call-overload]


def test_changes_since_the_freeze_are_told(make_folder):
    folder = make_folder(TEXT, PLAN)
    freeze_plan(folder, datetime(2026, 9, 25, tzinfo=UTC))
    assert open_trial(folder).differences == ()
    (folder / "trial.toml").write_text(f"alpha = 0.01\n{PLAN}")
    trial = open_trial(folder)
    assert trial.frozen is not None
    assert trial.differences == ("`alpha` was 0.05 and is 0.01.",)


def test_types_of_the_readings(make_folder):
    readings = open_trial(make_folder(TEXT, PLAN)).readings
    kinds = {name: str(kind) for name, kind in readings.dtypes.items()}
    assert kinds == {
        "edge": "str", "cut": "int64", "medium": "str", "role": "str", "reading": "float64",
        "file": "str", "row": "int64", "over_range": "bool",
    }  # fmt: skip


# finding the files


@pytest.mark.parametrize("name", ["readings.csv", "readings.xlsx", "readings.ods"])
def test_readings_are_found_by_name(make_folder, name: str):
    folder = make_folder(TEXT, PLAN, name=f"other-{name}")
    table = pd.read_csv(folder / f"other-{name}", dtype="str")
    match Path(name).suffix:
        case ".csv":
            table.to_csv(folder / name, index=False)
        case ".xlsx":
            write_xlsx(table, folder / name)
        case _:
            table.to_excel(folder / name, engine="odf", index=False)
    trial = open_trial(folder)
    assert trial.readings["file"].unique().tolist() == [name]
    assert trial.counts["used"] == 12


def test_two_files_of_readings_need_a_word(make_folder):
    folder = make_folder(TEXT, PLAN)
    (folder / "readings.xlsx").touch()
    with pytest.raises(
        TrialError, match=r'has "readings\.csv" and "readings\.xlsx"\. Say in trial\.toml which holds the'
    ):
        open_trial(folder)
    (folder / "trial.toml").write_text(f'readings = "readings.csv"\n{PLAN}')
    assert open_trial(folder).counts["used"] == 12


def test_no_readings_say_where_to_put_them(make_folder):
    folder = make_folder(TEXT, PLAN, name="data.csv")
    with pytest.raises(
        TrialError, match=r"put them in readings\.csv, readings\.xlsx, readings\.ods or readings\.parquet, or"
    ):
        open_trial(folder)


def test_a_named_file_that_is_missing_is_named(make_folder):
    folder = make_folder(TEXT, f'readings = ["readings.csv", "more.csv"]\n{PLAN}')
    with pytest.raises(
        TrialError, match=r'^The plan names "more\.csv", which .* does not hold\. Put the file there, or'
    ):
        open_trial(folder)


def test_a_missing_folder_is_named(tmp_path: Path):
    with pytest.raises(
        TrialError, match=r"^There is no folder .*nowhere\. Name a trial folder, or make one with: sharpstats new"
    ):
        open_trial(tmp_path / "nowhere")


def test_a_folder_without_a_plan_is_none(tmp_path: Path):
    with pytest.raises(
        TrialError, match=r"has no trial\.toml, so it is not a trial folder\. Make one with: sharpstats new"
    ):
        open_trial(tmp_path)


def test_a_plan_with_mistakes_comes_first(make_folder):
    with pytest.raises(PlanError, match=r"^trial\.toml, line 1, titel"):
        open_trial(make_folder("", f'titel = "x"\n{PLAN}'))


# several files


def test_files_are_joined_in_the_order_of_the_plan(make_folder):
    folder = make_folder("\n".join([HEADER, *LINES[6:]]), f'readings = ["b.csv", "readings.csv"]\n{PLAN}')
    (folder / "b.csv").write_text("\n".join([HEADER, *LINES[:6]]))
    trial = open_trial(folder)
    assert trial.readings["file"].tolist() == ["b.csv"] * 6 + ["readings.csv"] * 6
    assert trial.readings["row"].tolist() == list(range(2, 8)) * 2
    data = (folder / "b.csv").read_bytes() + (folder / "readings.csv").read_bytes()
    assert trial.data_sha256 == hashlib.sha256(data).hexdigest()


def test_files_of_one_name_in_two_folders_are_told_apart(make_folder):
    folder = make_folder(TEXT, f'readings = ["may/r.csv", "june/r.csv"]\n{PLAN}')
    for name, lines in (("may", LINES[:6]), ("june", LINES[6:])):
        (folder / name).mkdir()
        (folder / name / "r.csv").write_text("\n".join([HEADER, *lines]))
    assert open_trial(folder).readings["file"].unique().tolist() == ["may/r.csv", "june/r.csv"]


ODD = st.sampled_from(["152", "1,5", "1,500", "2 N", ">1500", "", "x", "1.500", "152.25"])
ROW = st.tuples(
    st.sampled_from(["e1", "e2", "e3"]), st.sampled_from(["", "1", "2"]), st.sampled_from(["slate", "Film "]), ODD
)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(ROW, min_size=2, max_size=8), data=st.data())
def test_splitting_a_file_in_two_changes_nothing(tmp_path_factory, rows: list[tuple[str, ...]], data):
    cut = data.draw(st.integers(1, len(rows) - 1))
    lines = [",".join(f'"{cell}"' for cell in row) for row in rows]
    whole, split = tmp_path_factory.mktemp("whole"), tmp_path_factory.mktemp("split")
    (whole / "readings.csv").write_text("\n".join([HEADER, *lines]))
    (whole / "trial.toml").write_text(PLAN)
    (split / "a.csv").write_text("\n".join([HEADER, *lines[:cut]]))
    (split / "b.csv").write_text("\n".join([HEADER, *lines[cut:]]))
    (split / "trial.toml").write_text(f'readings = ["a.csv", "b.csv"]\n{PLAN}')
    one, two = open_trial(whole), open_trial(split)
    same_readings(one, two)
    assert one.set_aside["code"].tolist() == two.set_aside["code"].tolist()


def test_a_trial_without_a_usable_reading_opens(make_folder):
    trial = open_trial(make_folder("edge,medium,reading\ne1,slate,x\ne2,film,\n", PLAN))
    assert trial.counts == {"read": 2, "used": 0, "set_aside": 2, "over_range": 0, "edges": 0, "control_edges": 0}


# size


def large(folder: Path, edges: int) -> Path:
    """Write a trial of so many edges with five cuts each."""
    rng = np.random.default_rng(1)
    edge = np.repeat(np.arange(edges), 5)
    media = np.array(["slate", "film"])
    table = pd.DataFrame(
        {
            "run": edge + 1, "edge": np.char.add("e", edge.astype(str)), "cut": np.tile(np.arange(1, 6), edges),
            "medium": media[edge % 2], "blade": np.char.add("B", (edge // 2 % 200).astype(str)),
            "operator": np.array(["A", "B", "C"])[edge % 3],
            "reading": np.round(150 * np.exp(rng.normal(0, 0.2, len(edge))), 1),
            "note": "",
        }
    )  # fmt: skip
    table.to_csv(folder / "readings.csv", index=False)
    (folder / "trial.toml").write_text(f'{PLAN}[layout]\nblocks = ["blade"]\n')
    return folder


def test_two_hundred_thousand_rows(tmp_path: Path):
    trial = open_trial(large(tmp_path, 40_000))
    assert trial.counts == {
        "read": 200_000, "used": 200_000, "set_aside": 0, "over_range": 0, "edges": 40_000, "control_edges": 0
    }  # fmt: skip
    assert trial.readings["row"].iloc[-1] == 200_001


@pytest.mark.slow
def test_five_million_rows(tmp_path: Path):
    import resource
    import time

    large(tmp_path, 1_000_000)
    began = time.perf_counter()
    pd.read_csv(tmp_path / "readings.csv", dtype="str", keep_default_na=False)
    text = time.perf_counter() - began
    began = time.perf_counter()
    trial = open_trial(tmp_path)
    opened = time.perf_counter() - began
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"\n5,000,000 rows: as text with pandas {text:.1f} s; opened {opened:.1f} s; peak memory {peak:.1f} GB")
    assert trial.counts["used"] == 5_000_000
    assert opened < 3 * text


@pytest.mark.slow
def test_five_million_damaged_rows(tmp_path: Path):
    import time

    large(tmp_path, 1_000_000)
    text = (tmp_path / "readings.csv").read_text()
    head, _, body = text.partition("\n")
    damaged = body.replace(",", ";").replace(".", ",").replace("e77;", 'e77 ";').replace("slate", "Slate")
    (tmp_path / "readings.csv").write_text(head.replace(",", ";") + "\n" + damaged, encoding="utf-16")
    began = time.perf_counter()
    trial = open_trial(tmp_path)
    print(f"\n5,000,000 damaged rows: opened in {time.perf_counter() - began:.1f} s")
    assert trial.counts["read"] == 5_000_000
