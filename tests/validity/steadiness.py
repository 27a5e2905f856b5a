"""How often `steadier` errs where both media spread alike, and is shown where one spreads half as much."""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np
from validity import draw
from validity.draw import NORMAL, SHAPES
from validity.grid import ALIKE, SPREADS
from validity.layouts import NO_BLADES, ONCE, RANDOM, SIZES, TWICE, Layout

from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.model.ratio import SpreadRatio

ALPHA = 0.05
HALF = 0.5


@dataclass(frozen=True)
class Spreads:
    """One setting.

    Attributes
    ----------
    layout : Layout
    spread : str
        Among `grid.SPREADS`.
    shape : str
    ratio : float
        True SD between edges of the second medium over that of the first.
    """

    layout: Layout
    spread: str
    shape: str = NORMAL
    ratio: float = 1.0

    def fit(self) -> MixedFit:
        """What every trial is refitted on: each medium with a spread of its own."""
        table = self.layout.table
        y = np.random.default_rng(0).standard_normal(len(table))
        return fit_mixed(table.assign(y=y), response="y", fixed=["medium"], random=list(RANDOM[self.layout.kind]),
                         spread_by="medium")  # fmt: skip


def measure(setting: Spreads, trials: int) -> dict[str, float]:
    """Share of trials that show, and that contradict, that the second medium's edges spread less."""
    rng = np.random.default_rng(zlib.crc32(repr(setting).encode()))
    drawn = draw.errors(rng, setting.layout, SPREADS[setting.spread], setting.shape, trials, second=setting.ratio)
    fit = setting.fit()
    places = fit.structure.place_of("m1"), fit.structure.place_of("m0")
    found = (SpreadRatio(again.reduced, again.optimum, *places) for again in map(fit.refit, drawn))
    p = np.array([(ratio.p_below(1.0), ratio.p_above(1.0)) for ratio in found])
    shown, contradicted = (p <= ALPHA).mean(axis=0)
    return {"shown": float(shown), "contradicted": float(contradicted)}


def settings() -> list[Spreads]:
    """The whole grid."""
    found = [Spreads(Layout(NO_BLADES, edges), "edges most", shape) for shape in SHAPES for edges in SIZES]
    found += [Spreads(Layout(NO_BLADES, edges, lost=True), "edges most") for edges in SIZES[1:]]
    found += [Spreads(Layout(kind, edges), spread)
              for kind, spread in ((ONCE, "edges most"), (TWICE, ALIKE)) for edges in (6, 12, 24)]  # fmt: skip
    found += [Spreads(Layout(NO_BLADES, edges), "edges most", ratio=HALF) for edges in SIZES]
    return [*found, *(Spreads(Layout(TWICE, edges), "edges most", ratio=HALF) for edges in (6, 12, 24))]
