"""Agreement in words: direction by name, level beside every interval, what holds for single cuts and for means."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sharpstats.tester.agreement import Agreement, agree, agree_pairs
from sharpstats.units import Quantity
from sharpstats.words import as_html, as_text
from sharpstats.words.tester.agreement import difference_sentence, farthest_sentence


def study(seed: int = 1, *, shift: float = 12.0, slope: float = 1.0, cuts: int = 3, other: str = "bo",
          sd: float = 6.0) -> pd.DataFrame:  # fmt: skip
    rng = np.random.default_rng(seed)
    rows = [(f"e{edge}", name, (shift + slope * true if name == "ann" else true) + rng.normal(0, sd))
            for edge, true in enumerate(rng.uniform(90, 240, 12)) for name in ("ann", other) for _ in range(cuts)]
    return pd.DataFrame(rows, columns=["edge", "operator", "reading"])


def told(found: Agreement) -> str:
    return " ".join(as_text(found).split())


def test_who_reads_higher_and_how_sure() -> None:
    found = agree(study(), by="operator", unit="gf")
    (pair,) = found.pairs
    text = told(found)
    assert text.startswith(f"Ann reads {pair.difference:.0f} gf higher than bo on the same edges (95 % interval: ")
    assert "12 edges, 72 cuts). That is more than chance would do." in text
    below = f"{-pair.single.low:.0f} gf lower and "
    assert f"One cut by each on the same edge: 95 of 100 differences fall between {below}" in text


def test_swapped_names_say_the_same_the_other_way_round() -> None:
    there = told(agree(study(), by="operator", unit="gf"))
    back = told(agree(study(), by="operator", unit="gf", order=["bo", "ann"]))
    number = there.split(" gf higher")[0].removeprefix("Ann reads ")
    assert back.startswith(f"Bo reads {number} gf lower than ann")


def test_on_the_log_scale_in_percent() -> None:
    text = told(agree(study(shift=0.0, slope=1.1), by="operator", unit="gf", scale="log"))
    assert "% higher than bo" in text
    assert "Where bo reads twice as much, ann reads" in text


def test_a_difference_that_grows_is_said() -> None:
    text = told(agree(study(slope=1.3), by="operator", unit="gf"))
    assert "For each 100 gf more of bo, ann reads 13" in text
    assert "the difference grows from keen edges to dull ones" in text


def test_one_cut_each_has_one_sentence_of_limits() -> None:
    text = told(agree(study(cuts=1), by="operator", unit="gf"))
    assert "Means of the cuts" not in text and "edge means" not in text.split("How this")[0]


@pytest.mark.parametrize(("shift", "margin", "says"), [
    (0.0, 10.0, "Shown: the two read the same on average to within 10 gf; 90 % interval:"),
    (30.0, 10.0, "Contradicted: the two do not read the same on average to within 10 gf"),
    (4.0, 4.0, "Open: whether the two read the same on average to within 4 gf cannot be told yet"),
])  # fmt: skip
def test_margins(shift: float, margin: float, says: str) -> None:
    assert says in told(agree(study(shift=shift), by="operator", unit="gf", margin=Quantity(margin, "gf")))


def test_a_percentage_is_told_both_ways() -> None:
    text = told(agree(study(shift=0.0), by="operator", unit="gf", scale="log", margin=Quantity(15, "%")))
    assert "to within 15 % (from 13.0 % lower to 15.0 % higher); 90 % interval:" in text


def test_no_slope_is_said() -> None:
    text = told(agree_pairs([150.0, 140, 130, 120], [118.0, 131, 139, 152]))
    assert "cannot be told: A and B do not rise together" in text


def test_a_limit_beside_zero_does_not_look_like_zero() -> None:
    frame = study(seed=3)
    (pair,) = agree(frame, by="operator", unit="gf").pairs
    reach = pair.difference - pair.low
    nearly = frame["reading"] - (frame["operator"] == "ann") * (pair.difference - reach + 0.04)
    text = told(agree(frame.assign(reading=nearly), by="operator", unit="gf"))
    assert "0.04 gf lower to" in text and "Chance alone could do as much." in text


def test_the_farthest_of_several_pairs_comes_first() -> None:
    frame = study()
    third = frame[frame["operator"] == "bo"].assign(operator="cy", reading=lambda rows: 0.9 * rows["reading"] - 40)
    text = told(agree(pd.concat([frame, third]), by="operator", unit="gf"))
    assert text.startswith("Of 3 pairs the farthest apart on average: Ann reads")


def many(shifts: dict[str, float], seed: int = 5) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = [(f"e{edge}", name, 150 + 10 * edge + shift + rng.normal(0, 6))
            for edge in range(8) for name, shift in shifts.items() for _ in range(2)]  # fmt: skip
    return pd.DataFrame(rows, columns=["edge", "operator", "reading"])


def test_of_very_many_pairs_the_farthest_are_told() -> None:
    text = told(agree(many({f"op{number:02d}": 0.0 for number in range(7)}), by="operator", unit="gf"))
    assert "Of 21 pairs the 10 farthest apart follow" in text
    assert text.count("reads higher by") == 10


def test_hostile_names_are_letters() -> None:
    frame = study(other="<script>alert(1)</script>")
    assert "<script" not in as_html(agree(frame, by="operator", unit="gf"))


def test_the_farthest_of_several_pairs_has_to_be_rarer() -> None:
    """Picked out of 3 pairs, a p value below 0.05 must be below 0.05 / 3 to be more than chance would do."""
    pair = replace(agree(study(), by="operator", unit="gf").pairs[0], p=0.03)
    found = replace(agree(study(), by="operator", unit="gf"), pairs=(pair,) * 3)
    assert "That is more than chance would do." in difference_sentence(pair, found)
    assert "Chance alone could do as much among 3" in farthest_sentence(found)
    assert "Chance" not in farthest_sentence(replace(found, pairs=(replace(pair, p=0.01),) * 3))
