"""The methods of a tester study: told for the parts that are there, each with its sources."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from pathlib import Path

import pytest

from sharpstats.tester.examine import Examination
from sharpstats.tester.study import open_tester
from sharpstats.words.tester.methods import METHODS, REFERENCES, SAME_METHOD, study_methods


@pytest.fixture(scope="module")
def examination() -> Examination:
    return open_tester(Path(__file__).parents[3] / "datasets" / "tester-study").examine()


def test_every_part_has_its_method() -> None:
    parts = {field.name for field in fields(Examination)} - {"study", "skipped"}
    assert {SAME_METHOD.get(name, name) for name in parts} == set(METHODS)


@pytest.mark.parametrize("name", METHODS)
def test_each_source_is_named_where_it_is_used(name: str) -> None:
    method = METHODS[name]
    for key in method.sources:
        named = re.match(r"(ISO \d+(?:-\d)?|JCGM \d+|[A-Z]\w+)", REFERENCES[key])
        assert named is not None
        assert named.group() in method.says, (name, key)


def test_only_what_was_done_is_told(examination: Examination) -> None:
    whole, less = study_methods(examination), study_methods(replace(examination, round_robin=None))
    assert set(whole.paragraphs) - set(less.paragraphs) == {METHODS["round_robin"].says}
    assert REFERENCES["mandel"] in whole.points
    assert REFERENCES["mandel"] not in less.points
    assert len(set(whole.points)) == len(whole.points)


def test_rows_are_counted(examination: Examination) -> None:
    counts = examination.study.counts
    first = study_methods(examination).paragraphs[0].replace("\u00a0", " ")
    assert f"Of {counts['read']} rows read, {counts['used']} were used and {counts['set_aside']} set aside" in first
    assert f"seed {examination.study.plan.layout.seed}" in first
