from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sharpstats.errors import TrialError
from sharpstats.trial.read import read_table
from sharpstats.trial.table import TextTable

HEADER = b"edge,medium,reading\n"


def test_another_kind_of_file_is_refused(tmp_path: Path):
    (tmp_path / "readings.pdf").write_bytes(b"%PDF")
    with pytest.raises(TrialError, match=r"^readings\.pdf is neither CSV, XLSX, ODS nor Parquet\. Save the"):
        read_table(tmp_path / "readings.pdf")


def test_a_missing_file_is_refused(tmp_path: Path):
    with pytest.raises(TrialError, match=r"^readings\.csv cannot be read: No such file or directory\.$"):
        read_table(tmp_path / "readings.csv")


def test_a_folder_in_place_of_a_file_is_refused(tmp_path: Path):
    (tmp_path / "readings.csv").mkdir()
    with pytest.raises(TrialError, match=r"^readings\.csv cannot be read: Is a directory\.$"):
        read_table(tmp_path / "readings.csv")


def test_the_ending_may_be_in_capitals(tmp_path: Path):
    (tmp_path / "READINGS.CSV").write_bytes(HEADER + b"e1,slate,152\n")
    assert len(read_table(tmp_path / "READINGS.CSV").frame) == 1


def test_a_file_may_go_by_another_name(tmp_path: Path):
    (tmp_path / "a.csv").write_bytes(HEADER + b"e1,slate,152\n")
    assert read_table(tmp_path / "a.csv", name="day1/a.csv").frame["file"].tolist() == ["day1/a.csv"]


def read_or_refuse(folder: Path, name: str, data: bytes) -> TextTable | None:
    (folder / name).write_bytes(data)
    try:
        return read_table(folder / name)
    except TrialError as error:
        assert str(error).startswith(name)
        return None


@settings(max_examples=150)
@given(
    data=st.binary(max_size=300), head=st.sampled_from([b"", HEADER, b"edge;reading\r\n", b"\xff\xfe", b"PK\x03\x04"])
)
@example(data=b'"', head=HEADER)
@example(data=b"\r", head=HEADER)
@example(data=b'e1,"a\rb,1\n', head=HEADER)
def test_any_bytes_are_read_or_refused(tmp_path_factory, data: bytes, head: bytes):
    folder = tmp_path_factory.getbasetemp()
    read_or_refuse(folder, "readings.csv", head + data)
    read_or_refuse(folder, "readings.xlsx", head + data)
    read_or_refuse(folder, "readings.ods", head + data)


@settings(max_examples=150)
@given(text=st.text(st.sampled_from("e1,;\"\n\r\t ='>.0é"), max_size=120))
@example(text=",,,0")
def test_any_rows_under_a_header_are_read(tmp_path_factory, text: str):
    table = read_or_refuse(tmp_path_factory.getbasetemp(), "readings.csv", HEADER + text.encode())
    assert table is not None
    places = table.frame["row"].tolist()
    assert places == sorted(set(places))
    assert {damage.row for damage in table.damage} <= set(places)
