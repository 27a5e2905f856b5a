"""All pictures of an examination: each under a name of its own, none where there is nothing to draw."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from sharpstats.figures.tester.album import PICTURES, pictures
from sharpstats.tester.examine import Examination
from sharpstats.tester.study import open_tester
from sharpstats.words.tester.examination import QUESTIONS


@pytest.fixture(scope="module")
def demo_study() -> Examination:
    return open_tester(Path(__file__).parents[3] / "datasets" / "tester-study").examine()


def test_every_picture_has_a_name_and_a_sentence_of_its_own(demo_study: Examination) -> None:
    drawn = [picture for name in QUESTIONS for picture in pictures(demo_study, name)]
    assert len(drawn) >= len(PICTURES) + 1
    assert len({picture.name for picture in drawn}) == len(drawn)
    assert len({picture.alt for picture in drawn}) == len(drawn)


def test_two_agreements_do_not_take_the_same_file(demo_study: Examination) -> None:
    twice = replace(demo_study, agreements=demo_study.agreements * 2)
    assert [picture.name for picture in pictures(twice, "agreements")] == ["agreement", "agreement-2"]


def test_nothing_is_drawn_of_a_part_that_is_missing(demo_study: Examination) -> None:
    assert pictures(replace(demo_study, smallest=None), "smallest") == []
    assert pictures(replace(demo_study, round_robin=None), "round_robin") == []
    assert pictures(demo_study, "needed") == []


def test_the_difference_that_is_wanted_is_drawn(demo_study: Examination) -> None:
    (with_line,) = pictures(demo_study, "smallest")
    (without,) = pictures(replace(demo_study, needed=()), "smallest")
    assert "wanted" in with_line.alt
    assert "wanted" not in without.alt
