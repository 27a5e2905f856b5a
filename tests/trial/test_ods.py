from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sharpstats.errors import TrialError
from sharpstats.trial.ods import read_ods
from sharpstats.trial.read import read_table

HEAD = (
    '<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body><office:spreadsheet>'
)
TAIL = "</office:spreadsheet></office:body></office:document-content>"


def cell(text: str, attributes: str = "") -> str:
    return f'<table:table-cell office:value-type="string" {attributes}>{text}</table:table-cell>'


def row(*cells: str, attributes: str = "") -> str:
    return f"<table:table-row {attributes}>{''.join(cells)}</table:table-row>"


def texts(*words: str) -> str:
    return row(*(cell(f"<text:p>{word}</text:p>") for word in words))


def write(path: Path, *rows: str) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("content.xml", f'{HEAD}<table:table table:name="S">{"".join(rows)}</table:table>{TAIL}')
    return path


def test_spaces_tabs_lines_and_remarks_inside_a_cell(tmp_path: Path):
    inside = (
        '<office:annotation><text:p>not this</text:p></office:annotation><text:p>a<text:s text:c="2"/>b<text:tab/>'
        "<text:span>c</text:span><text:line-break/>d</text:p><text:p>e</text:p>"
    )
    path = write(tmp_path / "readings.ods", row(cell(inside)))
    assert read_ods(path, "readings.ods")["S"].rows == [["a  b\tc\nd\ne"]]


def test_repeated_cells_and_rows_are_repeated(tmp_path: Path):
    path = write(
        tmp_path / "readings.ods",
        row(
            cell("", 'table:number-columns-repeated="2"'),
            cell("<text:p>x</text:p>", 'table:number-columns-repeated="2"'),
        ),
        row(cell(""), attributes='table:number-rows-repeated="2"'),
        row(cell("<text:p>y</text:p>"), attributes='table:number-rows-repeated="2"'),
    )
    assert read_ods(path, "readings.ods")["S"].rows == [["", "", "x", "x"], [], [], ["y"], ["y"]]


def test_the_million_blank_rows_at_the_end_cost_nothing(tmp_path: Path):
    path = write(
        tmp_path / "readings.ods",
        texts("edge", "reading"),
        texts("e1", "152"),
        row(cell("", 'table:number-columns-repeated="16384"'), attributes='table:number-rows-repeated="1048574"'),
    )
    assert len(read_ods(path, "readings.ods")["S"].rows) == 2


@pytest.mark.parametrize(
    "rows",
    [
        [row(cell("<text:p>x</text:p>", 'table:number-columns-repeated="999999999"'))],
        [row(cell("<text:p>x</text:p>"), attributes='table:number-rows-repeated="999999999"')],
        [row(cell("", 'table:number-columns-repeated="999999"'), cell("<text:p>x</text:p>"))],
        [row(attributes='table:number-rows-repeated="99999999"'), texts("x")],
    ],
)
def test_a_sheet_without_end_is_refused(tmp_path: Path, rows: list[str]):
    path = write(tmp_path / "readings.ods", *rows)
    with pytest.raises(TrialError, match=r"^readings\.ods has a sheet of more than 1,048,576 rows or 1,000 columns\."):
        read_table(path)


WORD = st.sampled_from(
    ["edge", "reading", "<", ">", "/", '"', "&lt;", "&x;", "table:table-row", "text:p", "office:value", "1e9"]
)


@settings(max_examples=60)
@given(st.lists(WORD, max_size=12))
def test_broken_xml_is_read_or_refused(tmp_path_factory, words: list[str]):
    path = write(tmp_path_factory.getbasetemp() / "readings.ods", texts("edge", "reading"), " ".join(words))
    try:
        table = read_table(path)
    except TrialError as error:
        assert str(error).startswith("readings.ods")
    else:
        assert table.names[:2] == ("edge", "reading")
