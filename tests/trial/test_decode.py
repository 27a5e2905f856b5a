from __future__ import annotations

import random

import pytest

from sharpstats.errors import TrialError
from sharpstats.trial.decode import decode

TEXT = "edge,reading\nKäthe,152\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252"])
def test_text_comes_through_whatever_its_encoding(encoding: str):
    assert decode(TEXT.encode(encoding), "readings.csv").data.decode("utf-8") == TEXT


@pytest.mark.parametrize(
    ("encoding", "says"),
    [
        ("utf-8-sig", "readings.csv: the file begins with a byte order mark; it was read accordingly."),
        ("utf-16", "readings.csv: the file begins with UTF-16; it was read accordingly."),
        ("utf-16-le", "readings.csv: the file was read as UTF-16."),
        ("cp1252", "readings.csv: the file is not UTF-8 and was read as Windows-1252; look at names with accents."),
    ],
)
def test_an_unusual_encoding_is_told_once(encoding: str, says: str):
    assert [note.text for note in decode(TEXT.encode(encoding), "readings.csv").notes] == [says]


def test_plain_utf8_needs_no_repair():
    assert decode(TEXT.encode(), "readings.csv").notes == ()


def test_letters_of_an_older_encoding_cost_letters_and_no_file():
    decoded = decode("edge,reading\nSchl\u00fcter,152\n".encode("cp437"), "readings.csv")
    assert decoded.data.decode() == "edge,reading\nSchl\ufffdter,152\n"
    assert decoded.notes[0].text.endswith("look at names with accents, of which 1 character(s) could not be read.")


def test_nul_bytes_are_taken_out_and_counted():
    decoded = decode(b"edge,reading\ne1,1\x0052\n" + b"e2,150\n" * 20, "readings.csv")
    assert decoded.data.startswith(b"edge,reading\ne1,152\n")
    assert [note.text for note in decoded.notes] == ["readings.csv: 1 NUL byte(s) were taken out."]


def test_carriage_returns_alone_end_lines():
    assert decode(b"edge,reading\re1,152\r", "readings.csv").data == b"edge,reading\ne1,152\n"


@pytest.mark.parametrize("data", [b"", b" \n\n", b"\xef\xbb\xbf", b"\xff\xfe"])
def test_an_empty_file_is_refused(data: bytes):
    with pytest.raises(TrialError, match=r"^readings\.csv is empty\. Give it a header and a row for each cut\.$"):
        decode(data, "readings.csv")


def test_noise_is_refused():
    noise = random.Random(3).randbytes(100_000)
    with pytest.raises(TrialError, match=r"^readings\.csv is not a text file\. Save the readings as CSV"):
        decode(noise, "readings.csv")


def test_a_workbook_with_the_wrong_ending_is_named():
    with pytest.raises(TrialError, match=r"is a workbook or an archive, not a CSV file\. Rename it to end in \.xlsx"):
        decode(b"PK\x03\x04rest", "readings.csv")


def test_half_a_character_of_utf16_is_refused():
    with pytest.raises(TrialError, match="is not a text file"):
        decode("edge,reading\n".encode("utf-16") + b"e", "readings.csv")
