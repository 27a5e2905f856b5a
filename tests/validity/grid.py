"""The grid: what is true in each setting, and on which scale its readings are analysed."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from validity import draw
from validity.draw import HEAVY, NORMAL, SKEWED
from validity.layouts import NESTED, NO_BLADES, ONCE, TWICE, Layout, all_layouts, two_hands

Floats = NDArray[np.float64]
Spread = tuple[float, float, float, float]

MARGIN = float(np.log(1.15))
"""15 % on the log scale."""
ALIKE = "all alike"
SPREADS: dict[str, Spread] = {
    "only cuts": (0.0, 0.0, 0.0, 0.10),
    ALIKE: (0.06, 0.06, 0.06, 0.06),
    "edges most": (0.02, 0.02, 0.12, 0.03),
    "blades most": (0.15, 0.02, 0.04, 0.04),
    "blade x medium most": (0.03, 0.12, 0.03, 0.04),
}
"""True SDs of blade, blade x medium, edge and cut on the scale of the analysis."""
KNOWN = {NO_BLADES: 3, ONCE: 4, NESTED: 4, TWICE: 5}
"""How many of these spreads differ for a kind of layout: one without blades does not see theirs."""

RIGHT, AS_READ, LOG = "right", "as read, should be log", "log, should be as read"
WRONG_SD: Spread = (0.10, 0.06, 0.12, 0.10)
"""True SDs where the scale is wrong, as parts of the lower medium's reading: a fifth in all."""
APART = {AS_READ: 2.0, LOG: 0.5}
"""Reading of the second medium over that of the first, where the scale is wrong: the second, which loses edges, is the
one that spreads more on the scale of the analysis."""
LOWEST = 1.0
"""No edge reads below 1 gf."""


@dataclass(frozen=True)
class Setting:
    """One cell of the grid.

    Attributes
    ----------
    layout : Layout
    spread : str
        Name among `SPREADS`; where the scale is wrong there is but one.
    shape : str
    scale : str
        Whether the scale of the analysis is right, else which one it is and which one it should be.
    """

    layout: Layout
    spread: str = ALIKE
    shape: str = NORMAL
    scale: str = RIGHT

    @property
    def name(self) -> str:
        """All that tells the setting from others."""
        layout = self.layout
        told = [layout.kind, f"{layout.edges}", "lost" if layout.lost else "whole", self.spread, self.shape, self.scale]
        return " | ".join([*told, *(["two hands"] if layout.hands > 1 else [])])

    @property
    def sd(self) -> Spread:
        """True SDs."""
        blade, cell, edge, cut = SPREADS[self.spread] if self.scale == RIGHT else WRONG_SD
        return (0.0, 0.0, edge, cut) if self.layout.kind == NO_BLADES else (blade, cell, edge, cut)

    @cached_property
    def truth(self) -> float:
        """True difference of the second medium from the first on the scale analysed, and every claim's margin."""
        total = float(np.sum(np.square(self.sd)))
        if self.scale == RIGHT:
            return MARGIN
        if self.scale == AS_READ:
            return 100 * (APART[AS_READ] - 1) * float(np.exp(total / 2))
        node, weight = np.polynomial.hermite_e.hermegauss(60)
        inside = 100 * np.array([APART[LOG], 1.0])[:, None] + APART[LOG] * 100 * np.sqrt(total) * node
        means = np.log(np.maximum(inside, LOWEST)) @ weight / weight.sum()
        return float(means[0] - means[1])

    def draw(self, trials: int) -> Floats:
        """Responses on the scale of the analysis, of shape (trials, readings); seeded by the setting's name."""
        rng = np.random.default_rng(zlib.crc32(self.name.encode()))
        errors = draw.errors(rng, self.layout, self.sd, self.shape, trials)
        second = self.layout.raised
        if self.scale == RIGHT:
            return errors + self.truth * second
        if self.scale == AS_READ:
            return np.asarray(100 * APART[AS_READ] ** second * np.exp(errors))
        means = 100 * APART[LOG] ** second
        return np.asarray(np.log(np.maximum(means + APART[LOG] * 100 * errors, LOWEST)))


def gaps() -> list[Setting]:
    """Settings for claims about a gap, which need no grid of their own for every spread."""
    spreads = {NO_BLADES: (ALIKE, "edges most"), ONCE: (ALIKE, "blades most"), TWICE: (ALIKE, "blade x medium most")}
    return [Setting(layout, spread, shape)
            for layout in two_hands() for spread in spreads[layout.kind] for shape in (NORMAL, SKEWED)]  # fmt: skip


def settings() -> list[Setting]:
    """The whole grid of differences."""
    found = []
    for layout in all_layouts():
        spreads = list(SPREADS)[: KNOWN[layout.kind]]
        found += [Setting(layout, spread, shape) for spread in spreads for shape in (NORMAL, HEAVY, SKEWED)]
        found += [Setting(layout, scale=scale) for scale in APART]
    return found
