"""How often the intervals of a tester study hold the truth: crossed, nested, few operators, lost cuts, pooled or not.

    python tests/validity/tester_study.py          # 10,000 studies a line, three minutes; writes RESULTS_TESTER.md
    python tests/validity/tester_study.py 500      # fewer studies, only shown

The limits of sums are computed for all drawn studies at once by the functions that `find_spreads` uses. A ratio is
inside its limits while the limits of (sum above) - ratio * (sum below) hold zero: that is how they are defined.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from time import process_time

ROOT = Path(__file__).parents[2]
if __name__ == "__main__":
    sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402
from numpy.typing import NDArray  # noqa: E402
from scipy import stats  # noqa: E402
from validity.shares import bound  # noqa: E402

from sharpstats.model.largesample import linear_limits  # noqa: E402
from sharpstats.model.meansquares import MeanSquares  # noqa: E402
from sharpstats.tester.arrangement import BOTH, Part, find_arrangement  # noqa: E402
from sharpstats.tester.bootstrap import drawn_readings  # noqa: E402
from sharpstats.tester.known import FromSquares  # noqa: E402
from sharpstats.tester.pooling import POOL_ABOVE  # noqa: E402
from sharpstats.tester.smallest import left_in, ways_of  # noqa: E402
from sharpstats.tester.spreads import Spreads, find_spreads  # noqa: E402
from sharpstats.tester.squares import Sweep, sweep  # noqa: E402

Floats = NDArray[np.float64]
FULL = 10_000
LEVEL = 0.95
CUTS = 4
"""Cuts on each edge for the smallest difference."""


def grid(operators: int, edges: int, cuts: int) -> pd.DataFrame:
    """Every operator cuts every edge so many times."""
    o, e, c = np.indices((operators, edges, cuts)).reshape(3, -1)
    return pd.DataFrame({"operator": o, "edge": e, "cut": c})


def lost(table: pd.DataFrame, cuts: int) -> pd.DataFrame:
    """Lose the last cell and so many cuts at random."""
    last = (table["operator"] == table["operator"].max()) & (table["edge"] == table["edge"].max())
    kept = table[~last]
    return kept.drop(index=np.random.default_rng(9).choice(kept.index, cuts, replace=False)).reset_index(drop=True)


def in_part(operators: int, edges: int, cuts: int) -> pd.DataFrame:
    """Each edge is cut by two of the operators."""
    table = grid(operators, edges, cuts)
    apart = (table["operator"] - table["edge"]) % operators
    return table[(apart == 0) | (apart == 1 + table["edge"] // operators)].reset_index(drop=True)


def own_edges(operators: int, edges: int, cuts: int) -> pd.DataFrame:
    """Each operator cuts edges of his own."""
    return grid(operators, edges, cuts).assign(edge=lambda t: t["operator"] * edges + t["edge"])


LAYOUTS: Mapping[str, pd.DataFrame] = {
    "crossed, 3 x 8 x 4": grid(3, 8, 4),
    "crossed, 2 x 5 x 2": grid(2, 5, 2),
    "crossed, 6 x 10 x 3": grid(6, 10, 3),
    "crossed, 3 x 8 x 4, a cell and 10 cuts lost": lost(grid(3, 8, 4), 10),
    "crossed, 3 x 8 x 4, a cell and 30 cuts lost": lost(grid(3, 8, 4), 30),
    "crossed in part, each of 8 edges by 2 of 4, 3 cuts": in_part(4, 8, 3),
    "crossed, 3 x 8 x 4 on 4 days": grid(3, 8, 4).assign(day=lambda t: t["cut"]),
    "nested, 3 x 5 x 3": own_edges(3, 5, 3),
    "nested, 2 x 4 x 2": own_edges(2, 4, 2),
    "nested, 3 x 5 x 3, an edge and 5 cuts lost": lost(own_edges(3, 5, 3), 5),
    "one operator, 8 x 4": grid(1, 8, 4),
    "one operator, 8 x 6 on 4 unequal days": grid(1, 8, 6).assign(day=lambda t: (t["cut"] * t["edge"]) % 4),
}
"""Operators x edges x cuts on each by each."""
TRUTHS: Mapping[str, Mapping[str, float]] = {
    "typical": {"operator": 0.04, BOTH: 0.03, "edge": 0.2, "day": 0.03, "repeatability": 0.06},
    "operators and edges alike": {"operator": 0.0, BOTH: 0.0, "edge": 0.02, "day": 0.0, "repeatability": 0.06},
    "operators far apart": {"operator": 0.15, BOTH: 0.08, "edge": 0.2, "day": 0.03, "repeatability": 0.04},
}
"""True SDs of the logarithm."""
RULES = {"kept": 1.0, "by the rule": POOL_ABOVE, "pooled": 0.0}


@dataclass(frozen=True, eq=False)
class Design:
    """A layout with the parts that are fitted, and how a real study of it would tell them.

    Attributes
    ----------
    table : DataFrame
    pool_above : float
    """

    table: pd.DataFrame
    pool_above: float = 1.0
    told: Spreads = field(init=False)

    def __post_init__(self) -> None:
        y = np.exp(0.1 * np.random.default_rng(0).standard_normal(len(self.table)))
        object.__setattr__(self, "told", find_spreads(self.table.assign(reading=y), scale="log",
                                                      pool_above=self.pool_above))  # fmt: skip

    @cached_property
    def sweep(self) -> Sweep:
        """The layout's sums of squares."""
        return sweep([part.codes for part in self.told.parts], len(self.table))

    @property
    def known(self) -> FromSquares:
        """Turns weights over parts into weights over mean squares."""
        blank = np.ones(len(self.sweep.df))
        return FromSquares(MeanSquares(self.told.terms, self.sweep.df, blank, self.sweep.expected, LEVEL))

    def truth(self, sds: Mapping[str, float]) -> Floats:
        """True variances of the fitted parts."""
        return np.array([sds[term] ** 2 for term in self.told.terms])

    def questions(self) -> Iterator[tuple[str, Floats, Floats | None]]:
        """Everything that has an interval: its name, its weights, and those of the sum below where it is a ratio."""
        told = self.told
        yield from ((name, row, None) for name, row in told.sums.items())
        yield "tester", told.sums[told.wide], None
        if "whole" in told.sums:
            whole, wide = told.sums["whole"], told.sums[told.wide]
            yield "share of the tester", wide, whole
            yield "share of edges", told.sums["edge"], whole
            yield "distinct categories", told.sums["edge"], wide
        for way in ways_of(told):
            yield f"smallest, {way}", left_in(told, way) + np.append(np.zeros(len(told.parts)), 1 / CUTS), None


def holds(design: Design, squares: Floats, truth: Floats, above: Floats, below: Floats | None) -> NDArray[np.bool_]:
    """Whether the interval of each drawn study holds the truth."""
    weights, value = above, float(above @ truth)
    if below is not None:
        weights, value = above - value / float(below @ truth) * below, 0.0
    if not weights.any():
        return np.ones(len(squares), dtype=bool)
    low, high = linear_limits(squares, design.sweep.df, design.known.on_squares(weights), LEVEL)
    rounding = 1e-15
    if below is None:
        high = np.maximum(high, 0.0)
    return (low <= value + rounding) & (high >= value - rounding)


def coverage(layout: str, truth: str, rule: str, trials: int, seed: int) -> dict[str, float]:
    """Share of drawn studies whose interval holds the truth, in percent, for everything that has an interval."""
    table, sds = LAYOUTS[layout], TRUTHS[truth]
    kept, pooled = Design(table, 1.0), Design(table, 0.0)
    parts: tuple[Part, ...] = find_arrangement(table).parts
    variances = np.array([*(sds[part.name] ** 2 for part in parts), sds["repeatability"] ** 2])
    y = drawn_readings(np.random.default_rng(seed), [part.codes for part in parts], variances, trials, len(table))
    pools = _pools(kept, y, RULES[rule])
    found: dict[str, list[NDArray[np.bool_]]] = {}
    for design, chosen in ((kept, ~pools), (pooled, pools)):
        if not chosen.any():
            continue
        squares = design.sweep.squares(y[chosen]) / design.sweep.df
        for name, above, below in design.questions():
            found.setdefault(name, []).append(holds(design, squares, design.truth(sds), above, below))
    return {name: 100 * float(np.concatenate(shares).mean()) for name, shares in found.items()}


def _pools(kept: Design, y: Floats, above: float) -> NDArray[np.bool_]:
    if BOTH not in kept.told.terms or above == 1:
        return np.zeros(len(y), dtype=bool)
    squares, df, i = kept.sweep.squares(y) / kept.sweep.df, kept.sweep.df, kept.told.terms.index(BOTH)
    return np.asarray((stats.f.sf(squares[:, i] / squares[:, -1], df[i], df[-1]) > above) | (above == 0))


def by_likelihood(layout: str, truth: str, trials: int, seed: int) -> dict[str, float]:
    """The same for the parts' intervals by profile likelihood, fitted study by study."""
    design = Design(LAYOUTS[layout])
    variances, codes = design.truth(TRUTHS[truth]), [part.codes for part in design.told.parts]
    drawn = drawn_readings(np.random.default_rng(seed), codes, variances, trials, len(design.table))
    parts = [design.told.fit.refit(y).components for y in drawn]
    inside = [(one.low <= variances) & (variances <= one.high) for one in parts]
    return dict(zip(design.told.terms, 100 * np.mean(inside, axis=0), strict=True))


SHOWN = {
    "repeatability": "repeatability, r", "operator": "operator", BOTH: BOTH, "edge": "edge",
    "tester": "reproducibility, R", "whole": "whole", "share of the tester": "share of the tester",
    "distinct categories": "distinct categories", "smallest, one operator": "smallest difference, one operator",
    "smallest, two operators": "smallest difference, two operators",
}  # fmt: skip
"""What the page shows, and what it calls it."""


def settings() -> Iterator[tuple[str, str, str]]:
    """Layout, truth and rule of each line."""
    for layout, table in LAYOUTS.items():
        crossed = BOTH in [part.name for part in find_arrangement(table).parts]
        yield from ((layout, truth, rule) for truth in TRUTHS for rule in (RULES if crossed else ["kept"]))


def page(trials: int) -> str:
    """All results as a page."""
    began = process_time()
    found = {setting: coverage(*setting, trials, 4000 + number) for number, setting in enumerate(settings())}
    profile = {layout: by_likelihood(layout, "typical", max(trials // 20, 20), 4900)
               for layout in ("crossed, 3 x 8 x 4", "nested, 3 x 5 x 3")}  # fmt: skip
    tables = [f"## Operator x edge {rule}\n\n{_table(rule, found)}" for rule in RULES]
    return PAGE.format(
        trials=trials, seconds=process_time() - began, error=100 * bound(trials, errors=1), truths=_truths(),
        tables="\n\n".join(tables), says=SAYS, profile=_profile(profile), few=max(trials // 20, 20), more=PROFILE_SAYS,
    )  # fmt: skip


def _table(rule: str, found: Mapping[tuple[str, str, str], Mapping[str, float]]) -> str:
    rows = [(f"{layout}; {truth}", *(cells.get(name, np.nan) for name in SHOWN))
            for (layout, truth, of), cells in found.items() if of == rule]  # fmt: skip
    return _lines(("operators x edges x cuts; truth", *SHOWN.values()), rows)


def _profile(found: Mapping[str, Mapping[str, float]]) -> str:
    names = ["repeatability", "operator", BOTH, "edge"]
    rows = [(layout, *(cells.get(name, np.nan) for name in names)) for layout, cells in found.items()]
    return _lines(("layout", *names), rows)


def _truths() -> str:
    return "; ".join(f"{name}: " + ", ".join(f"{part} {sd:g}" for part, sd in sds.items())
                     for name, sds in TRUTHS.items())  # fmt: skip


def _lines(head: tuple[str, ...], rows: list[tuple[str | float, ...]]) -> str:
    lines = [head, ("---", *("---:" for _ in head[1:]))]
    lines += [tuple(cell if isinstance(cell, str) else "" if np.isnan(cell) else f"{cell:.1f}" for cell in row)
              for row in rows]  # fmt: skip
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


PAGE = """\
# Intervals of tester studies

Made by `python tests/validity/tester_study.py`: {trials:,} studies a line, seeds from 4000, {seconds:.0f} s of
processor time. In percent: how many of the drawn studies have a 95 % interval that holds the truth. The standard error
of a share near 95 % is {error:.1f}. The smallest difference is that of {cuts} cuts on each edge. An SD, r or R and a
variance have the same coverage. Where only days changed, R stands for intermediate precision.

True SDs of the logarithm: {truths}.

{tables}

{says}

## Profile likelihood, for comparison

The parts' intervals by REML, typical truth, {few} studies a line.

{profile}

{more}
""".replace("{cuts}", str(CUTS))
SAYS = """\
With operator x edge kept, the intervals of all parts, sums and ratios hold the truth in 94 to 98.5 of 100 studies,
with lost cuts as well. Where the readings decide (pooled above p = 0.25) sums hold it in 92 or more; the
interval of operator x edge itself, where it is kept although there is none in truth, in 88 or more. Pooled whatever
the readings say, a true operator x edge spoils the interval of repeatability: so it is never done unasked."""
PROFILE_SAYS = """\
Of single parts the intervals of the likelihood hold the truth about as often. Sums and ratios have none from it, and
so the mean squares give the intervals that are told; those of the likelihood stand beside them."""


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else FULL
    made = page(count)
    if count == FULL:
        (Path(__file__).parent / "RESULTS_TESTER.md").write_text(made, encoding="utf-8")
    print(made)
