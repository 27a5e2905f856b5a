"""How often claims err where they are just not true: `reaches` at its boundary, and a family of three.

    python tests/validity/claims_study.py          # 4,000 trials a line, about four minutes; writes RESULTS_CLAIMS.md
    python tests/validity/claims_study.py 200      # fewer trials, only shown
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from time import process_time

ROOT = Path(__file__).parents[2]
if __name__ == "__main__":
    sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import numpy as np  # noqa: E402
from numpy.typing import NDArray  # noqa: E402
from scipy import optimize, special  # noqa: E402
from validity.study import MARGIN, bound, draw_response, layout  # noqa: E402

from sharpstats.claims.counting import Counted  # noqa: E402
from sharpstats.claims.evidence import Evidence  # noqa: E402
from sharpstats.claims.family import share  # noqa: E402
from sharpstats.claims.region import Region  # noqa: E402
from sharpstats.model import freedom, tolerance  # noqa: E402

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

FULL = 4000
ALPHA = 0.05


@dataclass(frozen=True)
class Edges:
    """A layout of one medium's edges, and the truth about them.

    Attributes
    ----------
    cells, blocks : integer ndarray of shape (m,)
        Steel and blade of each edge; without blades every edge has its own.
    means : tuple of float
        True mean of each cell.
    sd : tuple of float
        True SDs of blades and of edges, on the log scale.
    share : float
    """

    cells: Codes
    blocks: Codes
    means: tuple[float, ...]
    sd: tuple[float, float]
    share: float

    @property
    def limit(self) -> float:
        """The level below which just the share lies: the claim is at its boundary."""
        means, sd = np.array(self.means), float(np.hypot(*self.sd))
        return float(optimize.brentq(lambda x: special.ndtr((x - means) / sd).mean() - self.share, -5, 5, xtol=1e-12))

    def draw(self, rng: np.random.Generator) -> Floats:
        """Means of the edges of one trial."""
        blades = self.sd[0] * rng.standard_normal(int(self.blocks.max()) + 1)
        edges = self.sd[1] * rng.standard_normal(len(self.cells))
        return np.array(self.means)[self.cells] + blades[self.blocks] + edges


def one_cell(blocks: Codes, sd: tuple[float, float], share: float = 0.9) -> Edges:
    """Edges of one steel."""
    return Edges(np.zeros_like(blocks), blocks, (0.0,), sd, share)


TWO_EACH: Codes = np.repeat(np.arange(6), 2)[:-1]
"""Six blades with two edges each, one edge lost."""
NESTED: Codes = np.repeat(np.arange(8), 2)
"""Eight blades with two edges each, four of either steel."""

INDEPENDENT: Mapping[str, Edges] = {
    "5 edges, 80 %": one_cell(np.arange(5), (0.0, 0.1), 0.8),
    "16 edges, 90 %": one_cell(np.arange(16), (0.0, 0.1)),
}
IN_BLADES: Mapping[str, Edges] = {
    "6 blades x 2, one lost; blades 0.00, edges 0.10": one_cell(TWO_EACH, (0.0, 0.1)),
    "6 blades x 2, one lost; blades 0.10, edges 0.10": one_cell(TWO_EACH, (0.1, 0.1)),
    "6 blades x 2, one lost; blades 0.20, edges 0.05": one_cell(TWO_EACH, (0.2, 0.05)),
}
IN_CELLS: Mapping[str, Edges] = {
    "2 steels x 4 blades x 2, steels alike": Edges(NESTED // 4, NESTED, (0.0, 0.0), (0.1, 0.1), 0.9),
    "2 steels x 4 blades x 2, steels 0.3 apart": Edges(NESTED // 4, NESTED, (0.0, 0.3), (0.1, 0.1), 0.9),
    "2 steels x 8 edges, steels 0.3 apart": Edges(NESTED // 4, np.arange(16), (0.0, 0.3), (0.0, 0.14), 0.9),
}
COUNTED: Mapping[str, Edges] = {
    "32 edges counted, independent": one_cell(np.arange(32), (0.0, 0.1), 0.8),
    "32 edges counted, 8 blades x 4; blades 0.05, edges 0.10": one_cell(np.repeat(np.arange(8), 4), (0.05, 0.1), 0.8),
    "32 edges counted, 8 blades x 4; blades 0.10, edges 0.10": one_cell(np.repeat(np.arange(8), 4), (0.1, 0.1), 0.8),
}


def errors_of_bound(edges: Edges, trials: int, seed: int) -> tuple[float, float]:
    """Share of trials that wrongly show, and that wrongly contradict, by the tolerance bound."""
    rng, counts = np.random.default_rng(seed), np.zeros(2)
    blocks = [edges.blocks] if len(set(edges.blocks)) < len(edges.blocks) else []
    for _ in range(trials):
        quantile = tolerance.edge_quantile(edges.draw(rng), edges.cells, blocks, edges.share)
        assert quantile is not None
        counts += (quantile.p_below(edges.limit) <= ALPHA, quantile.p_above(edges.limit) <= ALPHA)
    shown, contradicted = counts / trials
    return float(shown), float(contradicted)


def errors_of_count(edges: Edges, trials: int, seed: int) -> tuple[float, float]:
    """The same by counting edges."""
    rng, counts = np.random.default_rng(seed), np.zeros(2)
    for _ in range(trials):
        counted = Counted(edges.draw(rng), np.array([]), edges.limit, edges.share)
        counts += (counted.p_shown <= ALPHA, counted.p_contradicted <= ALPHA)
    shown, contradicted = counts / trials
    return float(shown), float(contradicted)


FAMILY = (
    (np.array([0.0, 1.0, 0.0]), MARGIN, Region(-MARGIN, MARGIN)),  # `same`: m1 is off m0 by just the margin
    (np.array([0.0, -1.0, 1.0]), 0.0, Region(-np.inf, 0.0)),  # `keener`: m2 reads just as m1
    (np.array([0.0, 0.0, 1.0]), MARGIN, Region(-np.inf, MARGIN)),  # `no worse`: m2 is off m0 by just the margin
)
"""Row of the difference, true difference, region: three claims, each at its boundary."""


def errors_of_family(sd: tuple[float, float, float, float], trials: int, seed: int) -> tuple[float, float, float]:
    """Share of trials with any claim wrongly shown, wrongly contradicted, and wrongly shown without Holm."""
    rng, counts = np.random.default_rng(seed), np.zeros(3)
    rows = np.array([row for row, _, _ in FAMILY])
    for _ in range(trials):
        fit = layout().refit(draw_response(rng, sd))
        estimates = rows @ fit.fixed.beta + [truth for _, truth, _ in FAMILY]
        se, df = freedom.standard_errors(fit.fixed, rows, adjusted=True), freedom.df_kenward_roger(fit.fixed, rows)
        pieces = [
            _evidence(region, float(e), float(s), float(d))
            for (_, _, region), e, s, d in zip(FAMILY, estimates, se, df, strict=True)
        ]
        told = [part.finding for part in share(pieces, [True] * 3, ALPHA)]
        alone = [part.finding for part in share(pieces, [False] * 3, ALPHA)]
        counts += ("shown" in told, "contradicted" in told, "shown" in alone)
    shown, contradicted, without = counts / trials
    return float(shown), float(contradicted), float(without)


def _evidence(region: Region, estimate: float, se: float, df: float) -> Evidence:
    return Evidence(
        p_shown=region.p_shown(estimate, se, df), p_contradicted=region.p_contradicted(estimate, se, df), unit="%",
        estimate=estimate, df=df, estimate_on_scale=estimate, se=se, bound_low=None, bound_high=None, real=None,
        interval=lambda rate: (np.nan, np.nan), more_edges=lambda rate: None, opinions=lambda rate, found: (),
        edges={}, cuts={},
    )  # fmt: skip


SPREADS = {"media suit some blades": (0.10, 0.10, 0.05, 0.08), "as the demo was drawn": (0.08, 0.03, 0.05, 0.08)}


def page(trials: int) -> str:
    """All results as a page."""
    began = process_time()
    bounds = [
        (name, *errors_of_bound(edges, trials, 2000 + i))
        for i, (name, edges) in enumerate({**INDEPENDENT, **IN_BLADES, **IN_CELLS}.items())
    ]
    counts = [(name, *errors_of_count(edges, trials, 2100 + i)) for i, (name, edges) in enumerate(COUNTED.items())]
    families = [(name, *errors_of_family(sd, trials, 2200 + i)) for i, (name, sd) in enumerate(SPREADS.items())]
    return f"""# Validity study: claims

Made by `python tests/validity/claims_study.py`: {trials:,} trials a line, seeds from 2000, {tolerance.DRAWS:,} draws a
bound, {process_time() - began:.0f} s of processor time. In percent; each claim is drawn at its boundary, where it may
err in 5 of 100 either way; the standard error of a share near 5 % is {100 * bound(trials, errors=1):.2f}.

## `reaches`

Edges of one medium, SDs on the log scale; 90 % of the edges are claimed where nothing else is said.

{_table(("edges", "wrongly shown", "wrongly contradicted"), [*bounds, *counts])}

{REACHES}

## A family of three

`same`, `keener` and `no worse` on the uneven layout of the other study (RESULTS.md), all three just not true; any of
them wrongly shown (or contradicted) counts as one error of the trial.

{_table(("spreads", "any wrongly shown", "any wrongly contradicted", "any wrongly shown, without Holm"), families)}
"""


REACHES = """\
Independent edges of one steel have an exact bound. In blades the bound comes from draws and is cautious in what it
shows: the less of the spread lies between blades, the more. What it contradicts errs about as often as it may,
somewhat more often where two steels are in truth alike and few blades of each were used. A count of edges that share
blades errs more often than it may, the more the blades differ; a finding that rests on such a count has a note that
says so."""


def _table(head: tuple[str, ...], rows: list[tuple[str | float, ...]]) -> str:
    lines = [head, ("---", *("---:" for _ in head[1:]))]
    lines += [tuple(cell if isinstance(cell, str) else f"{100 * cell:.1f}" for cell in row) for row in rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else FULL
    tolerance.DRAWS = 4000
    made = page(count)
    if count == FULL:
        (Path(__file__).parent / "RESULTS_CLAIMS.md").write_text(made, encoding="utf-8")
    print(made)
