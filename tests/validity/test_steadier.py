"""`steadier` at its boundary: how often it is wrongly shown or contradicted."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from validity import steadier_study as study
from validity.shares import bound

TRIALS = 150


@pytest.mark.parametrize(
    ("name", "edges", "ratio"),
    [("1 cut, no blades", 3, 1.0), ("3 cuts as wide as edges", 4, 0.5),
     ("3 cuts, both media twice on a blade", 6, 1.0)],
)  # fmt: skip
def test_no_claim_errs_more_often_than_it_may(name: str, edges: int, ratio: float) -> None:
    shown, contradicted = study.errors(study.LAYOUTS[name], edges, ratio, TRIALS, seed=5).shares[:2]
    assert shown <= study.ALPHA + bound(TRIALS)
    assert contradicted <= study.ALPHA + bound(TRIALS)


@pytest.mark.slow
@pytest.mark.parametrize("name", study.LAYOUTS)
@pytest.mark.parametrize("ratio", study.RATIOS)
def test_no_layout_errs_more_often_than_it_may(name: str, ratio: float) -> None:
    for edges in (4, 8):
        shown, contradicted = study.errors(study.LAYOUTS[name], edges, ratio, 600, seed=6).shares[:2]
        # Forty-eight shares are held against one bound, so it is four standard errors wide.
        assert max(shown, contradicted) <= study.ALPHA + bound(600, errors=4)


@pytest.mark.slow
@pytest.mark.parametrize("shape", list(study.SHAPES)[1:])
def test_heavy_tails_mislead_the_fit_and_not_the_second_opinions(shape: str) -> None:
    found = study.errors(study.LAYOUTS["1 cut, no blades"], 12, 1.0, 800, seed=8, shape=shape)
    assert found.shares[0] > 0.08
    assert np.all(found.simple.mean(axis=0) <= study.ALPHA + bound(800))


def test_the_page_holds_what_the_study_says() -> None:
    page = (Path(study.__file__).parent / "RESULTS_STEADIER.md").read_text(encoding="utf-8")
    assert f"{study.FULL:,} trials a line" in page
    assert study.SAYS in page and study.TAILS in page
    rows = [line.split("|")[1:-1] for line in page.splitlines() if re.match(r"\| .*, \d+ edges \|", line)]
    assert len(rows) == 35 + 9
    corrected = [float(cell) for row in rows if len(row) == 9 for cell in (row[1], row[2], row[5], row[6])]
    assert max(corrected) <= 100 * (study.ALPHA + bound(study.FULL, errors=3.5))  # the worst of 140 shares
