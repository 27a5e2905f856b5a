"""Intervals of tester studies: how often they hold the truth."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from validity import tester_study as study
from validity.shares import bound

from sharpstats.tester import pooling
from sharpstats.tester.bootstrap import drawn_readings
from sharpstats.tester.spreads import find_spreads

TRIALS = 2000
WORST = {"kept": 5.5, "by the rule": 7.5}
"""Percent of studies whose interval may miss. By the rule: what choosing a model by the same readings costs; see
RESULTS_TESTER.md."""


def misses(cells: dict[str, float], rule: str) -> dict[str, float]:
    """What misses more often than it may, beyond four standard errors (many shares are held against one bound)."""
    most = WORST[rule] + 100 * bound(TRIALS, WORST[rule] / 100, errors=4)
    chosen = () if rule == "kept" else (study.BOTH, "between operators")
    return {name: held for name, held in cells.items() if 100 - held > most and name not in chosen}


@pytest.mark.parametrize(
    ("layout", "rule"),
    [("crossed, 3 x 8 x 4", "kept"), ("crossed, 2 x 5 x 2", "by the rule"), ("nested, 2 x 4 x 2", "kept"),
     ("crossed, 3 x 8 x 4, a cell and 30 cuts lost", "kept")],
)  # fmt: skip
def test_intervals_hold_the_truth(layout: str, rule: str) -> None:
    assert misses(study.coverage(layout, "typical", rule, TRIALS, seed=31), rule) == {}


@pytest.mark.slow
@pytest.mark.parametrize("setting", [one for one in study.settings() if one[-1] != "pooled"], ids="; ".join)
def test_every_interval_holds_the_truth(setting: tuple[str, str, str]) -> None:
    assert misses(study.coverage(*setting, TRIALS, seed=32), setting[-1]) == {}


def test_pooling_whatever_the_readings_say_would_spoil_repeatability() -> None:
    assert study.coverage("crossed, 3 x 8 x 4", "operators far apart", "pooled", 500, seed=33)["repeatability"] < 10


@pytest.mark.parametrize("layout", ["crossed, 3 x 8 x 4", "crossed, 3 x 8 x 4, a cell and 30 cuts lost"])
def test_the_study_judges_the_intervals_that_are_told(layout: str) -> None:
    """Study by study the same verdict as from the limits of a real call, ratios among them."""
    design = study.Design(study.LAYOUTS[layout])
    truth = design.truth(study.TRUTHS["typical"])
    codes = [part.codes for part in design.told.parts]
    drawn = drawn_readings(np.random.default_rng(34), codes, truth, 20, len(design.table))
    squares = design.sweep.squares(drawn) / design.sweep.df
    seen = set()
    for i, y in enumerate(drawn):
        told = find_spreads(design.table.assign(reading=np.exp(y)), scale="log", pool_above=1.0)
        for name, above, below in design.questions():
            limits = told.known.of_sum(above, 0.95) if below is None else told.known.of_ratio(above, below, 0.95)
            value = above @ truth / (1.0 if below is None else below @ truth)
            inside = bool(limits[0] <= value <= limits[1])
            assert study.holds(design, squares[i : i + 1], truth, above, below)[0] == inside, name
            seen.add((below is None, inside))
    assert seen >= {(True, True), (True, False), (False, True)}


def test_the_page_holds_what_the_study_says() -> None:
    page = (Path(study.__file__).parent / "RESULTS_TESTER.md").read_text(encoding="utf-8")
    assert f"{study.FULL:,} studies a line" in page
    assert study.SAYS in page and study.PROFILE_SAYS in page
    kept, rule, pooled = page.split("## Operator x edge ")[1:]
    assert worst(kept) >= 94.0 - 100 * bound(study.FULL)
    assert worst(rule, but=2) >= pooling.HELD_SUMS
    assert worst(rule) >= pooling.HELD_KEPT
    assert worst(pooled) < 10
    assert sum(1 for line in page.splitlines() if LINE.match(line)) == len(list(study.settings()))


LINE = re.compile(r"\| (crossed|nested|one operator).*; ")


def worst(section: str, but: int = -1) -> float:
    """Least share of a table of the page, without one column."""
    rows = [line.split("|")[2:-1] for line in section.splitlines() if LINE.match(line)]
    return min(float(cell) for row in rows for i, cell in enumerate(row) if cell.strip() and i != but)
