"""Labels on one line, not too long, harmless on a terminal."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sharpstats.words.labels import cell_width, clip, listing, one_line, sentence


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("roofing slate", "roofing slate"), ("  a \t b\r\nc ", "a b c"), ("\x1b[31mred\x07", "[31mred"),
        ("abc\u202etxt.exe", "abctxt.exe"), ("5\u00a0gf", "5\u00a0gf"), ("👩🏽\u200d🔧", "👩🏽\u200d🔧"),
        ("a\u2028b", "a b"), (12, "12"), ("a\ud800b", "ab"), ("0\r\x1b", "0"),
    ],
)  # fmt: skip
def test_one_line(text: object, line: str) -> None:
    assert one_line(text) == line


@given(st.text())
def test_no_line_steers_a_terminal(text: str) -> None:
    line = one_line(text)
    assert one_line(line) == line
    assert not any(ord(sign) < 32 or ord(sign) == 127 for sign in line)


@pytest.mark.parametrize(
    ("text", "longest", "clipped"),
    [("slate", 5, "slate"), ("slates", 5, "slat…"), ("old slate", 5, "old…"), ("x" * 300, 60, f"{'x' * 59}…")],
)
def test_clip(text: str, longest: int, clipped: str) -> None:
    assert clip(text, longest) == clipped


@pytest.mark.parametrize(
    ("parts", "text"),
    [([], ""), (["film"], "film"), (["film", "slate"], "film and slate"), (["a", "b", "c"], "a, b and c")],
)
def test_listing(parts: list[str], text: str) -> None:
    assert listing(parts) == text


def test_listing_with_another_last_word() -> None:
    assert listing(["gf", "N"], "or") == "gf or N"


@pytest.mark.parametrize(
    ("text", "told"),
    [("", ""), ("film is keener", "Film is keener."), ("Done.", "Done."), ("why?", "Why?"), ("7 of 8", "7 of 8.")],
)
def test_sentence(text: str, told: str) -> None:
    assert sentence(text) == told


@pytest.mark.parametrize(("text", "width"), [("slate", 5), ("砥石", 4), ("e\u0301", 1), ("😀", 2), ("", 0)])
def test_width_on_a_terminal(text: str, width: int) -> None:
    assert cell_width(text) == width
