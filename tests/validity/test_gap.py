"""`gap` with the truth at its margin: how often it is wrongly shown, in whole trials fitted anew."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from validity.shares import bound

from sharpstats.claims.compare import difference_row
from sharpstats.claims.contrast import Contrast
from sharpstats.claims.region import Outside, Region
from sharpstats.model.many import refit_many
from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.model.spec import Term

ALPHA, TRIALS = 0.05, 4000
SPREADS = {
    "media suit some blades": (0.1, 0.06, 0.0, 0.08, 0.05),
    "edges alone": (0.0, 0.0, 0.0, 0.08, 0.05),
    "gaps of their own on each blade": (0.1, 0.06, 0.08, 0.08, 0.05),
}
"""SDs on the log scale: of blades; of media on a blade; of media by operators on a blade; of edges; of cuts."""


OWN = "gaps of their own on each blade"
TERMS: tuple[Term, ...] = (("blade",), ("blade", "medium"), ("blade", "medium", "operator"), ("edge",))
"""What `trial.fit()` takes for random in such a layout."""


@lru_cache
def uneven(random: tuple[Term, ...]) -> tuple[MixedFit, np.ndarray]:
    """Five blades, two media, two operators, one or two edges a cell, some lost; and the row of the gap."""
    cells = [(b, m, o, k) for b in "abcde" for m in ("film", "stone") for o in "PQ" for k in range(2)]
    lost = {0, 3, 7, 12, 21, 22, 30, 39}
    kept = [cell for i, cell in enumerate(cells) if i not in lost]
    table = pd.DataFrame([(*cell, i) for i, cell in enumerate(kept) for _ in range(1 + i % 3)],
                         columns=["blade", "medium", "operator", "again", "edge"])  # fmt: skip
    table["y"] = np.random.default_rng(1).standard_normal(len(table))
    fit = fit_mixed(table, response="y", fixed=["medium", "operator", ("medium", "operator")], random=random)
    contrast = Contrast("film", "stone", ())
    one, other = (difference_row(fit.frame, contrast, {"operator": hand}) for hand in "PQ")
    return fit, one - other


@lru_cache
def drawn(spread: str, random: tuple[Term, ...] = TERMS) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Estimate, standard error and df of the gap in trials without any."""
    sd = SPREADS[spread]
    fit, row = uneven(random)
    factors, rng = fit.frame.factors, np.random.default_rng(41)
    blade, medium, hand, edge = (factors[name].codes for name in ("blade", "medium", "operator", "edge"))
    size = fit.frame.y.size
    y = sd[0] * rng.standard_normal((TRIALS, 5))[:, blade]
    y += sd[1] * rng.standard_normal((TRIALS, 10))[:, 2 * blade + medium]
    y += sd[2] * rng.standard_normal((TRIALS, 20))[:, 4 * blade + 2 * medium + hand]
    y += sd[3] * rng.standard_normal((TRIALS, edge.max() + 1))[:, edge] + sd[4] * rng.standard_normal((TRIALS, size))
    many = refit_many(fit, y, row[None, :])
    assert many.settled.all()
    return many.estimate[:, 0], many.se[:, 0], many.df[:, 0]


def shares(region: Region, truth: float, spread: str) -> tuple[float, float]:
    """How often the region is shown and contradicted if the gap is `truth`."""
    estimate, se, df = drawn(spread)
    found = np.array([
        (region.p_shown(b, s, d) <= ALPHA, region.p_contradicted(b, s, d) <= ALPHA)
        for b, s, d in zip((estimate + truth)[:1500].tolist(), se.tolist(), df.tolist(), strict=False)
    ])  # fmt: skip
    shown, contradicted = found.mean(axis=0)
    return float(shown), float(contradicted)


@pytest.mark.parametrize("spread", SPREADS)
@pytest.mark.parametrize("margin", [0.0, 0.03, 0.25])
def test_depends_is_wrongly_shown_no_more_often_than_it_may(margin: float, spread: str) -> None:
    """5 % without a margin, half of that where the margin is wide: then only one side can err.

    Less often where blades have no gaps of their own: the layout keeps the degrees of freedom for them.
    """
    shown, _ = shares(Outside(-margin, margin), margin, spread)
    assert shown <= ALPHA + bound(1500)
    if spread == OWN:
        assert shown == pytest.approx({0.0: ALPHA, 0.25: ALPHA / 2}.get(margin, shown), abs=bound(1500))


@pytest.mark.parametrize("spread", SPREADS)
def test_does_not_depend_is_wrongly_shown_no_more_often_than_it_may(spread: str) -> None:
    for truth in (0.25, -0.25):
        assert shares(Region(-0.25, 0.25), truth, spread)[0] <= ALPHA + bound(1500)


@pytest.mark.parametrize("spread", SPREADS)
def test_depends_is_wrongly_contradicted_no_more_often_than_it_may(spread: str) -> None:
    assert shares(Outside(-0.25, 0.25), 0.25, spread)[1] <= ALPHA + bound(1500)


def two_sided_error(spread: str, random: tuple[Term, ...]) -> float:
    estimate, se, df = drawn(spread, random)
    return float(np.mean(np.abs(estimate) > stats.t.isf(ALPHA / 2, df) * se))


def test_edges_that_count_as_blades_of_their_own_would_find_gaps_that_are_not_there() -> None:
    """What the random term for block by medium by factor is for."""
    assert two_sided_error(OWN, TERMS) == pytest.approx(ALPHA, abs=bound(TRIALS))
    assert two_sided_error(OWN, (*TERMS[:2], TERMS[3])) > 2 * ALPHA
