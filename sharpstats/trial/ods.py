"""The sheets of an ODS file as rows of text, straight from its XML."""

from __future__ import annotations

import zipfile
from pathlib import Path
from xml.etree import ElementTree

from sharpstats.trial.sheetrows import MOST_COLUMNS, SheetRows

_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_CELLS = (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell")
_BREAKS = {f"{_TEXT}tab": "\t", f"{_TEXT}line-break": "\n"}


def read_ods(path: Path, name: str) -> dict[str, SheetRows]:
    """Read every sheet of a document.

    Parameters
    ----------
    path : Path
        An ODS file that `check_archive` has let pass.
    name : str
        What the file is called in messages.

    Returns
    -------
    dict of str to SheetRows
        By name of the sheet.
    """
    sheets: dict[str, SheetRows] = {}
    blank = 0
    with zipfile.ZipFile(path) as archive, archive.open("content.xml") as content:
        for event, element in ElementTree.iterparse(content, events=("start", "end")):
            if event == "start" and element.tag == f"{_TABLE}table":
                rows = sheets[str(element.get(f"{_TABLE}name", len(sheets) + 1))] = SheetRows()
                blank = 0
            elif event == "end" and element.tag == f"{_TABLE}table-row":
                blank = _add_row(element, rows, blank, name)
                element.clear()
    return sheets


def _add_row(row: ElementTree.Element, rows: SheetRows, blank: int, name: str) -> int:
    """Add a row; blank rows wait until one with text follows, as a sheet may end with a million of them."""
    times = _times(row, "number-rows-repeated")
    cells = _cells(row)
    if not cells:
        return blank + times
    if blank:
        rows.add((), name, blank)
    at = len(rows.rows) + 1
    values: list[object] = [None] * (max(cells) + 1)
    for column, cell in cells.items():
        values[column] = _value(cell)
    rows.add(values, name, times)
    for column, cell in cells.items():
        _note(cell, column, at, rows)
    return 0


def _times(element: ElementTree.Element, attribute: str) -> int:
    text = element.get(f"{_TABLE}{attribute}", "1")
    return max(1, int(text)) if text.isdecimal() and len(text) < 10 else 1


def _cells(row: ElementTree.Element) -> dict[int, ElementTree.Element]:
    """Return the cells that hold something, by column; a repeated cell stands in each of its columns."""
    found: dict[int, ElementTree.Element] = {}
    at = 0
    for cell in row:
        if cell.tag not in _CELLS:
            continue
        times = _times(cell, "number-columns-repeated")
        if _value(cell) is not None or _formula(cell):
            # one column too many is kept, so that a row that is too wide is refused and not cut
            found |= dict.fromkeys(range(at, min(at + times, max(at, MOST_COLUMNS) + 1)), cell)
        at += times
    return {min(column, MOST_COLUMNS): cell for column, cell in found.items()}


def _value(cell: ElementTree.Element) -> object:
    kind = cell.get(f"{_OFFICE}value-type", "")
    if kind in ("float", "percentage", "currency"):
        return float(cell.get(f"{_OFFICE}value", "nan"))
    if kind == "date":
        return cell.get(f"{_OFFICE}date-value", "").removesuffix("T00:00:00") or None
    if kind == "boolean":
        return cell.get(f"{_OFFICE}boolean-value", "").upper() or None
    written = cell.get(f"{_OFFICE}string-value")
    paragraphs = [_text(part) for part in cell if part.tag == f"{_TEXT}p"]  # not those of a comment in the cell
    return written or "\n".join(paragraphs) or None


def _text(element: ElementTree.Element) -> str:
    parts = [element.text or ""]
    for child in element:
        if child.tag == f"{_TEXT}s":
            count = child.get(f"{_TEXT}c", "1")
            parts.append(" " * (min(int(count), 1000) if count.isdecimal() and len(count) < 6 else 1))
        elif child.tag in _BREAKS:
            parts.append(_BREAKS[child.tag])
        elif not child.tag.startswith(_OFFICE):
            parts.append(_text(child))
        parts.append(child.tail or "")
    return "".join(parts)


def _formula(cell: ElementTree.Element) -> str:
    formula = cell.get(f"{_TABLE}formula", "")
    return formula[formula.find("=") :] if "=" in formula else formula


def _note(cell: ElementTree.Element, column: int, row: int, rows: SheetRows) -> None:
    if formula := _formula(cell):
        rows.add_formula(row, column, formula)
    down, right = _times(cell, "number-rows-spanned"), _times(cell, "number-columns-spanned")
    if down > 1 or right > 1:
        rows.merged.append((row, column, row + down - 1, column + right - 1))
