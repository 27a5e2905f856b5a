from __future__ import annotations

import csv
import io

from hypothesis import given
from hypothesis import strategies as st

from sharpstats.trial.records import read_records

CELL = st.text(st.sampled_from('ab1 ,;"\n\t'), max_size=6)


def fields(records) -> list[tuple[str, ...]]:
    return list(zip(*(column.to_pylist() for column in records.columns), strict=True))


@given(st.lists(st.tuples(CELL, CELL, CELL), min_size=1, max_size=6))
def test_what_a_csv_writer_writes_is_read_back(rows: list[tuple[str, str, str]]):
    stream = io.StringIO()
    csv.writer(stream, lineterminator="\n", quoting=csv.QUOTE_ALL).writerows(rows)
    records = read_records(stream.getvalue(), ",", 2, ["edge", "note", "reading"], "readings.csv")
    blank = ("", "", "")
    assert [row if any(cell.strip() for cell in row) else blank for row in fields(records)] == [
        row if any(cell.strip() for cell in row) else blank for row in rows
    ]
    assert records.damage == records.notes == ()


@given(st.text(st.sampled_from('ab1,"\n\r'), max_size=60))
def test_no_text_is_lost_or_raises(text: str):
    records = read_records(text, ",", 2, ["edge", "note", "reading"], "readings.csv")
    assert len(records.rows) == len(fields(records))
    assert (records.rows[1:] > records.rows[:-1]).all()
    assert {damage.row for damage in records.damage} <= set(records.rows.tolist())


def test_rows_are_numbered_from_where_the_text_begins():
    records = read_records('e1,x,1\ne2,"y\ny",2\ne3,z,3\n', ",", 7, ["edge", "note", "reading"], "readings.csv")
    assert records.rows.tolist() == [7, 8, 10]
