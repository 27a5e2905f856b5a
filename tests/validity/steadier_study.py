"""How often `steadier` errs at its boundary: few edges, cut error, blades; and edges that are not normal.

    python tests/validity/steadier_study.py          # 1,000 trials a line, seven minutes; writes RESULTS_STEADIER.md
    python tests/validity/steadier_study.py 100      # fewer trials, only shown
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from time import process_time

ROOT = Path(__file__).parents[2]
if __name__ == "__main__":
    sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402
from numpy.typing import NDArray  # noqa: E402
from scipy import special  # noqa: E402
from validity.shares import bound  # noqa: E402

from sharpstats.model.mixed import MixedFit, fit_mixed  # noqa: E402
from sharpstats.model.ratio import SpreadRatio  # noqa: E402
from sharpstats.model.twospreads import bonett, brown_forsythe  # noqa: E402

Floats = NDArray[np.float64]
FULL = 1000
ALPHA = 0.05
EDGES = (3, 4, 6, 8, 12, 24)
RATIOS = (1.0, 0.5)
"""True ratios of the two spreads: each trial is drawn where the claim is just not true, and just true."""


@dataclass(frozen=True)
class Layout:
    """Edges of two media.

    Attributes
    ----------
    cuts : int
        On each edge.
    per_blade : int
        Edges of each medium on one blade; 0 for edges that share no blade.
    sd : tuple of float
        Blades, edges of the wider medium, cuts.
    """

    cuts: int
    per_blade: int
    sd: tuple[float, float, float]

    def table(self, edges: int) -> pd.DataFrame:
        """One row a cut, for so many edges of each medium."""
        medium, edge, _ = np.indices((2, edges, self.cuts)).reshape(3, -1)
        return pd.DataFrame({"medium": medium, "edge": medium * edges + edge, "blade": edge // max(self.per_blade, 1)})

    def draw(self, rng: np.random.Generator, table: pd.DataFrame, ratio: float, edge: Draw) -> Floats:
        """Readings in which the first medium's edges spread `ratio` times as much as the second's."""
        own = edge(rng, int(table["edge"].max()) + 1)[table["edge"]] * np.where(table["medium"] == 0, ratio, 1.0)
        blade = rng.standard_normal(len(table))[table["blade"]] if self.per_blade else 0.0
        return np.asarray(self.sd[0] * blade + self.sd[1] * own + self.sd[2] * rng.standard_normal(len(table)))


Draw = Callable[[np.random.Generator, int], Floats]
SHAPES: Mapping[str, Draw] = {
    "normal": lambda rng, n: rng.standard_normal(n),
    "heavy tails (t, 5 df)": lambda rng, n: rng.standard_t(5, n) / np.sqrt(5 / 3),
    "skewed (exponential)": lambda rng, n: rng.exponential(size=n) - 1,
}
LAYOUTS: Mapping[str, Layout] = {
    "1 cut, no blades": Layout(1, 0, (0.0, 1.0, 0.0)),
    "3 cuts as wide as edges": Layout(3, 0, (0.0, 1.0, 1.0)),
    "3 cuts twice as wide": Layout(3, 0, (0.0, 1.0, 2.0)),
    "1 cut, both media once on a blade": Layout(1, 1, (1.0, 1.0, 0.0)),
    "3 cuts, both media once on a blade": Layout(3, 1, (1.0, 1.0, 1.0)),
    "3 cuts, both media twice on a blade": Layout(3, 2, (1.0, 1.0, 0.3)),
}


@dataclass(frozen=True)
class Errors:
    """What the trials of one line gave.

    Attributes
    ----------
    p : ndarray of shape (trials, 4)
        One-sided p values at the true ratio: that it is less, that it is more; then both of the signed root
        without its correction.
    simple : ndarray of shape (trials, 2)
        Whether Brown and Forsythe's test, and Bonett's interval, say that it is less; NaN where they cannot.
    """

    p: Floats
    simple: Floats

    @cached_property
    def shares(self) -> Floats:
        """Share of trials that err: wrongly shown, wrongly contradicted, the same without correction."""
        return np.asarray(np.mean(self.p <= ALPHA, axis=0))


def errors(layout: Layout, edges: int, ratio: float, trials: int, seed: int, shape: str = "normal") -> Errors:
    """Draw and judge so many trials."""
    rng, table, rows, simple = np.random.default_rng(seed), layout.table(edges), [], []
    terms = ["blade", "edge"] if layout.per_blade else ["edge"]
    first = fit_mixed(table.assign(y=rng.standard_normal(len(table))), response="y", fixed=["medium"], random=terms,
                      spread_by="medium")  # fmt: skip
    for _ in range(trials):
        y = layout.draw(rng, table, ratio, SHAPES[shape])
        rows.append(_p_values(first.refit(y), ratio))
        means = np.bincount(table["edge"], y) / layout.cuts
        simple.append(_simple(means[:edges] / ratio, means[edges:]))
    return Errors(np.array(rows), np.array(simple))


def _p_values(fit: MixedFit, ratio: float) -> Floats:
    places = [fit.structure.place_of(level) for level in fit.structure.levels]
    found = SpreadRatio(fit.reduced, fit.optimum, places[0], places[1])
    plain = 0.0 if np.isnan(found.estimate) else found.signed_root(float(np.log(ratio)))
    return np.array([found.p_below(ratio), found.p_above(ratio), special.ndtr(plain), special.ndtr(-plain)])


def _simple(one: Floats, other: Floats) -> Floats:
    test, limits = brown_forsythe(one, other), bonett(one, other, ALPHA)
    return np.array([np.nan if test is None else test[0] <= ALPHA, np.nan if limits is None else limits[1] <= 1])


def page(trials: int) -> str:
    """All results as a page."""
    began, lines = process_time(), []
    for number, (name, layout) in enumerate(LAYOUTS.items()):
        for edges in EDGES:
            if layout.per_blade and edges % layout.per_blade:
                continue
            found = [errors(layout, edges, ratio, trials, 3000 + 10 * number + i).shares
                     for i, ratio in enumerate(RATIOS)]  # fmt: skip
            lines.append((f"{name}, {edges} edges", *(100 * share for shares in found for share in shares)))
    shapes = []
    for number, shape in enumerate(SHAPES):
        for edges in (6, 12, 24):
            one = errors(LAYOUTS["1 cut, no blades"], edges, 1.0, trials, 3100 + number, shape)
            shapes.append((f"{shape}, {edges} edges", 100 * one.shares[0], *(100 * one.simple.mean(axis=0))))
    head = ("shown", "contradicted", "shown, r", "contradicted, r")
    return f"""# Validity study: `steadier`

Made by `python tests/validity/steadier_study.py`: {trials:,} trials a line, seeds from 3000,
{process_time() - began:.0f} s of processor time. In percent; each claim is drawn at its boundary, where it may err in
5 of 100 either way; the standard error of a share near 5 % is {100 * bound(trials, errors=1):.1f}. Edges are counted
for each of two media; "r" is the signed root of the profile likelihood without its correction for small samples.

## Few edges, cut error, blades

The first four columns are for two spreads that are in truth alike, the last four for one that is half the other.

{_table(("layout", *head, *head), lines)}

{SAYS}

## Edges that are not normal

One cut an edge, two spreads alike; how often each way says wrongly that the first is the steadier one.

{_table(("edges", "profile likelihood", "Brown and Forsythe", "Bonett"), shapes)}

{TAILS}
"""


SAYS = """\
With correction every line is within chance of 5 % or below it. Without it, few edges err more often than they may.
Where cuts spread as far as edges do, a spread is often estimated as zero; such findings err less often than that."""
TAILS = """\
A ratio of spreads leans on normal edges more than a difference of means does: with heavy tails, or skewed, more edges
make it no better. Such a finding has a note where the edges show it, and its second opinions keep near 5 %: where they
differ, the more cautious one counts."""


def _table(head: tuple[str, ...], rows: list[tuple[str | float, ...]]) -> str:
    lines = [head, ("---", *("---:" for _ in head[1:]))]
    lines += [tuple(cell if isinstance(cell, str) else f"{cell:.1f}" for cell in row) for row in rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else FULL
    made = page(count)
    if count == FULL:
        (Path(__file__).parent / "RESULTS_STEADIER.md").write_text(made, encoding="utf-8")
    print(made)
