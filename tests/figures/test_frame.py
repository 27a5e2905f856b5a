"""What stands around a drawing."""

import pytest

from sharpstats.figures.frame import ROOM, headed, small_lines, strip, titled
from sharpstats.figures.style import SMALL, line_height, styled, text_width


def test_a_sheet_has_room_for_its_lines_and_for_the_rest():
    with styled():
        figure, top = headed("Title", ["one", "two", "three"], 2.0)
    assert top == pytest.approx(0.5 + 3 * line_height(SMALL))
    assert figure.get_size_inches()[1] == pytest.approx(top + 2.0)
    assert [text.get_text() for text in figure.texts] == ["Title", "one\ntwo\nthree"]


def test_sentences_keep_their_own_lines_and_fit_the_sheet():
    lines = small_lines("word " * 40, "Key.")
    assert lines[-1] == "Key."
    assert len(lines) > 2
    assert all(text_width(line, SMALL) <= ROOM for line in lines)


def test_a_strip_counts_inches_from_its_top_left():
    with styled():
        axes = strip(titled("Title", 3.0), 0.5, 0.4)
    assert axes.get_xlim() == (0, ROOM)
    assert axes.get_ylim() == (0.4, 0.0)
    across, down = axes.figure.get_size_inches()
    box = axes.get_position()
    assert (box.width * across, box.height * down) == pytest.approx((ROOM, 0.4))
