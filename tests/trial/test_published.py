from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sharpstats.trial.package import published_table, write_package
from sharpstats.trial.published import write_csv
from sharpstats.trial.trial import Trial, open_trial

PLAN = 'title = "Slate or film?"\n[factors]\nmedium = ["slate", "film"]\n'
AS_WRITTEN = f'{PLAN}[publishing]\noperators = "as written"\n'


def reopened(trial: Trial, folder: Path) -> Trial:
    write_package(trial, folder)
    return open_trial(folder)


def assert_same(one: Trial, other: Trial) -> None:
    """The same readings are used, and the same rows set aside for the same reason."""
    place = ["file", "row"]
    pd.testing.assert_frame_equal(
        one.readings.drop(columns=[*place, "set_aside"], errors="ignore"),
        other.readings.drop(columns=[*place, "set_aside"], errors="ignore"),
    )
    assert one.set_aside["code"].tolist() == other.set_aside["code"].tolist()


def table(make_folder, text: str, plan: str = AS_WRITTEN) -> pd.DataFrame:
    return published_table(open_trial(make_folder(text, plan)))


def test_every_row_is_published_in_the_columns_of_the_file(make_folder):
    text = (
        "tool,edge,medium,reading,taken_at\nchisel,e1,slate,152,2026-04-11T09:44\nknife,e2,film,x,\nknife,e3,film,,\n"
    )
    published = table(make_folder, text)
    assert list(published.columns) == ["tool", "edge", "medium", "reading", "taken_at", "set_aside"]
    assert published.to_numpy().tolist() == [
        ["chisel", "e1", "slate", "152", "2026-04-11T09:44", ""],
        ["knife", "e2", "film", "x", "", '[not-a-number] The reading "x" is not a number. Write the number alone, or '
                                         ">1500 for over-range."],
        ["knife", "e3", "film", "", "", ""],
    ]  # fmt: skip


def test_a_reason_given_by_hand_stays_as_it_is(make_folder):
    published = table(make_folder, "edge,medium,reading,set_aside\ne1,slate,x, slipped\ne2,film,150,\n")
    assert published["set_aside"].tolist() == [" slipped", ""]


def test_a_file_without_rows_set_aside_gets_no_column_for_them(make_folder):
    assert "set_aside" not in table(make_folder, "edge,medium,reading\ne1,slate,152\n")


def test_what_was_mended_is_published_mended(make_folder):
    text = "edge;medium;Reading (gf);minutes\ne1; Slate;152,5;2,5\ne2;film;> 1500;x\ne3;film;1 520 gf;\ne4;film;2 N;3\n"
    published = table(make_folder, text)
    assert published["medium"].tolist() == ["slate", "film", "film", "film"]
    assert published["reading"].tolist() == ["152.5", ">1500", "1520", f"{2 * (1 / 0.00980665)!r}"]
    assert published["minutes"].tolist() == ["2.5", "x", "", "3"]


def test_a_plain_number_keeps_its_digits(make_folder):
    assert table(make_folder, "edge,medium,reading\ne1,slate,152.0\ne2,film,1.50e2\n")["reading"].tolist() == [
        "152.0",
        "1.50e2",
    ]


def test_a_header_in_another_unit_is_published_in_the_unit_of_the_plan(make_folder):
    published = table(make_folder, "edge,medium,Reading (N)\ne1,slate,1.5\ne2,film,>2\n")
    assert published["reading"].tolist() == [f"{1.5 * (1 / 0.00980665)!r}", f">{2 * (1 / 0.00980665)!r}"]


# operators


def test_operators_get_pseudonyms_in_the_order_in_which_they_come(make_folder):
    text = "edge,medium,operator,reading\ne1,slate,Zoë,152\ne2,film,,150\ne3,film,Al,x\ne4,slate, Zoë ,151\n"
    published = table(make_folder, text, PLAN)
    assert published["operator"].tolist() == ["operator 1", "", "operator 2", "operator 1"]


def test_operators_are_published_as_written_where_the_plan_says_so(make_folder):
    assert table(make_folder, "edge,medium,operator,reading\ne1,slate,Zoë,152\n")["operator"].tolist() == ["Zoë"]


def test_operators_under_test_are_numbered_as_the_plan_names_them(make_folder):
    """A row set aside may name one that the plan does not know."""
    plan = f'{PLAN}operator = ["Zoë", "Al"]\n'
    text = "edge,medium,operator,reading\ne1,slate,Al,152\ne2,film,Zoë,152\ne3,film,Zo,150\n"
    published = table(make_folder, text, plan)
    assert published["operator"].tolist() == ["operator 2", "operator 1", "operator 3"]
    assert "Zo" not in published.to_csv()


def test_no_name_of_an_operator_is_published_anywhere(make_folder, tmp_path_factory):
    plan = f'{PLAN}[layout]\nblocks = ["operator"]\n'
    text = (
        "edge,medium,operator,reading\ne1,slate,Zoë,152\ne1,slate,Albrecht,150\ne2,film,Albrecht,150,surplus\n"
        "e3,Zoë,152\ne4,film,Zoë,150\n"
    )
    folder = tmp_path_factory.mktemp("published")
    trial = open_trial(make_folder(text, plan))
    assert set(trial.set_aside["code"]) == {"two-values", "ragged-row"}
    write_package(trial, folder)
    for file in folder.iterdir():
        assert "Zoë" not in file.read_text(encoding="utf-8")
        assert "Albrecht" not in file.read_text(encoding="utf-8")
    assert open_trial(folder).counts == trial.counts


def test_damaged_rows_are_published_whole_where_names_may_be(make_folder):
    published = table(make_folder, "edge,medium,reading\ne1,slate,152\ne2,film,150,surplus\n")
    assert published["set_aside"].tolist()[1].startswith("[ragged-row] The row has 4 fields where the header has 3.")
    assert published["set_aside"].tolist()[1].endswith("The row reads: e2,film,150,surplus")


# there and back


def test_the_demo_comes_back(demo: Path, tmp_path: Path):
    trial = open_trial(demo)
    again = reopened(trial, tmp_path)
    assert trial.readings["operator"].nunique() == again.readings["operator"].nunique()
    trial.readings["operator"] = again.readings["operator"]
    assert_same(trial, again)


def test_publishing_what_was_published_changes_nothing(demo: Path, tmp_path_factory):
    first, second = tmp_path_factory.mktemp("first"), tmp_path_factory.mktemp("second")
    reopened(reopened(open_trial(demo), first), second)
    assert (first / "readings.csv").read_bytes() == (second / "readings.csv").read_bytes()


def test_readings_of_several_files_come_back_from_one(make_folder, tmp_path_factory):
    folder = make_folder("edge;medium;reading\ne1;slate;1,5\n", f'readings = ["readings.csv", "b.csv"]\n{PLAN}')
    (folder / "b.csv").write_text("edge,medium,Reading (N),tool\ne2,film,2,chisel\n")
    trial = open_trial(folder)
    once, twice = tmp_path_factory.mktemp("once"), tmp_path_factory.mktemp("twice")
    (folder / "b.csv").rename(folder / "c.csv")
    again = reopened(trial, once)
    assert_same(trial, again)
    assert_same(trial, reopened(again, twice))
    assert trial.plan_sha256 == again.plan_sha256


CELLS = st.text(st.sampled_from("ab =+-@'\"\n\r\t,;é🔪<"), max_size=6)


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(
        st.tuples(
            CELLS,
            st.sampled_from(["slate", "Film ", "slte", "", "=1+1"]),
            st.sampled_from(["152", "1,5", "1,500", "2 N", "> 1500", "", "x", "=1+1", "1.500", "'152", "0"]),
            st.sampled_from(["", "2,5", "x", "3 min"]),
            CELLS,
            st.sampled_from(["", "", "slipped"]),
        ),
        min_size=1,
        max_size=8,
    )
)
def test_any_readings_come_back(tmp_path_factory, rows: list[tuple[str, ...]]):
    folder, out = tmp_path_factory.mktemp("trial"), tmp_path_factory.mktemp("out")
    names = ["edge", "medium", "reading", "minutes", "note", "set_aside"]
    write_csv(pd.DataFrame(rows, columns=names, dtype="str"), folder / "readings.csv")
    (folder / "trial.toml").write_text(PLAN.replace('"film"', '"film", "=1+1"'))
    trial = open_trial(folder)
    assert_same(trial, reopened(trial, out))


@pytest.mark.parametrize("label", ["<script>", 'say "hm"', "one\ntwo", "=1+1", "🔪", "x" * 300, "@a", "-1+2", "'=x"])
def test_a_hostile_level_comes_back(tmp_path_factory, label: str):
    folder, out = tmp_path_factory.mktemp("trial"), tmp_path_factory.mktemp("out")
    write_csv(
        pd.DataFrame({"edge": [label, "e2"], "medium": [label, "film"], "reading": ["152", "150"]}),
        folder / "readings.csv",
    )
    quoted = label.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    (folder / "trial.toml").write_text(f'title = "T"\n[factors]\nmedium = ["{quoted}", "film"]\n', encoding="utf-8")
    trial = open_trial(folder)
    assert trial.readings["medium"].tolist() == list(trial.plan.factors["medium"])
    assert_same(trial, reopened(trial, out))
