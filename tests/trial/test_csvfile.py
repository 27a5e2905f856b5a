from __future__ import annotations

import random
import time

import pytest

from sharpstats.errors import TrialError

CLEAN = "edge,medium,reading\ne1,slate,152\ne2,film,148\n"


def rows(table) -> list[list[str]]:
    return table.frame[list(table.names)].to_numpy().tolist()


def codes(table) -> list[str]:
    return [note.code for note in table.repairs]


def test_a_clean_file_is_read_without_a_word(read_text):
    table = read_text(CLEAN)
    assert rows(table) == [["e1", "slate", "152"], ["e2", "film", "148"]]
    assert table.frame["file"].tolist() == ["readings.csv"] * 2
    assert table.frame["row"].tolist() == [2, 3]
    assert table.repairs == table.damage == ()


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_separator_line_end_and_encoding_do_not_matter(read_text, separator: str, end: str, encoding: str):
    text = "edge,medium,reading\ne1,Käsestein,152\ne2,film,148\n"
    table = read_text(text.replace(",", separator).replace("\n", end).encode(encoding))
    assert rows(table) == [["e1", "Käsestein", "152"], ["e2", "film", "148"]]
    assert table.frame["row"].tolist() == [2, 3]


def test_a_separator_other_than_a_comma_is_told(read_text):
    assert [note.text for note in read_text(CLEAN.replace(",", ";")).repairs] == [
        "readings.csv: fields are separated by a semicolon, not a comma."
    ]


def test_decimal_commas_do_not_pass_for_separators(read_text):
    table = read_text("edge;reading;note\ne1;152,5;a,b,c,d\ne2;148,0;x,y\n")
    assert rows(table) == [["e1", "152,5", "a,b,c,d"], ["e2", "148,0", "x,y"]]
    assert table.decimal_comma


@pytest.mark.parametrize("blank", ["\n", ",,\n", " , ,\t\n"])
def test_blank_rows_are_passed_over_and_rows_keep_their_number(read_text, blank: str):
    table = read_text(f"edge,medium,reading\ne1,slate,152\n{blank}{blank}e2,film,148\n{blank}")
    assert table.frame["row"].tolist() == [2, 5]
    assert [note.text for note in table.repairs] == ["readings.csv: 2 blank row(s) were passed over (first: row 3)."]


def test_blank_rows_at_the_end_need_no_word(read_text):
    table = read_text(CLEAN + ",,\n" * 50 + "\n\n")
    assert len(table.frame) == 2
    assert table.repairs == ()


def test_blank_columns_fall_away_and_others_get_a_name(read_text):
    table = read_text("edge,reading,,,\ne1,152,,hm,\n")
    assert table.names == ("edge", "reading", "column 4")
    assert rows(table) == [["e1", "152", "hm"]]
    assert codes(table) == ["unnamed-column", "blank-columns"]


def test_title_rows_shift_no_row_number(read_text):
    table = read_text("Trial of May,,\n\nEdge,Medium,Reading (gf)\ne1,slate,152\n")
    assert rows(table) == [["e1", "slate", "152"]]
    assert table.frame["row"].tolist() == [4]
    assert codes(table) == ["title-rows", "header-spelling"]


def test_a_line_that_names_the_separator_is_a_title_row(read_text):
    table = read_text("sep=;\nedge;reading\ne1;152\n")
    assert rows(table) == [["e1", "152"]]


def test_a_stray_quotation_mark_in_a_title_hides_no_header(read_text):
    table = read_text('"Trial of May\nedge,reading\ne1,152\n')
    assert rows(table) == [["e1", "152"]]
    assert table.frame["row"].tolist() == [3]


def test_a_carriage_return_in_a_title_shifts_no_row_number(read_text):
    table = read_text('Trial\rof May\n"edge","reading"\ne1,152\n')
    assert rows(table) == [["e1", "152"]]
    assert table.frame["row"].tolist() == [3]


def test_quoted_line_breaks_keep_the_row_where_the_record_begins(read_text):
    table = read_text('edge,note,reading\ne1,"one\ntwo",152\ne2,"say ""hm""",148\n')
    assert rows(table) == [["e1", "one\ntwo", "152"], ["e2", 'say "hm"', "148"]]
    assert table.frame["row"].tolist() == [2, 4]


def test_a_header_with_a_line_break_counts_its_lines(read_text):
    table = read_text('edge,"Reading\n(gf)"\ne1,152\n')
    assert table.names == ("edge", "reading")
    assert table.frame["row"].tolist() == [3]


def test_a_quotation_mark_without_a_partner_swallows_nothing(read_text):
    table = read_text('edge,note,reading\ne1,"5 inch blade,152\ne2,thin 5" one,148\ne3,x,150\n')
    assert rows(table) == [["e1", '"5 inch blade', "152"], ["e2", 'thin 5" one', "148"], ["e3", "x", "150"]]
    assert [note.text for note in table.repairs] == [
        "readings.csv: 1 row(s) have a quotation mark without its partner; it was read as a character (first: row 2)."
    ]


def test_rows_with_too_many_fields_are_damaged_not_shifted(read_text):
    table = read_text("edge,reading\ne1,152,5\ne2,148\n")
    assert rows(table)[1] == ["e2", "148"]
    [damage] = table.damage
    assert (damage.file, damage.row, damage.value) == ("readings.csv", 2, "e1,152,5")
    assert damage.reason.startswith("The row has 3 fields where the header has 2. Perhaps a decimal comma")


def test_blank_fields_beyond_the_header_are_left_out(read_text):
    table = read_text("edge,reading\ne1,152,,\ne2,148\n")
    assert rows(table) == [["e1", "152"], ["e2", "148"]]
    assert table.damage == ()
    assert codes(table) == ["extra-fields"]


def test_rows_without_their_last_bookkeeping_fields_are_filled(read_text):
    table = read_text("edge,reading,note,set_aside\ne1,152\ne2,148,hm,\n")
    assert rows(table) == [["e1", "152", "", ""], ["e2", "148", "hm", ""]]
    assert table.damage == ()
    assert codes(table) == ["short-rows"]


@pytest.mark.parametrize(
    "text",
    [
        "edge,medium,reading\ne1,152\n",  # which one is missing?
        "edge,run,reading,minutes\ne1,152,12\n",  # minutes would pass for a reading
        "edge,reading,medium\ne1,152\n",
    ],
)
def test_rows_with_too_few_fields_are_damaged_where_a_shift_could_hide(read_text, text: str):
    table = read_text(text)
    [damage] = table.damage
    assert damage.row == 2
    assert "Give it a field, if only a blank one, for each column." in damage.reason


def test_what_the_guard_did_is_undone(read_text):
    assert rows(read_text("edge,note,reading\n'=e1,'@x,'-5\n")) == [["=e1", "@x", "-5"]]


def test_a_windows_line_break_inside_quotes_is_kept(read_text):
    assert rows(read_text('edge,note,reading\r\ne1,"one\r\ntwo",152\r\n')) == [["e1", "one\r\ntwo", "152"]]


@pytest.mark.parametrize(
    "text",
    [
        CLEAN,
        'edge,medium,reading\ne1,"a ""b"" c",152\n"e,2",film,148\n',
        "edge,medium,reading\ne1,slate,152\n\ne2,film,148\n",
        "edge,medium,reading\r\ne1,slate,152\r\ne2,film,148\r\n",
        "edge;medium;reading\ne1;;152,5\n",
        "edge,medium,reading\n",
    ],
)
def test_the_quick_way_and_the_careful_way_agree(read_text, monkeypatch, text: str):
    quick = read_text(text)
    monkeypatch.setattr("sharpstats.trial.csvfile._needs_care", lambda *_: True)
    careful = read_text(text)
    assert rows(quick) == rows(careful)
    assert quick.frame["row"].tolist() == careful.frame["row"].tolist()
    assert quick.repairs == careful.repairs


def test_a_header_alone_gives_no_rows(read_text):
    table = read_text("edge,medium,reading\n")
    assert len(table.frame) == 0
    assert table.names == ("edge", "medium", "reading")


def test_ten_megabytes_of_noise_are_refused_at_once(read_text):
    noise = random.Random(1).randbytes(10_000_000)
    began = time.perf_counter()
    with pytest.raises(TrialError, match=r"readings\.csv is not a text file"):
        read_text(noise)
    assert time.perf_counter() - began < 2


def test_ten_megabytes_of_printable_noise_are_refused_at_once(read_text):
    noise = random.Random(2).choices(b'abc,;|\t"\n 019', k=10_000_000)
    began = time.perf_counter()
    with pytest.raises(TrialError, match=r'readings\.csv has no column "edge" and "reading"'):
        read_text(bytes(noise))
    assert time.perf_counter() - began < 5


def test_stray_quotes_on_every_row_stay_quick(read_text):
    text = "edge,note,reading\n" + 'e1,"5 inch,152\n' * 20_000
    began = time.perf_counter()
    table = read_text(text)
    assert len(table.frame) == 20_000
    assert time.perf_counter() - began < 8
