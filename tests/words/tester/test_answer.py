"""One part of an examination in a report: told, or why it is missing, or not at all."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from sharpstats.tester.examine import Examination
from sharpstats.tester.study import open_tester
from sharpstats.units import Quantity
from sharpstats.words.tester.answer import NOT_ASKED, WITHOUT_CUTS, answer
from sharpstats.words.tester.examination import NOTHING, QUESTIONS, worth


def examined(folder: Path, plan: str = "", **files: str) -> Examination:
    (folder / "tester.toml").write_text(f'title = "T"\n{plan}', encoding="utf-8")
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return open_tester(folder).examine()


@pytest.fixture
def flat(tmp_path: Path) -> Examination:
    """Cuts that all read the same: nothing can be told."""
    return examined(tmp_path, readings="edge,reading\ne1,150\ne1,150\ne2,150\n")


def test_every_missing_part_says_why(flat: Examination) -> None:
    told = {name: one for name in QUESTIONS if (one := answer(flat, name)) is not None}
    assert set(QUESTIONS) - set(told) == {"mass_drift"}
    assert "All 3 readings are 150." in str(told["spreads"])
    for name in ("smallest", "needed", "calibration", "agreements", "round_robin"):
        assert " ".join(str(told[name]).split()) == NOT_ASKED[name]
    assert worth(flat).paragraphs == (NOTHING,)
    assert worth(flat).points == ()


def test_the_same_reason_is_not_told_twice(flat: Examination) -> None:
    plan = replace(flat.study.plan, wanted=Quantity(10, "%"))
    assert answer(replace(flat, study=replace(flat.study, plan=plan)), "needed") is None


def test_a_study_without_cuts_on_edges_is_silent_about_them(tmp_path: Path) -> None:
    rows = "".join(f"{shop},x,{cut},{150 + 3 * shop + 2 * cut}\n" for shop in range(4) for cut in (1, 2, 3))
    found = examined(tmp_path, shops=f"shop,batch,cut,reading\n{rows}")
    told = {name for name in QUESTIONS if answer(found, name) is not None}
    assert told == {"calibration", "round_robin"} <= {*WITHOUT_CUTS}
    assert len(worth(found).points) == 1


def test_no_caveat_is_told_twice() -> None:
    found = open_tester(Path(__file__).parents[3] / "datasets" / "tester-study").examine()
    texts = [str(answer(found, name)) for name in QUESTIONS]
    points = [line for text in texts for line in text.splitlines() if line.startswith("- A cut is destructive")]
    assert len(points) == 1
