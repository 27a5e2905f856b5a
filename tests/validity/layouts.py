"""Layouts that a maker would have: how many edges, on which blades, and what was lost of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.model.many import SharedLayout
from sharpstats.model.mixed import MixedFit, fit_mixed

Floats = NDArray[np.float64]
Term = tuple[str, ...]
CUTS = 3

NO_BLADES = "edges without blades"
ONCE = "blades crossed with media, once"
TWICE = "blades crossed with media, twice"
NESTED = "blades of their own for each medium, two edges each"
SIZES = (3, 4, 6, 8, 12, 24)
KINDS = {NO_BLADES: SIZES, ONCE: SIZES, TWICE: SIZES[1:], NESTED: SIZES[1:]}
"""Kind of layout: edges a medium."""

RANDOM: dict[str, tuple[Term, ...]] = {
    NO_BLADES: (("edge",),),
    ONCE: (("blade",), ("edge",)),
    TWICE: (("blade",), ("blade", "medium"), ("edge",)),
    NESTED: (("blade",), ("edge",)),
}
"""Random terms that `trial.fit()` takes for the layout (a test asks it)."""


@dataclass(frozen=True)
class Layout:
    """Edges a medium, three cuts on each; with `lost`, a third of the second medium's edges and some cuts are gone.

    Two hands take turns: with blades crossed with media twice each makes one of the two edges, else each has its own
    edges and blades. What is asked then is the gap between them.

    Attributes
    ----------
    kind : str
    edges : int
        Edges a medium before any is lost.
    lost : bool
    media : int
    """

    kind: str
    edges: int
    lost: bool = False
    media: int = 2
    hands: int = 1

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a cut: medium, blade, edge."""
        medium, edge = np.indices((self.media, self.edges)).reshape(2, -1)
        blade = edge if self.kind in (NO_BLADES, ONCE) else edge // 2
        if self.kind == NESTED:
            blade = blade + medium * self.edges
        table = pd.DataFrame({
            "medium": [f"m{i}" for i in medium], "blade": [f"b{i:02d}" for i in blade],
            "edge": [f"e{i:03d}" for i in np.arange(len(edge))], "operator": [f"o{i}" for i in edge % self.hands],
        }).loc[np.repeat(np.arange(len(edge)), CUTS)].reset_index(drop=True)  # fmt: skip
        return _without_lost(table) if self.lost else table

    @cached_property
    def fit(self) -> MixedFit:
        """The layout fitted to some readings: what every trial is refitted on."""
        y = np.random.default_rng(0).standard_normal(len(self.table))
        fixed: list[str | Term] = ["medium"] if self.hands == 1 else ["medium", "operator", ("medium", "operator")]
        return fit_mixed(self.table.assign(y=y), response="y", fixed=fixed, random=list(RANDOM[self.kind]))

    def shared(self, rows: Sequence[Sequence[float]] = ()) -> SharedLayout:
        """Ready for many responses; by itself it asks for the second medium minus the first, or for the gap of that."""
        last = np.eye(len(self.fit.kept_columns))[-1:]
        return SharedLayout(self.fit, np.array(rows) if rows else last)

    @cached_property
    def raised(self) -> Floats:
        """One for readings that the true difference (or gap) is added to: the second medium, by the second hand."""
        raised = self.table["medium"] == "m1"
        return np.asarray(raised & (self.table["operator"] == "o1") if self.hands > 1 else raised, dtype=float)

    @cached_property
    def fewest(self) -> int:
        """Edges of the medium with the fewest."""
        return int(self.table.groupby("medium")["edge"].nunique().min())


def _without_lost(table: pd.DataFrame) -> pd.DataFrame:
    """Lose every third edge of the second medium, and the last cuts of every fourth edge that is left."""
    second = table.loc[table["medium"] == "m1", "edge"].unique()
    table = table[~table["edge"].isin(second[1::3])]
    short = table["edge"].unique()[::4]
    cut = table.groupby("edge").cumcount()
    return table[~(table["edge"].isin(short) & (cut > 0))].reset_index(drop=True)


def all_layouts() -> list[Layout]:
    """Every kind in every size, whole and with losses."""
    return [Layout(kind, edges, lost) for kind, sizes in KINDS.items() for edges in sizes for lost in (False, True)]


def two_hands() -> list[Layout]:
    """Those that ask for a gap, with at least two edges for each medium and hand."""
    return [Layout(kind, edges, lost, hands=2)
            for kind in (NO_BLADES, ONCE, TWICE) for edges in SIZES[1:] for lost in (False, True)]  # fmt: skip
