"""Known loads in words: each sentence says what the numbers say, and chance is told from what is not."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from sharpstats.tester.line import Force
from sharpstats.tester.masses import weigh
from sharpstats.words.display import as_text
from sharpstats.words.tester.masses import bias_sentence, force_sentence, line_sentence


def table(slope: float = 1.03, back: float = 2.0, shift: float = 0.0, seed: int = 0, series: int = 4) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    loads = [(0, ""), (100, "up"), (200, "up"), (300, "up"), (200, "down"), (100, "down"), (0, "")]
    rows = [(one, load, side, slope * load + back * (side == "down") + shift * (place == 6) + 0.4 * rng.normal())
            for one in range(series) for place, (load, side) in enumerate(loads)]  # fmt: skip
    return pd.DataFrame(rows, columns=["series", "applied", "direction", "reading"])


def said(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").split())


def test_the_first_sentence_names_the_load_where_the_tester_is_farthest_off() -> None:
    found = weigh(table(), unit="gf")
    text = said(bias_sentence(found))
    assert text.startswith("Farthest off, under 300 gf, the tester shows 309")
    assert re.search(r"gf too much \(\+(2\.9|3\.0|3\.1) %\)", text)
    assert "That is more than chance would do (95 % interval: +" in text
    assert "too little" in bias_sentence(weigh(table(slope=0.95), unit="gf"))


def test_a_tester_without_error_is_cleared() -> None:
    found = weigh(table(slope=1.0, back=0.0, seed=3), unit="gf")
    assert "too much (+0.1 %). Chance alone could do as much (95 %" in said(bias_sentence(found))
    assert "That agrees with a tester that shows what it should (p = " in said(line_sentence(found))


def test_the_slope_is_told_in_percent_with_its_interval() -> None:
    text = said(line_sentence(weigh(table(), unit="gf")))
    assert "For each gf of load the reading grows by 1.0" in text
    assert " % too much (95 % interval: 1.0" in text
    assert "would hardly do that (p < 0.001)" in text


def test_hysteresis_and_zero_are_told_with_their_direction() -> None:
    text = said(as_text(weigh(table(back=2.0, shift=-3.0), unit="gf")))
    assert re.search(r"On the way down the tester shows [12]\.\d gf more \(95 % interval: .* more\) than on the way up",
                     text)  # fmt: skip
    assert re.search(r"Without a load it shows (2\.\d|3|3\.\d) gf less \(95 % interval: .* less\) after a series", text)


def test_a_corrected_reading_is_told_as_an_example() -> None:
    found = weigh(table(), unit="gf")
    behind = found.line.force_behind(210.0)
    text = said(force_sentence(behind))
    assert text.startswith(f"A reading of 210 gf stands for a force of {behind.estimate:.1f} gf (95 % interval for a ")


@pytest.mark.parametrize(
    ("shape", "says"), [("everything", "could stand for any force"), ("outside", "rules out only forces between")]
)
def test_fiellers_odd_sets_are_told_in_words(shape: str, says: str) -> None:
    force = Force(reading=5.0, readings=1, unit="gf", estimate=40.0, low=-10.0, high=90.0, level=0.95, shape=shape)  # type: ignore[arg-type]
    assert says in said(force_sentence(force))


def test_one_series_says_that_no_interval_can_be_given() -> None:
    text = said(as_text(weigh(table(series=1), unit="gf")))
    assert "(no interval can be given)" in text
    assert "All readings count as independent" in text


def test_every_load_has_its_row_and_safety_its_place() -> None:
    text = said(as_text(weigh(table(), unit="N")))
    for load in ("0", "100", "200", "300"):
        assert f" {load} " in text
    assert "hands and feet from under them" in text


def test_a_tester_that_reads_the_same_both_ways_is_said_in_good_grammar() -> None:
    frame = table(series=3)
    frame["reading"] = 1.013 * frame["applied"].round(0)
    frame["reading"] = frame["reading"].round(0)
    text = said(as_text(weigh(frame, unit="gf")))
    assert "the same to within rounding (no interval can be given) as on the way up" in text


def test_a_bow_that_hangs_down_at_its_ends_is_not_above_by_a_negative_number() -> None:
    frame = table()
    frame["reading"] -= (frame["applied"] - frame["applied"].mean()) ** 2 / 2000
    text = said(as_text(weigh(frame, unit="gf")))
    assert re.search(r"its ends lie \d+(\.\d)? gf lower \(95 % interval: .* lower\) than its middle", text)


def test_a_corrected_reading_shows_itself_and_says_of_how_many_it_is() -> None:
    line = weigh(table(), unit="gf").line
    assert said(str(line.force_behind(210.0))).endswith("gf).")
    assert "interval for a single reading: " in said(str(line.force_behind(210.0)))
    assert "interval for the mean of 3 readings: " in said(str(line.force_behind(210.0, 3)))
