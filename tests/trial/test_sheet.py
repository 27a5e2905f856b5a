from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from openpyxl import load_workbook

from sharpstats.trial.published import write_csv
from sharpstats.trial.read import read_table
from sharpstats.trial.sheet import write_xlsx

HOSTILE = [
    "<script>alert(1)</script>",
    'say "hm"',
    "one\ntwo",
    "one\r\ntwo",
    "=1+1",
    "+1+1",
    "@SUM(A1)",
    "-1+2",
    "\tx",
    "'=1+1",
    "🔪 blade",
    "x" * 300,
    "5-6",
    "007",
    "1e5",
    "a,b;c|d",
    "&amp; <b>",
    " padded ",
]


@pytest.fixture
def table() -> pd.DataFrame:
    size = len(HOSTILE)
    return pd.DataFrame({"edge": HOSTILE, "note": HOSTILE[::-1], "reading": ["152.5"] * size}, dtype="str")


def test_hostile_labels_come_through_csv(tmp_path: Path, table: pd.DataFrame):
    write_csv(table, tmp_path / "readings.csv")
    back = read_table(tmp_path / "readings.csv")
    pd.testing.assert_frame_equal(back.frame[list(table.columns)], table)
    assert back.repairs == ()


def test_no_cell_of_the_csv_starts_a_formula(tmp_path: Path, table: pd.DataFrame):
    write_csv(table, tmp_path / "readings.csv")
    raw = pd.read_csv(tmp_path / "readings.csv", dtype="str", keep_default_na=False, lineterminator=None)
    for name in ("edge", "note"):
        assert not raw[name].str.match(r"[=+\-@\t\r]").any()


def test_hostile_labels_come_through_xlsx(tmp_path: Path, table: pd.DataFrame):
    write_xlsx(table, tmp_path / "readings.xlsx")
    back = read_table(tmp_path / "readings.xlsx")
    expected = table.replace({"one\r\ntwo": "one\ntwo", "'=1+1": "=1+1"})  # XML knows one line end; reading unguards
    pd.testing.assert_frame_equal(back.frame[list(table.columns)], expected)


def test_no_cell_of_the_xlsx_is_a_formula_and_numbers_are_numbers(tmp_path: Path, table: pd.DataFrame):
    write_xlsx(table, tmp_path / "readings.xlsx")
    sheet = load_workbook(tmp_path / "readings.xlsx")["readings"]
    kinds = [[cell.data_type for cell in row] for row in sheet.iter_rows(min_row=2)]
    assert kinds == [["s", "s", "n"]] * len(table)
    assert sheet["C2"].value == 152.5
    assert sheet["A2"].quotePrefix


def test_a_hostile_header_is_text_too(tmp_path: Path):
    write_xlsx(pd.DataFrame({"=1+1": ["x"]}), tmp_path / "t.xlsx")
    cell = load_workbook(tmp_path / "t.xlsx")["readings"]["A1"]
    assert (cell.value, cell.data_type) == ("=1+1", "s")


@pytest.mark.parametrize(
    ("column", "text", "value"),
    [
        ("reading", "152", 152),
        ("reading", ">1500", ">1500"),
        ("reading", "1S2", "1S2"),
        ("cut", "3", 3),
        ("edge", "12", "12"),
        ("grit", "1000", "1000"),
        ("reading", "0.12345678901234567", "0.12345678901234567"),
        ("note", "", None),
        ("note", "a\x07b", "a\ufffdb"),
    ],
)
def test_each_cell_is_written_for_what_it_is(tmp_path: Path, column: str, text: str, value: object):
    write_xlsx(pd.DataFrame({column: [text]}, dtype="str"), tmp_path / "t.xlsx")
    assert load_workbook(tmp_path / "t.xlsx")["readings"].cell(2, 1).value == value


def test_columns_of_numbers_are_numbers_and_gaps_stay_blank(tmp_path: Path):
    write_xlsx(pd.DataFrame({"estimate": [1.5, None], "edges": [3, 4]}), tmp_path / "t.xlsx")
    sheet = load_workbook(tmp_path / "t.xlsx")["readings"]
    assert [[cell.value for cell in row] for row in sheet.iter_rows(min_row=2)] == [[1.5, 3], [None, 4]]
