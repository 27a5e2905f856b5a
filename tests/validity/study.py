"""How often intervals cover and claims err, in trials drawn anew from a small layout with lost edges.

Six blades crossed with three media, two edges for each, three cuts an edge; six edges and
four cuts were lost, one cell whole. Every trial is fitted as `trial.fit()` would: blade,
blade x medium and edge random.

    python tests/validity/study.py             # 20,000 trials a setting, about five minutes; writes RESULTS.md
    python tests/validity/study.py 500         # fewer trials, only shown
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from time import process_time

ROOT = Path(__file__).parents[2]
if __name__ == "__main__":
    sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402
from numpy.typing import NDArray  # noqa: E402
from reference.layouts import crossed  # noqa: E402
from scipy import stats  # noqa: E402

from sharpstats.claims.region import Region  # noqa: E402
from sharpstats.model import freedom  # noqa: E402
from sharpstats.model.mixed import MixedFit, fit_mixed  # noqa: E402

Floats = NDArray[np.float64]

FULL = 20_000
MARGIN = float(np.log(1.15))
"""15 % on the log scale."""
SAME = np.array([0.0, 1.0, 0.0])
"""m1 minus m0, the difference of the claim `same`."""
KEENER = np.array([0.0, -1.0, 1.0])
"""m2 minus m1, the difference of the claim `keener`."""
LOST_EDGES = ("e1", "e5", "e12", "e20", "e21", "e33")
LOST_CUTS = (4, 30, 31, 70)

SETTINGS: dict[str, tuple[float, float, float, float]] = {
    "media suit some blades": (0.10, 0.10, 0.05, 0.08),
    "all spreads alike": (0.10, 0.07, 0.07, 0.07),
    "as the demo was drawn": (0.08, 0.03, 0.05, 0.08),
    "edges differ most": (0.05, 0.02, 0.15, 0.05),
    "no blade x medium": (0.10, 0.00, 0.06, 0.08),
    "nothing but cuts": (0.00, 0.00, 0.00, 0.10),
}
"""True SDs on the log scale of blade, blade x medium, edge and cut."""


@lru_cache
def layout() -> MixedFit:
    """The layout, fitted to some readings: what every trial is refitted on."""
    table = crossed(np.random.default_rng(0), media=3, blades=6, edges=2, cuts=3)
    table = table[~table["edge"].isin(LOST_EDGES)]
    table = table.drop(table.index[list(LOST_CUTS)])
    return fit_mixed(table, response="y", fixed=["medium"], random=["blade", ("blade", "medium"), "edge"])


@dataclass(frozen=True)
class Drawn:
    """What the trials of one setting gave, for the two differences (rows x 2).

    Attributes
    ----------
    estimate, se, df : ndarray of shape (trials, 2)
        Kenward-Roger; every true difference is zero.
    plain_se, satterthwaite_df : ndarray of shape (trials, 2)
        Unadjusted standard error, and Satterthwaite's df that go with it.
    zeros : ndarray of shape (trials,)
        Whether a spread was estimated as zero.
    """

    estimate: Floats
    se: Floats
    df: Floats
    plain_se: Floats
    satterthwaite_df: Floats
    zeros: Floats

    @property
    def trials(self) -> int:
        """Number of trials."""
        return len(self.estimate)

    @cached_property
    def covered(self) -> dict[str, float]:
        """Share of 95 % intervals of the first difference that hold its true value, by method."""
        t, plain = self.estimate[:, 0] / self.se[:, 0], self.estimate[:, 0] / self.plain_se[:, 0]
        return {
            "Kenward-Roger": float(np.mean(np.abs(t) <= stats.t.isf(0.025, self.df[:, 0]))),
            "Satterthwaite": float(np.mean(np.abs(plain) <= stats.t.isf(0.025, self.satterthwaite_df[:, 0]))),
            "normal": float(np.mean(np.abs(plain) <= stats.norm.isf(0.025))),
        }

    @cached_property
    def same_at_margin(self) -> float:
        """Share of trials that show `same` at 5 % where the true difference is the margin.

        A constant added to all edges of a medium moves the estimate by it and nothing else,
        so the trials need not be drawn again.
        """
        region = Region(-MARGIN, MARGIN)
        columns = (self.estimate[:, 0] + MARGIN, self.se[:, 0], self.df[:, 0])
        return float(np.mean([region.p_shown(*map(float, row)) <= 0.05 for row in zip(*columns, strict=True)]))

    @cached_property
    def keener_at_zero(self) -> float:
        """Share of trials that show `keener` at 5 % where there is no difference."""
        region = Region(-np.inf, 0.0)
        columns = (self.estimate[:, 1], self.se[:, 1], self.df[:, 1])
        return float(np.mean([region.p_shown(*map(float, row)) <= 0.05 for row in zip(*columns, strict=True)]))

    @cached_property
    def keener_by_normal(self) -> float:
        """The same by the normal approximation."""
        return float(np.mean(self.estimate[:, 1] / self.plain_se[:, 1] <= stats.norm.ppf(0.05)))


def draw_response(rng: np.random.Generator, sd: tuple[float, float, float, float]) -> Floats:
    """Readings without any true difference, on the log scale."""
    fit = layout()
    blade, cell = (codes[fit.units.unit] for codes in fit.units.upper)
    parts = (
        spread * rng.standard_normal(int(codes.max()) + 1)[codes]
        for spread, codes in zip(sd, (blade, cell, fit.units.unit), strict=False)
    )
    return np.asarray(sum(parts) + sd[3] * rng.standard_normal(fit.frame.y.size))


def simulate(sd: tuple[float, float, float, float], trials: int, seed: int) -> Drawn:
    """Draw and fit so many trials.

    Parameters
    ----------
    sd : tuple of float
        True SDs of blade, blade x medium, edge and cut.
    trials, seed : int
    """
    rng = np.random.default_rng(seed)
    rows = np.vstack([SAME, KEENER])
    found = []
    for _ in range(trials):
        fit = layout().refit(draw_response(rng, sd))
        found.append((
            rows @ fit.fixed.beta,
            freedom.standard_errors(fit.fixed, rows, adjusted=True),
            freedom.df_kenward_roger(fit.fixed, rows),
            freedom.standard_errors(fit.fixed, rows, adjusted=False),
            freedom.df_satterthwaite(fit.fixed, rows),
            np.any(fit.optimum.variances == 0),
        ))  # fmt: skip
    return Drawn(*(np.array(column) for column in zip(*found, strict=True)))


def bound(trials: int, rate: float = 0.05, errors: float = 3.0) -> float:
    """So many standard errors of a share over that many trials."""
    return errors * float(np.sqrt(rate * (1 - rate) / trials))


def results(trials: int) -> pd.DataFrame:
    """One row a setting, in percent."""
    rows = []
    for number, (name, sd) in enumerate(SETTINGS.items()):
        drawn = simulate(sd, trials, 1000 + number)
        rows.append({
            "setting": name, "SDs": " ".join(f"{value:.2f}" for value in sd), "a spread at zero": drawn.zeros.mean(),
            **{f"covers, {method}": share for method, share in drawn.covered.items()},
            "`same` at the margin": drawn.same_at_margin, "`keener` at zero": drawn.keener_at_zero,
            "`keener` by normal": drawn.keener_by_normal,
        })  # fmt: skip
    table = pd.DataFrame(rows).set_index(["setting", "SDs"])
    return (100 * table).round(1).reset_index()


def page(table: pd.DataFrame, trials: int, seconds: float) -> str:
    """The results as a page."""
    head = "| " + " | ".join(table.columns) + " |"
    rule = "| --- | --- |" + " ---: |" * (table.shape[1] - 2)
    body = ["| " + " | ".join(f"{cell:.1f}" if isinstance(cell, float) else cell for cell in row) + " |"
            for row in table.itertuples(index=False, name=None)]  # fmt: skip
    return f"""# Validity study

Made by `python tests/validity/study.py`: {trials:,} trials a setting, seeds 1000 to {999 + len(table)},
{seconds:.0f} s of processor time. All in percent; the standard error of a share near 5 or 95 % is
{100 * bound(trials, errors=1):.2f}.

Six blades crossed with three media, two edges for each, three cuts an edge; six edges and four cuts lost, so that one
cell is empty and the rest uneven. SDs are those of blade, blade x medium, edge and cut on the log scale. "Covers" is
how often a 95 % interval holds the true difference of two media; `same` is asked with the true difference at its margin
of 15 %, `keener` with no difference at all: each may err in 5 of 100. "Normal" takes the unadjusted standard error and
1.96 (1.64 for one side).

{chr(10).join([head, rule, *body])}

Where every spread is there (the first two settings), Kenward-Roger intervals cover what they say and claims err as
often as they may; the normal approximation covers too little and errs too often. Where a spread is small or not there
at all, its estimate is often zero and the df that it keeps make intervals wider than they need be: findings then err
less often than they may, never more often. In those settings the normal approximation covers about as near 95 % as
Kenward-Roger does, or nearer: its two faults cancel there, which nobody at a bench can know beforehand.
`same` errs less often still where the margin is but two standard errors wide, since the other side of the margin must
be excluded too.
"""


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else FULL
    began = process_time()
    made = page(results(count), count, process_time() - began)
    if count == FULL:
        (ROOT / "tests" / "validity" / "RESULTS.md").write_text(made, encoding="utf-8")
    print(made)
