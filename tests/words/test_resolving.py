"""The sentence that holds a margin against what the tester can show."""

from __future__ import annotations

from pathlib import Path

import pytest
from reference.studies import cuts_on_edges, made_study

from sharpstats.claims.resolving import Resolution, resolution
from sharpstats.trial.trial import open_trial
from sharpstats.words.display import as_text
from sharpstats.words.resolving import sentence, warnings


def held(folder: Path, margin: str, cuts: int = 4) -> Resolution:
    made_study(folder / "tester", cuts_on_edges(2))
    trial = folder / "trial"
    trial.mkdir()
    (trial / "trial.toml").write_text(
        f'title = "T"\ntester_study = "../tester"\n[factors]\nmedium = ["A", "B"]\n[layout]\ncuts = {cuts}\n'
        f'[[claim]]\nid = "a-as-b"\nsays = "A does as well as B"\nkind = "same"\nmedium = "A"\nthan = "B"\n'
        f'margin = "{margin}"\n',
        encoding="utf-8",
    )
    (trial / "readings.csv").write_text("edge,medium,cut,reading\ne1,A,1,\ne2,B,1,\n", encoding="utf-8")
    found = resolution(open_trial(trial))
    assert found is not None
    return found


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_a_margin_that_is_larger(tmp_path: Path) -> None:
    found = held(tmp_path, "40 %")
    said = plain(sentence(found.claims[0], found))
    assert said.startswith("your margin of 40 % is larger than the ")
    assert "95 % interval: " in said
    assert "between two edges with 4 cuts each. Where two people cut one edge each it is " in said
    assert warnings(found) == ()


@pytest.mark.parametrize("margin", ["3 %", "10 %"])
def test_a_margin_that_is_smaller_warns_and_says_what_it_takes(tmp_path: Path, margin: str) -> None:
    found = held(tmp_path, margin, cuts=1)
    said = plain(sentence(found.claims[0], found))
    assert f"your margin of {margin} is smaller than the " in said
    assert f" It would take {found.claims[0].enough} cuts on each of two edges to show it." in said
    assert plain(warnings(found)[0]).startswith(f"a-as-b: your margin of {margin} is smaller")


def test_the_whole_says_where_it_comes_from_and_that_averages_see_more(tmp_path: Path) -> None:
    text = " ".join(plain(as_text(held(tmp_path, "15 %"))).split())
    assert 'From the tester study "Made": with the cuts that are planned.' in text
    assert "A does as well as B: your margin" in text
    assert "A trial compares averages of many edges" in text
