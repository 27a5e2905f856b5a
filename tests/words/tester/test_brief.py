"""The short sentences: the same numbers as in the long ones, and no more than fits a first screen."""

from __future__ import annotations

from pathlib import Path

import pytest
from reference.studies import cuts_on_edges, made_study

from sharpstats.tester.budget import budget
from sharpstats.tester.contribution import Contribution
from sharpstats.tester.examine import Examination
from sharpstats.tester.rounding import find_rounding
from sharpstats.tester.study import open_tester
from sharpstats.words.numbers import from_scale
from sharpstats.words.tester.brief import brief
from sharpstats.words.tester.examination import QUESTIONS, results

LONGEST = 160


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Examination:
    folder = tmp_path_factory.mktemp("study") / "t"
    return open_tester(made_study(folder, None, 'wanted = "15 %"\n')).examine()


def test_each_part_is_one_short_sentence(found: Examination) -> None:
    said = {name: [brief(result) for result in results(found, name)] for name in QUESTIONS}
    assert sum(map(len, said.values())) >= 5
    for sentence in (sentence for told in said.values() for sentence in told):
        assert sentence.endswith(".")
        assert len(sentence) <= LONGEST


def test_numbers_are_those_of_the_results(found: Examination) -> None:
    assert found.spreads is not None
    assert found.smallest is not None
    r = from_scale(found.spreads.limits["r"].estimate, found.spreads.scale)
    assert f"less than {r:.0f}\xa0%" in brief(found.spreads)
    four = from_scale(float(found.smallest.smallest[0, list(found.smallest.cuts).index(4)]), found.smallest.scale)
    assert f"{four:.0f}\xa0% with 4" in brief(found.smallest)
    needed = found.needed[0]
    assert f"it takes {needed.cuts}\xa0cut" in brief(needed)


def test_one_operator_is_not_told_about_two(tmp_path: Path) -> None:
    alone = cuts_on_edges(1).assign(operator="o1")
    spreads = open_tester(made_study(tmp_path / "t", alone, "")).examine().spreads
    assert "by two" not in brief(spreads)


def test_an_uncertainty_larger_than_the_reading_says_so() -> None:
    vague = Contribution(name="operators", standard=60.0, kind="A", df=1.0)
    told = brief(budget([vague], reading=200.0, unit="gf", seed=1))
    assert "by more than all of it, 762\xa0gf either way" in told
    assert told.endswith("little is known of one part: operators.")


def test_a_habit_is_told_with_the_step() -> None:
    readings = cuts_on_edges(4)
    readings["reading"] = (readings["reading"].astype(float) / 5).round() * 5
    told = brief(find_rounding(readings, unit="gf", scale="log", level=0.95, seed=1))
    assert told.startswith("Readings are rounded to 5\xa0gf: ")


def test_a_shop_that_stands_apart_is_named() -> None:
    round_robin = open_tester(Path(__file__).parents[3] / "datasets" / "tester-study").examine().round_robin
    assert brief(round_robin).endswith(" Shop quarry stands apart.")
