from __future__ import annotations

import pytest

from sharpstats.errors import TrialError
from sharpstats.trial.header import complain_of_missing, find_header


def names_of(*rows: list[str], known: tuple[str, ...] = ()) -> tuple[str, ...]:
    return find_header(rows, "readings.csv", known).names


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("Reading", "reading"),
        (" READINGS ", "reading"),
        ("Reading (gf)", "reading"),
        ("reading [N]", "reading"),
        ("reading\n(gf)", "reading"),
        ("Start reading (gf)", "start_reading"),
        ("Filament lot", "filament_lot"),
        ("set-aside", "set_aside"),
        ("Edge no.", "edge"),
        ("Blade ID", "blade"),
        ("Pressure (N)", "pressure_n"),
        ("Position (mm)", "position_mm"),
        ("Minutes (min)", "minutes"),
    ],
)
def test_a_column_is_known_by_its_meaning(written: str, meant: str):
    header = find_header([[written, "medium"]], "readings.csv")
    assert header.names == (meant, "medium")
    assert [note.code for note in header.notes] == ["header-spelling"]


@pytest.mark.parametrize("written", ["reading (lbf)", "force", "reading (%)", "minutes (s)", "position (cm)", "hedge"])
def test_a_column_that_may_mean_something_else_keeps_its_name(written: str):
    assert names_of(["edge", written]) == ("edge", written)


def test_the_unit_of_the_header_is_kept():
    header = find_header([["edge", "Reading (N)", "start_reading [g]"]], "readings.csv")
    assert dict(header.units) == {"reading": "N", "start_reading": "gf"}


def test_spellings_are_told_once():
    header = find_header([["Edge", "Reading (gf)", "medium"]], "readings.csv")
    assert [note.text for note in header.notes] == [
        'readings.csv: column names were read by their meaning: "Edge" as edge, "Reading (gf)" as reading.'
    ]


def test_title_rows_above_are_passed_over_and_told():
    header = find_header([["Trial of May", "", ""], [], ["edge", "medium", "reading"]], "readings.csv")
    assert (header.index, header.names) == (2, ("edge", "medium", "reading"))
    assert header.notes[0].text == "readings.csv: 1 row(s) above the header were passed over."


def test_a_header_over_two_merged_rows_is_put_together():
    rows = [["edge", "cut", "outcome", ""], ["", "", "reading", "note"]]
    assert names_of(*rows) == ("edge", "cut", "reading", "note")


def test_a_group_row_above_the_header_is_no_part_of_it():
    rows = [["identity", "", "outcome"], ["edge", "cut", "reading"]]
    assert names_of(*rows) == ("edge", "cut", "reading")


def test_a_name_in_full_wins_over_one_that_only_means_it():
    assert names_of(["edge", "edge no", "reading"]) == ("edge", "edge no", "reading")


def test_columns_of_the_plan_are_known_too():
    assert names_of(["edge", "GRIT ", "reading"], known=("grit",)) == ("edge", "grit", "reading")


def test_a_name_that_was_guarded_is_as_it_was():
    assert names_of(["edge", "reading", "'=x"]) == ("edge", "reading", "=x")


def test_columns_that_sharpstats_adds_are_renamed():
    header = find_header([["edge", "reading", "row"]], "readings.csv")
    assert header.names == ("edge", "reading", "row (as read)")
    assert [note.code for note in header.notes] == ["reserved-name"]


def test_columns_twice_are_refused():
    with pytest.raises(TrialError, match=r'^readings\.csv has "edge" more than once in its header\. Give each column'):
        complain_of_missing(names_of(["edge", "Edge", "reading"]), "readings.csv")


def test_two_spellings_of_one_column_are_refused():
    with pytest.raises(TrialError, match='"reading" more than once'):
        complain_of_missing(names_of(["edge", "Reading (gf)", "readings"]), "readings.csv")


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (["edge", "redding"], 'no column "reading"; its columns are "edge" and "redding". If you mean "redding"'),
        (["reading", "medium"], 'no column "edge"; its columns are "reading" and "medium". Name the column'),
        (["a", "b"], 'no column "edge" and "reading"; its columns are "a" and "b".'),
        (["", ""], 'no column "edge" and "reading"; its header is blank.'),
    ],
)
def test_a_missing_column_is_named_beside_those_there_are(row: list[str], says: str):
    with pytest.raises(TrialError) as caught:
        complain_of_missing(names_of(row), "readings.csv")
    assert says in str(caught.value)
