"""Cuts over the range: a short run with fixed seeds; the long one's results are in RESULTS_OVER.md."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd
from validity import over_range_study as study

TRIALS = 60


@lru_cache
def drawn() -> dict[str, np.ndarray]:
    """Three cuts in ten over the range."""
    return study.simulate(study.SETTINGS["six blades, two edges each"][2], TRIALS, seed=11)


def mean_and_error(values: np.ndarray) -> tuple[float, float]:
    known = values[~np.isnan(values)]
    return float(known.mean()), float(known.std(ddof=1) / np.sqrt(len(known)))


def test_so_many_are_over_the_range() -> None:
    setting = study.SETTINGS["six blades, two edges each"][2]
    rng = np.random.default_rng(1)
    share = np.mean([study.draw(setting, rng)["over"].mean() for _ in range(300)])
    assert abs(share - 0.3) < 0.02


def test_fitted_means_and_differences_are_those_of_whole_trials() -> None:
    """Trial by trial against the whole one, which takes most of the chance out: within four errors."""
    for column in (0, 1):
        apart, error = mean_and_error(drawn()["fitted"][:, column] - drawn()["whole"][:, column])
        assert abs(apart) < 4 * error
        assert error < 0.006
        for way in ("left out", "at the limit"):
            biased, other = mean_and_error(drawn()[way][:, column] - drawn()["whole"][:, column])
            assert biased < -0.05
            assert biased < -8 * other


def test_fitted_spreads_are_those_of_whole_trials() -> None:
    for column, bound in ((3, 0.004), (4, 0.002)):
        fitted, whole, clipped = (drawn()[way][:, column].mean() for way in ("fitted", "whole", "at the limit"))
        assert abs(fitted - whole) < bound
        assert clipped < whole - 2 * bound


def test_intervals_cover() -> None:
    """57 of 60 are expected; 51 or fewer would come with a chance of 1 in 50."""
    assert drawn()["fitted"][:, 2].sum() > 51
    assert drawn()["at the limit"][:, 2].sum() < 51


def test_the_page_is_the_one_that_the_study_writes() -> None:
    """Its text at least; the numbers are for the long run."""
    page = (Path(study.__file__).parent / "RESULTS_OVER.md").read_text(encoding="utf-8")
    table = pd.DataFrame({"setting": ["x"], "over, %": ["10"], "analysed": ["fitted"], "share": [5.0]})
    written = study.page(table, 1000, 0.0)
    told = [line for line in written.splitlines() if not line.startswith(("|", "0 s"))]
    assert all(line in page for line in told)
