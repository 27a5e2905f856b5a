"""The comparison of R's results made anew: what counts as the same, and what is told when it is not."""

from __future__ import annotations

import shutil
import sys
from copy import deepcopy
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from reference import regenerate
from reference.stored import stored_json

OATS = stored_json("r/lmm_oats")


def test_a_file_agrees_with_itself_in_thousands_of_values() -> None:
    kept, short = regenerate.compare(OATS, OATS)
    assert short == []
    assert set(kept.values()) == {16.0}
    assert len(kept) > 3000


@pytest.mark.parametrize(("change", "digits"), [(1e-4, 4), (1e-7, 7), (-1e-8, 8)])
def test_a_number_that_moved_is_told_with_its_place(change: float, digits: int) -> None:
    moved = deepcopy(OATS)
    moved["reml"]["criterion"] *= 1 + change
    kept, (line,) = regenerate.compare(OATS, moved)
    assert round(kept["reml/criterion"]) == digits
    assert line.startswith("reml/criterion: 529.028") and line.endswith(f"({digits}.0 digits, 9 asked)")


def test_what_r_finds_numerically_may_move_more() -> None:
    moved = deepcopy(OATS)
    moved["satterthwaite"]["coefficients"][0]["df"] *= 1 + 1e-7
    assert regenerate.compare(OATS, moved)[1] == []
    moved["kenward_roger"]["coefficients"][0]["df"] *= 1 + 1e-7
    assert len(regenerate.compare(OATS, moved)[1]) == 1


def test_a_missing_value_and_another_word_are_told() -> None:
    moved = deepcopy(OATS)
    del moved["reml"]["sigma"]
    moved["varcomp"][0]["component"] = "Blocks"
    short = regenerate.compare(OATS, moved)[1]
    assert short[0] == "reml/sigma is only in one of the two"
    assert short[1].startswith("varcomp/0/component: Variety:Block became Blocks (0.0 digits")


def test_other_versions_are_no_difference_of_numbers() -> None:
    moved = deepcopy(OATS)
    moved["versions"]["lme4"] = "9.9"
    assert regenerate.compare(OATS, moved)[1] == []


def test_every_case_has_its_script_and_every_script_its_case() -> None:
    scripts = {path.stem for path in regenerate.FOLDER.glob("*.R")}
    helpers = {"common", "lmm_common", "lme_spread_common", "make_data"}
    assert scripts - helpers == set(regenerate.cases())


def test_without_r_it_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "which", lambda name: None)
    with pytest.raises(SystemExit, match=r"^R is not here\. On Debian, as root: python .*regenerate\.py --install$"):
        regenerate.main([])


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("Rscript") is None, reason="R is not installed")
def test_r_says_the_same_today(capsys: pytest.CaptureFixture[str]) -> None:
    """Needs R with the packages that `regenerate.PACKAGES` names; two minutes."""
    assert regenerate.main([]) == 0, capsys.readouterr().out
