"""An examination in words: the answers first, then every part, and no caveat twice."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from reference.studies import cuts_on_edges, made_study

from sharpstats.tester.examine import Examination
from sharpstats.tester.study import open_tester
from sharpstats.words.display import as_html, as_text
from sharpstats.words.tester.examination import QUESTIONS, worth


def examined(folder: Path, table: pd.DataFrame | None = None) -> Examination:
    return open_tester(made_study(folder, table, 'wanted = "15 %"\n')).examine()


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Examination:
    return examined(tmp_path_factory.mktemp("study") / "t")


def test_the_answers_come_first(found: Examination) -> None:
    passage = worth(found)
    assert len(passage.points) >= 5
    text = " ".join(as_text(found).split())
    assert text.startswith("What this tester is worth In brackets: 95 % intervals. - Two cuts ")
    for point in passage.points:
        assert " ".join(point.split()) in text
    first_screen = as_text(passage).splitlines()
    assert len(first_screen) <= 18


def test_every_part_that_is_there_stands_under_its_question(found: Examination) -> None:
    lines = as_text(found).splitlines()
    asked = [question for question in QUESTIONS.values() if question in lines]
    assert asked == [QUESTIONS[name] for name in QUESTIONS if name in found.parts]


def test_no_caveat_is_told_twice(found: Examination) -> None:
    points = [line for line in as_text(found).split("\n- ")[1:] if line.startswith("A cut is destructive")]
    assert len(points) == 1


def test_what_cannot_be_told_says_why_in_place_of_the_answer(tmp_path: Path) -> None:
    flat = examined(tmp_path / "t", cuts_on_edges(1).assign(reading=150))
    text = " ".join(as_text(flat).split())
    assert f"{QUESTIONS['spreads']} All 96 readings are 150" in text


def test_probable_slips_come_before_the_numbers_that_they_spoil(tmp_path: Path) -> None:
    table = cuts_on_edges(1)
    table.loc[5, "reading"] = round(table.loc[5, "reading"] * 0.00980665, 3)  # in N, and nothing says so
    loads = [0.05, 0.1, 0.2] * 2
    masses = pd.DataFrame({"mass_g": loads, "reading": [1000 * load + 1 + i % 2 for i, load in enumerate(loads)]})
    study = open_tester(made_study(tmp_path / "t", table, "", masses=masses))
    assert [note.code for note in study.cautions] == ["reading-far-off", "unit-unlikely"]
    first, second, *_ = worth(study.examine()).paragraphs
    assert first.startswith("Look at this first: 1 reading(s) lie more than 4 times")
    assert "as if they were written in kg" in second


def test_names_are_letters_and_no_markup(tmp_path: Path) -> None:
    odd = cuts_on_edges(3)
    odd["operator"] = odd["operator"].map(lambda name: f"<b>{name}</b>")
    html = as_html(examined(tmp_path / "t", odd))
    assert "<b>o0" not in html
    assert "&lt;b&gt;o0" in html
