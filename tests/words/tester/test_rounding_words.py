"""Rounding in words: each case says its number, its expectation and how sure it is."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from sharpstats.tester.rounding import Rounding, find_rounding
from sharpstats.units import NEWTONS_PER_GF
from sharpstats.words import as_html, as_text


def study(step: float = 1.0, sd: float = 9.0, *, seed: int = 1, lazy: float = 0.0) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame({"edge": np.repeat([f"e{i}" for i in range(10)], 12), "operator": np.tile(["ann", "bo"], 60)})
    true = np.repeat(rng.normal(150, 20, 10), 12) + rng.normal(0, sd, 120)
    fives = (frame["operator"] == "ann") & (rng.random(120) < lazy)
    return frame.assign(reading=np.where(fives, 5 * np.rint(true / 5), step * np.rint(true / step)))


def told(found: Rounding) -> str:
    """Text on one line, with plain spaces."""
    return " ".join(as_text(found).split())


def test_a_fine_step() -> None:
    text = told(find_rounding(study(5.0), unit="gf"))
    assert text.startswith("Readings are rounded to 5 gf. That is fine enough: cuts on one edge differ by")
    assert "All 120 readings lie on that step, which chance would do less than once in a million studies." in text
    assert "Last digits show no habit" in text


def test_a_habit_with_its_numbers() -> None:
    found = find_rounding(study(lazy=0.9), unit="gf")
    assert found.digits
    seen = round(100 * found.digits.share(5)[0])
    assert f"Readings end in 0 or 5 in {seen} % of cuts; 20 % would be expected (p < 0.001)." in told(found)
    assert "of the readings (95 % interval: " in told(found)
    ann = next(line for line in as_text(found).splitlines() if line.startswith("ann"))
    bo = next(line for line in as_text(found).splitlines() if line.startswith("bo"))
    assert "to 5\u00a0gf" in ann and "none seen" in bo


@pytest.mark.parametrize(("step", "sd", "says"), [
    (10, 7, "That is coarse: cuts on one edge differ by a standard deviation of"),
    (10, 2, "That is too coarse for the tester's own repeatability"),
])  # fmt: skip
def test_coarse_steps(step: float, sd: float, says: str) -> None:
    assert says in told(find_rounding(study(step, sd), unit="gf"))


def test_edges_that_never_differ() -> None:
    frame = pd.DataFrame({"edge": list("aabbccdd"), "reading": [150.0, 150, 170, 170, 160, 160, 190, 190]})
    assert "cuts on one edge never differ" in told(find_rounding(frame, unit="gf"))


def test_too_few_to_say() -> None:
    two, three = told(find_rounding([150.0, 155.0], unit="gf")), told(find_rounding([150.0, 155.0, 165.0], unit="gf"))
    assert "The step cannot be told: all 2 readings are multiples of 5 gf, but chance would do that once in 7.4" in two
    assert "All are multiples of 5 gf too, but chance would do that once in 49 studies" in three


def test_converted_readings_name_both_units() -> None:
    frame = study(5.0)
    text = told(find_rounding(frame.assign(reading=(frame["reading"] * NEWTONS_PER_GF).round(3)), unit="N"))
    assert "Readings are rounded to 5 gf (0.04903 N)" in text
    assert "They were read in gf and converted." in text


def test_decimals_are_named() -> None:
    frame = study(lazy=1.0)
    text = told(find_rounding(frame.assign(reading=(frame["reading"] / 100).round(2)), unit="N"))
    assert "Readings have 0 or 5 as their second decimal in" in text


def test_a_habit_coarser_than_the_cuts_differ_is_said() -> None:
    frame = study(sd=3.0, lazy=1.0)
    assert "Against the spread of cuts that is coarse." in told(find_rounding(frame, unit="gf"))


def test_computed_readings_have_no_step() -> None:
    assert "lie on no step" in told(find_rounding(np.random.default_rng(1).normal(150, 9, 40), unit="gf"))


def test_a_tester_with_a_coarser_step_is_named() -> None:
    rng, frame = np.random.default_rng(2), study(1.0)
    frame["tester"] = np.where(rng.random(120) < 0.5, "old", "new")
    coarse = frame["reading"].where(frame["tester"] == "new", 20 * np.rint(frame["reading"] / 20))
    text = told(find_rounding(frame.assign(reading=coarse), unit="gf"))
    assert "Tester old by itself reads in steps of 20 gf, which is" in text
    assert "Tester new" not in text


def test_hostile_names_are_letters() -> None:
    frame = study(lazy=1.0).replace({"operator": {"ann": "<script>alert(1)</script>"}})
    assert "<script" not in as_html(find_rounding(frame, unit="gf"))
