"""Blocks are shown twice from one source: as HTML and as text."""

from __future__ import annotations

import re

import pandas as pd
import pytest

from sharpstats.words.blocks import Block, Card, Folded, Heading, Line, Points, Table, to_html, to_text
from sharpstats.words.tables import label

FRAME = pd.DataFrame({"term": ["slate"]})
COLUMNS = (label("term", "medium"),)
EVERY: tuple[Block, ...] = (
    Heading("A <heading>"),
    Line("A <line>"),
    Points(("A <point>",)),
    Table(FRAME, "A <caption>", COLUMNS),
    Card("open", "A <claim>", "a <verdict>", ("A <detail>.",)),
    Folded("A <summary>", (Line("A <fold>"),)),
)


@pytest.mark.parametrize("block", EVERY, ids=lambda block: type(block).__name__)
def test_text_of_a_block_is_escaped_in_html_and_plain_in_text(block: Block) -> None:
    word = re.findall(r"<(heading|line|point|caption|claim|summary)>", str(block))[0]
    assert f"&lt;{word}&gt;" in to_html([block])
    assert f"<{word}>" not in to_html([block])
    assert f"<{word}>" in to_text([block])


def test_a_card_as_text() -> None:
    card = Card("shown", "Slate does it", "the same to within your 15 %", ("16 edges each.", "A second sentence."))
    assert to_text([card]).splitlines() == [
        "Slate does it",
        "  shown         the same to within your 15 %.",
        "                16 edges each.",
        "                A second sentence.",
    ]


def test_a_card_marks_its_finding_with_shape_and_word() -> None:
    marks = {}
    for finding in ("shown", "contradicted", "open"):
        html = to_html([Card(finding, "c", "v", ())])
        assert f'class="ss-card ss-{finding}"' in html
        assert f"<strong>{finding}</strong>" in html
        marks[finding] = re.findall(r'<span aria-hidden="true">(.)</span>', html)[0]
    assert len(set(marks.values())) == 3


def test_colours_are_left_to_the_page_around() -> None:
    assert not re.search(r"(?<!-)color:|#[0-9a-f]{3,6}\b", to_html(EVERY))


def test_class_names_are_our_own() -> None:
    names = " ".join(re.findall(r'class="([^"]*)"', to_html(EVERY))).split()
    assert names and all(name.startswith("ss-") for name in names)


def test_text_is_no_wider_than_a_terminal() -> None:
    long = Card("open", "word " * 60, "x" * 300, ("word " * 60,))
    assert max(map(len, to_text([long, Line("word " * 60), Points(("word " * 60,))]).splitlines())) <= 100


def test_a_folded_table_is_left_out_of_text_and_a_folded_list_is_not() -> None:
    folded = Folded("More", (Table(FRAME, "c", COLUMNS),))
    assert to_text([folded]) == "(More: shown in a notebook)"
    assert to_text([Folded("Repairs: 4", (Points(("One.", "Two.")),))]) == "Repairs: 4\n- One.\n- Two."
    assert "slate" in to_html([folded])


def test_tables_and_cards_stand_apart_in_text() -> None:
    table = Table(FRAME, "Caption", COLUMNS)
    assert to_text([Line("Before."), table, Line("After.")]).split("\n\n") == [
        "Before.",
        "Caption\nmedium\nslate",
        "After.",
    ]
