"""XLSX and ODS side by side: what a spreadsheet program may do to readings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import CoveredTableCell, Table, TableCell, TableRow
from odf.text import P
from openpyxl import Workbook

from sharpstats.errors import TrialError
from sharpstats.trial.check import check
from sharpstats.trial.plan import Plan
from sharpstats.trial.read import read_table
from sharpstats.trial.table import TextTable

Sheets = dict[str, list[list[Any]]]
HEADER = ["edge", "medium", "reading"]


def write_xlsx(path: Path, sheets: Sheets, merged: tuple[str, ...] = ()) -> None:
    book = Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
        for area in merged:
            sheet.merge_cells(area)
    book.save(path)


def ods_cell(value: Any) -> TableCell:
    match value:
        case None:
            return TableCell()
        case bool():
            return TableCell(valuetype="boolean", booleanvalue=str(value).lower())
        case int() | float():
            return TableCell(valuetype="float", value=str(value))
        case dt.datetime():
            return TableCell(valuetype="date", datevalue=value.isoformat())
        case _:
            if value.startswith("="):
                return TableCell(formula=f"of:{value}")
            cell = TableCell(valuetype="string")
            for line in value.split("\n"):
                cell.addElement(P(text=line))
            return cell


def write_ods(path: Path, sheets: Sheets) -> None:
    document = OpenDocumentSpreadsheet()
    for title, rows in sheets.items():
        table = Table(name=title)
        for row in rows:
            line = TableRow()
            for value in row:
                line.addElement(ods_cell(value))
            table.addElement(line)
        document.spreadsheet.addElement(table)
    document.save(path)


WRITERS = {".xlsx": write_xlsx, ".ods": write_ods}
ReadSheets = Callable[..., TextTable]


@pytest.fixture(params=WRITERS)
def read_sheets(request, tmp_path: Path) -> ReadSheets:
    """Write sheets as XLSX and as ODS and read them."""

    def read(*rows: list[Any], **sheets: list[list[Any]]) -> TextTable:
        path = tmp_path / f"readings{request.param}"
        WRITERS[request.param](path, {**({"Sheet1": list(rows)} if rows else {}), **sheets})
        return read_table(path)

    return read


def rows(table: TextTable) -> list[list[str]]:
    return table.frame[list(table.names)].to_numpy().tolist()


def codes(table: TextTable) -> list[str]:
    return [note.code for note in table.repairs]


def test_numbers_and_texts_become_text(read_sheets: ReadSheets):
    table = read_sheets(HEADER, ["e1", "slate", 152], ["e2", "film", 148.5], [7.0, True, ">1500"])
    assert rows(table) == [["e1", "slate", "152"], ["e2", "film", "148.5"], ["7", "TRUE", ">1500"]]
    assert table.frame["row"].tolist() == [2, 3, 4]
    assert table.repairs == ()


def test_dates_become_iso_and_a_label_that_became_one_is_pointed_out(read_sheets: ReadSheets):
    table = read_sheets(
        [*HEADER, "taken_at"],
        ["e1", "slate", 152, dt.datetime(2026, 4, 11, 9, 44)],
        [dt.datetime(2026, 6, 5), "film", dt.datetime(2026, 6, 5), None],
    )
    assert rows(table)[0][3].removesuffix(":00") == "2026-04-11T09:44"
    assert rows(table)[1] == ["2026-06-05", "film", "2026-06-05", ""]
    checked = check(table, Plan(title="T", factors={"medium": ("slate", "film")}))
    assert checked.set_aside["code"].tolist() == ["not-a-number"]
    assert checked.readings["taken_at"].notna().tolist() == [True]


def test_numbers_stored_as_text_are_told(read_sheets: ReadSheets):
    table = read_sheets(HEADER, ["1", "slate", "152"], ["2", "film", "'148"], ["3", "film", 150])
    assert rows(table)[0] == ["1", "slate", "152"]
    name = table.frame["file"][0]
    assert [note.text for note in table.repairs] == [
        f"{name}: 2 cell(s) of reading hold a number as text, which was read as a number (first: row 2)."
    ]


def test_blank_and_title_rows_shift_no_row_number(read_sheets: ReadSheets):
    table = read_sheets(
        ["Trial of May"], [], [" Edge", "Medium", "Reading (gf)"], ["e1", "slate", 152], [], [None], ["e2", "film", 148]
    )
    assert table.frame["row"].tolist() == [4, 7]
    assert codes(table) == ["title-rows", "header-spelling", "blank-rows"]


def test_blank_columns_fall_away_and_a_remark_beside_the_table_is_kept(read_sheets: ReadSheets):
    table = read_sheets([*HEADER, None, None], ["e1", "slate", 152, None, "hm"], ["e2", "film", 148])
    assert table.names == (*HEADER, "column 5")
    assert rows(table) == [["e1", "slate", "152", "hm"], ["e2", "film", "148", ""]]


def test_a_formula_without_its_value_is_set_aside(read_sheets: ReadSheets):
    table = read_sheets(HEADER, ["e1", "slate", "=A1+1"], ["e2", "film", 148])
    assert rows(table)[0] == ["e1", "slate", "=A1+1"]
    assert codes(table) == ["formulas"]
    assert "hold a formula; the value stored with it was taken (first: row 2)." in table.repairs[0].text
    checked = check(table, Plan(title="T", factors={"medium": ("slate", "film")}))
    assert checked.set_aside["code"].tolist() == ["formula"]


def test_errors_of_the_spreadsheet_are_set_aside(read_sheets: ReadSheets):
    table = read_sheets(
        HEADER, ["e1", "slate", "#REF!"], ["#N/A", "film", 148], ["e2", "#VALUE!", 150], ["e3", "film", 1]
    )
    checked = check(table, Plan(title="T", factors={"medium": ("slate", "film")}))
    assert checked.set_aside[["column", "code"]].to_numpy().tolist() == [
        ["reading", "spreadsheet-error"], ["edge", "no-edge"], ["medium", "spreadsheet-error"]
    ]  # fmt: skip


def test_texts_with_lines_and_odd_characters_come_through(read_sheets: ReadSheets):
    label = "<script>\n\"x\" & 'y' 🔪"
    table = read_sheets([*HEADER, "note"], ["e1", "slate", 152, label])
    assert rows(table)[0][3] == label


def test_the_sheet_with_the_readings_is_found(read_sheets: ReadSheets):
    table = read_sheets(About=[["Trial of May"]], Data=[HEADER, ["e1", "slate", 152]])
    assert rows(table) == [["e1", "slate", "152"]]
    assert table.repairs[0].text.endswith(': the sheet "Data" was read, and "About" passed over.')


def test_of_two_sheets_with_readings_the_one_of_that_name_is_read(read_sheets: ReadSheets):
    table = read_sheets(Old=[HEADER, ["e1", "slate", 1]], Readings=[HEADER, ["e1", "slate", 2]])
    assert rows(table) == [["e1", "slate", "2"]]


def test_two_sheets_with_readings_are_not_guessed_between(read_sheets: ReadSheets):
    with pytest.raises(TrialError, match=r'has readings in the sheets "May" and "June"\. Name one of them "readings"'):
        read_sheets(May=[HEADER, ["e1", "slate", 1]], June=[HEADER, ["e1", "slate", 2]])


def test_an_empty_workbook_is_refused(read_sheets: ReadSheets):
    with pytest.raises(TrialError, match=r"is empty\. Give it a header and a row for each cut\.$"):
        read_sheets([], [])


def test_a_workbook_without_readings_names_its_columns(read_sheets: ReadSheets):
    with pytest.raises(TrialError, match='has no column "reading"; its columns are "edge" and "force"'):
        read_sheets(["edge", "force"], ["e1", 152])


def test_a_header_alone_gives_no_rows(read_sheets: ReadSheets):
    assert len(read_sheets(HEADER).frame) == 0


def test_merged_cells_give_their_value_to_all_their_rows(tmp_path: Path):
    path = tmp_path / "readings.xlsx"
    data = [
        HEADER,
        ["e1", "slate", 152],
        [None, None, 150],
        [None, None, None],
        ["e2", "film", 148],
        [None, "film", 149],
    ]
    write_xlsx(path, {"Sheet1": data}, merged=("A2:A4", "B2:B3", "C3:C4", "A5:A6"))
    table = read_table(path)
    assert rows(table) == [
        ["e1", "slate", "152"], ["e1", "slate", "150"], ["e1", "", ""], ["e2", "film", "148"], ["e2", "film", "149"]
    ]  # fmt: skip
    assert table.repairs[0].text == (
        "readings.xlsx: 4 cell(s) of edge, medium are merged with the cell above and were given its value "
        "(first: row 3)."
    )


def test_merged_cells_of_an_ods_too(tmp_path: Path):
    document = OpenDocumentSpreadsheet()
    table = Table(name="Sheet1")
    for cells in (HEADER, ["e1", "slate", 152], ["covered", "slate", 150]):
        line = TableRow()
        for value in cells:
            cell = CoveredTableCell() if value == "covered" else ods_cell(value)
            if value == "e1":
                cell.setAttribute("numberrowsspanned", 2)
            line.addElement(cell)
        table.addElement(line)
    document.spreadsheet.addElement(table)
    document.save(tmp_path / "readings.ods")
    assert rows(read_table(tmp_path / "readings.ods")) == [["e1", "slate", "152"], ["e1", "slate", "150"]]


def test_a_title_merged_over_the_header_is_no_column(tmp_path: Path):
    path = tmp_path / "readings.xlsx"
    data = [["identity", None, "outcome"], ["edge", "medium", "reading"], ["e1", "slate", 152]]
    write_xlsx(path, {"Sheet1": data}, merged=("A1:B1",))
    assert rows(read_table(path)) == [["e1", "slate", "152"]]


def test_a_header_merged_over_two_rows_is_put_together(tmp_path: Path):
    path = tmp_path / "readings.xlsx"
    data = [["edge", "medium", "outcome"], [None, None, "reading"], ["e1", "slate", 152]]
    write_xlsx(path, {"Sheet1": data}, merged=("A1:A2", "B1:B2"))
    table = read_table(path)
    assert rows(table) == [["e1", "slate", "152"]]
    assert table.names == ("edge", "medium", "reading")
