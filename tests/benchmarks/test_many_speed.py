"""Trials a second: many at once, one fit at a time, a statsmodels loop, and drawing the numbers.

Run with ``python -m pytest tests/benchmarks/test_many_speed.py -s``. The tests assert what was
computed, never how long it took.
"""

from __future__ import annotations

import numpy as np
import pytest

from sharpstats import MixedFit
from sharpstats.model.many import SharedLayout

from .test_fit_speed import bench_trial, crossed_model, layout_model, peer
from .timing import best

pytest.importorskip("statsmodels")

TRIALS, SINGLE, PEER = 4096, 100, 10
SD = 0.1
ROW = np.array([[0.0, 1.0, 0.0, 0.0]])


def drawn(fit: MixedFit, trials: int) -> np.ndarray:
    """Readings with an equal spread of every term."""
    rng, unit = np.random.default_rng(7), fit.units.unit
    y = SD * rng.standard_normal((trials, fit.frame.y.size))
    y += SD * rng.standard_normal((trials, fit.units.size.size))[:, unit]
    for codes in fit.units.upper:
        y += SD * rng.standard_normal((trials, int(codes.max()) + 1))[:, codes[unit]]
    return y


def loop_of_fits(fit: MixedFit, y: np.ndarray) -> None:
    for row in y[:SINGLE]:
        fit.refit(row).contrasts("medium")


def loop_of_peers(table, y: np.ndarray, parts: dict[str, str]) -> None:
    for row in y[:PEER]:
        peer(table.assign(y=row), parts)


@pytest.mark.parametrize(
    ("name", "model", "parts"),
    [
        ("blade + edge", crossed_model, {"edge": "0 + C(edge)"}),
        ("blade + blade x medium + edge", layout_model, {"edge": "0 + C(edge)", "bm": "0 + C(medium)"}),
    ],
)
def test_trials_a_second(name, model, parts):
    table = bench_trial(17)
    fit = model(table)
    layout, y = SharedLayout(fit, ROW), drawn(fit, TRIALS)
    many = TRIALS / best(lambda: layout.fit(y), repeats=5)
    numbers = TRIALS / best(lambda: drawn(fit, TRIALS), repeats=5)
    single = SINGLE / best(lambda: loop_of_fits(fit, y), repeats=3)
    theirs = PEER / best(lambda: loop_of_peers(table, y, parts), repeats=2)
    print(f"\n{name}, 48 edges x 5 cuts with 17 lost, REML + Kenward-Roger, trials a second: {many:,.0f} at once; "
          f"{single:,.0f} one by one ({many / single:.0f} times); {theirs:,.0f} by statsmodels without df "
          f"({many / theirs:,.0f} times); {numbers:,.0f} drawn only ({numbers / many:.1f} times)")  # fmt: skip
    found = layout.fit(y)
    assert found.settled.all()
    assert found.variances.mean(axis=0) == pytest.approx(SD**2, rel=0.1)
    assert found.estimate.mean() == pytest.approx(0.0, abs=4 * found.estimate.std() / np.sqrt(TRIALS))
