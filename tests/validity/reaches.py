"""How often `reaches` errs: by its tolerance bound, and by counting edges."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import special
from validity.draw import HEAVY, NORMAL, SHAPES, SKEWED
from validity.layouts import SIZES

from sharpstats.claims.counting import Counted
from sharpstats.model import tolerance
from sharpstats.model.reduce import Codes

Floats = NDArray[np.float64]
ALPHA = 0.05
DRAWS = 2000
"""Draws a bound in the study; the package takes more."""
POPULATION = 2_000_000
"""Edges drawn to find the level below which just the share lies, where that has no formula."""
BLADES = {"blades alike": (0.0, 0.10), "blades as edges": (0.07, 0.07), "blades most": (0.10, 0.03)}
"""True SDs of blades and of the edges of one blade (cuts averaged) on the scale of the analysis."""
ONE_EACH = "an edge a blade"
EXACT, DRAWN, COUNTED = "exact bound", "drawn bound", "counted"


@dataclass(frozen=True)
class Edges:
    """Edges of one medium, and what is true of them.

    Attributes
    ----------
    edges : int
    a_blade : int
        Edges a blade.
    spread : str
        Among `BLADES`, or `ONE_EACH`.
    shape : str
        Of the edges; blades are normal.
    share : float
    apart : float or None
        How far the second half of the edges, of another steel, read above the first; None for one steel.
    lost : bool
        Whether the last edge is gone.
    """

    edges: int
    a_blade: int = 1
    spread: str = ONE_EACH
    shape: str = NORMAL
    share: float = 0.9
    apart: float | None = None
    lost: bool = False

    @property
    def name(self) -> str:
        """All that tells the setting from others."""
        return f"{self.edges} {self.a_blade} {self.spread} {self.shape} {self.share} {self.apart} {self.lost}"

    @property
    def sd(self) -> tuple[float, float]:
        """True SDs of blades and edges."""
        return (0.0, 0.1) if self.spread == ONE_EACH else BLADES[self.spread]

    @property
    def blocks(self) -> Codes:
        """Blade of each edge."""
        return np.arange(self.edges - self.lost, dtype=np.intp) // self.a_blade

    @property
    def cells(self) -> Codes:
        """Steel of each edge: of two the second from half of the edges on."""
        return (2 * np.arange(self.edges - self.lost, dtype=np.intp) // self.edges) * (self.apart is not None)

    def draw(self, trials: int, seed: str = "") -> Floats:
        """Means of edges, of shape (trials, edges)."""
        rng = np.random.default_rng(zlib.crc32((self.name + seed).encode()))
        blade, edge = self.sd
        values = edge * SHAPES[self.shape](rng, (trials, len(self.cells))) + (self.apart or 0.0) * self.cells
        if blade > 0:
            values += blade * rng.standard_normal((trials, int(self.blocks.max()) + 1))[:, self.blocks]
        return values

    @cached_property
    def limit(self) -> float:
        """The level below which just the share of edges lies."""
        if self.shape == NORMAL and not self.apart:
            return float(np.hypot(*self.sd) * special.ndtri(self.share))
        whole = Edges(self.edges, self.a_blade, self.spread, self.shape, self.share, self.apart)
        return float(np.quantile(whole.draw(POPULATION // self.edges, "population"), self.share))


def measure(method: str, edges: Edges, trials: int) -> dict[str, float]:
    """Share of trials that wrongly show and that wrongly contradict the claim at its boundary."""
    shown, contradicted = METHODS[method](edges, edges.draw(trials))
    return {"shown": shown, "contradicted": contradicted}


def by_factor(edges: Edges, values: Floats) -> tuple[float, float]:
    """Independent edges of one steel: mean and SD against the two factors of the exact bound."""
    z, m = float(special.ndtri(edges.share)), values.shape[1]
    mean, sd = values.mean(axis=1), values.std(axis=1, ddof=1)
    high, low = (tolerance.one_sided_factor(m, z, confidence) for confidence in (1 - ALPHA, ALPHA))
    return float(np.mean(mean + high * sd <= edges.limit)), float(np.mean(mean + low * sd >= edges.limit))


@contextmanager
def few_draws() -> Iterator[None]:
    """Take fewer draws a bound than the package does, or the study would take days."""
    many, tolerance.DRAWS = tolerance.DRAWS, DRAWS
    try:
        yield
    finally:
        tolerance.DRAWS = many


def by_draws(edges: Edges, values: Floats) -> tuple[float, float]:
    """Edges in blades or of several steels, trial by trial."""
    blocks = [edges.blocks] if edges.a_blade > 1 else []
    with few_draws():
        found = [tolerance.edge_quantile(one, edges.cells, blocks, edges.share) for one in values]
    p = np.array([(q.p_below(edges.limit), q.p_above(edges.limit)) for q in found if q is not None])
    shown, contradicted = (p <= ALPHA).sum(axis=0) / len(values)
    return float(shown), float(contradicted)


def by_count(edges: Edges, values: Floats) -> tuple[float, float]:
    """Edges counted; what a count says depends on nothing but the number below."""
    m, none = values.shape[1], np.array([])
    counts = [Counted(np.where(np.arange(m) < below, -1.0, 1.0), none, 0.0, edges.share) for below in range(m + 1)]
    said = np.array([(one.p_shown <= ALPHA, one.p_contradicted <= ALPHA) for one in counts])
    shown, contradicted = said[(values < edges.limit).sum(axis=1)].mean(axis=0)
    return float(shown), float(contradicted)


METHODS: dict[str, Callable[[Edges, Floats], tuple[float, float]]] = {
    EXACT: by_factor, DRAWN: by_draws, COUNTED: by_count,
}  # fmt: skip


def settings() -> list[tuple[str, Edges]]:
    """The whole grid: method and edges."""
    exact = [Edges(m, shape=shape, share=share) for shape in SHAPES for share in (0.8, 0.9, 0.95) for m in SIZES]
    drawn = [Edges(m, 2, spread, lost=lost) for spread in BLADES for m in SIZES[1:] for lost in (False, True)]
    drawn += [Edges(m, 2, "blades as edges", shape) for shape in (HEAVY, SKEWED) for m in SIZES[1:]]
    drawn += [Edges(16, 2, "blades as edges", apart=apart) for apart in (0.0, 0.3)]
    drawn += [Edges(16, apart=0.3)]
    counted = [Edges(m, shape=shape, share=0.8) for m in (8, 24, 48) for shape in SHAPES]
    counted += [Edges(m, each, spread, share=0.8) for m in (24, 48) for each in (2, 4, 8) for spread in BLADES]
    groups = ((EXACT, exact), (DRAWN, drawn), (COUNTED, counted))
    return [(method, edges) for method, group in groups for edges in group]
