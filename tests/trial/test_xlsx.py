from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from sharpstats.errors import TrialError
from sharpstats.trial.read import read_table
from sharpstats.trial.xlsx import read_xlsx

SHEET = "xl/worksheets/sheet1.xml"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    book = Workbook()
    for line in (["edge", "medium", "reading"], ["e1", "slate", 152], ["e2", "film", 148]):
        book.active.append(line)
    book.save(tmp_path / "readings.xlsx")
    return tmp_path / "readings.xlsx"


def rewrite(path: Path, old: str, new: str, part: str = SHEET) -> Path:
    """Put another text into a part of a workbook."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    text = parts[part].decode()
    assert old in text
    parts[part] = text.replace(old, new).encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return path


def test_the_value_stored_with_a_formula_is_read(path: Path):
    rewrite(path, "<v>152</v>", "<f>150+3</f><v>153</v>")
    table = read_table(path)
    assert table.frame["reading"].tolist() == ["153", "148"]
    assert [note.text for note in table.repairs] == [
        "readings.xlsx: 1 cell(s) of reading hold a formula; the value stored with it was taken (first: row 2)."
    ]


def test_what_a_file_says_about_its_size_is_not_believed(path: Path):
    rewrite(path, '<dimension ref="A1:C3"', '<dimension ref="A1:XFD1048576"')
    assert [len(row) for row in read_xlsx(path, "readings.xlsx")["Sheet"].rows] == [3, 3, 3]
    rewrite(path, '<dimension ref="A1:XFD1048576"', '<dimension ref="A1"')
    assert len(read_table(path).frame) == 2


def test_a_row_a_billion_rows_down_is_refused(path: Path):
    rewrite(path, '<row r="3">', '<row r="1000000000">')
    with pytest.raises(TrialError, match=r"^readings\.xlsx has a sheet of more than 1,048,576 rows"):
        read_table(path)


def test_links_to_other_files_are_not_followed(path: Path):
    rewrite(path, "<v>152</v>", "<f>[1]Sheet1!A1</f><v>152</v>")
    assert read_table(path).frame["reading"].tolist() == ["152", "148"]


@settings(max_examples=40)
@given(st.data())
def test_a_damaged_workbook_is_read_or_refused(tmp_path_factory, data):
    folder = tmp_path_factory.getbasetemp()
    book = Workbook()
    for line in (["edge", "reading"], ["e1", 152]):
        book.active.append(line)
    book.save(folder / "readings.xlsx")
    with zipfile.ZipFile(folder / "readings.xlsx") as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    victim = data.draw(st.sampled_from(sorted(parts)))
    at = data.draw(st.integers(0, len(parts[victim])))
    junk = data.draw(st.sampled_from([b"", b"<", b">", b'"', b"&", b"9" * 20, b"<row r='x'/>", b"\xff"]))
    parts[victim] = parts[victim][:at] + junk + parts[victim][at + data.draw(st.integers(0, 20)) :]
    with zipfile.ZipFile(folder / "readings.xlsx", "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    try:
        table = read_table(folder / "readings.xlsx")
    except TrialError as error:
        assert str(error).startswith("readings.xlsx")
    else:
        assert {"edge", "reading"} <= set(table.names)
