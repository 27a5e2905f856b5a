"""How often a family of three claims, all just not true, shows any of them: what Holm's method is for."""

from __future__ import annotations

import zlib

import numpy as np
from numpy.typing import NDArray
from validity import draw
from validity.grid import MARGIN, SPREADS
from validity.layouts import Layout

from sharpstats.claims.evidence import Evidence
from sharpstats.claims.family import share
from sharpstats.claims.region import Region

Floats = NDArray[np.float64]
ALPHA = 0.05

CLAIMS = (
    ((0.0, 1.0, 0.0), MARGIN, Region(-MARGIN, MARGIN)),  # `same`: the second is off the first by just the margin
    ((0.0, -1.0, 1.0), 0.0, Region(-np.inf, 0.0)),  # `keener`: the third reads just as the second
    ((0.0, 0.0, 1.0), MARGIN, Region(-np.inf, MARGIN)),  # `no worse`: the third is off the first by just the margin
)
"""Row of the difference, true difference, region: three claims, each at its boundary."""


def measure(layout: Layout, spread: str, trials: int) -> dict[str, float]:
    """Share of trials with any claim wrongly shown, wrongly contradicted, and wrongly shown without Holm."""
    rng = np.random.default_rng(zlib.crc32(f"{layout.kind} {layout.edges} {spread}".encode()))
    drawn = draw.errors(rng, layout, SPREADS[spread], draw.NORMAL, trials)
    fits = layout.shared([row for row, _, _ in CLAIMS]).fit(drawn)
    counts = np.zeros(3)
    for estimates, ses, dfs in zip(fits.estimate, fits.se, fits.df, strict=True):
        pieces = [_evidence(region, float(e) + truth, float(s), float(d))
                  for (_, truth, region), e, s, d in zip(CLAIMS, estimates, ses, dfs, strict=True)]  # fmt: skip
        told, alone = ([part.finding for part in share(pieces, [inside] * 3, ALPHA)] for inside in (True, False))
        counts += ("shown" in told, "contradicted" in told, "shown" in alone)
    return dict(zip(("shown", "contradicted", "without"), map(float, counts / trials), strict=True))


def _evidence(region: Region, estimate: float, se: float, df: float) -> Evidence:
    return Evidence(
        p_shown=region.p_shown(estimate, se, df), p_contradicted=region.p_contradicted(estimate, se, df), unit="%",
        estimate=estimate, df=df, estimate_on_scale=estimate, se=se, bound_low=None, bound_high=None, real=None,
        interval=lambda rate: (np.nan, np.nan), more_edges=lambda rate: None, opinions=lambda rate, found: (),
        edges={}, cuts={},
    )  # fmt: skip
