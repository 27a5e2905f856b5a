"""The full study of scale: ``python tests/benchmarks/scale_study.py`` writes RESULTS.md and kr_cost.svg beside it.

It takes two to five minutes, two gigabytes of memory and one of disk.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # before NumPy is loaded: threads on small matrices only wait for each other
sys.path.insert(0, str(Path(__file__).parents[1]))

import matplotlib.pyplot as plt
import pandas as pd

from benchmarks.scale import Cost, cost, large_file

HERE = Path(__file__).parent
SIZES = (100, 300, 1000, 3000, 10_000, 30_000, 100_000, 200_000)
EDGES = 2_000_000
TEXT = """\
# Scale: what was measured

Written by `python tests/benchmarks/scale_study.py`, on two cores and with one thread for linear algebra. Times are of
this machine on this day; the ratios and slopes are what to look at.

## A file too large to hold

{edges:,} edges on 200 blades by 50 operators, {cuts:,} cuts, all invented. Each row is a process of its own, so that
memory is its peak, with all that it imports. The plain group-by is what any fit needs: count, mean and variance of each
edge, by the same library with the same 2 GB and 2 threads. `found` is the number of edges, or of claims.

{large}

The fit has 250 random columns. What the claims take is mostly the fit of the model that the layout asks for, with blade
by medium and operator by medium: 1,250 random columns, whose matrices grow with the square of that.

## The cost of a fit against edges

Five cuts an edge, a tenth of them lost, 20 blades and 10 operators crossed, in memory, rows in no order. What grows
with the edges is the reduction: a few passes over the readings. After it, variances by REML and Kenward and Roger's
degrees of freedom cost the same for any number of edges. Slopes on a log-log plot, by least squares over all sizes (for
the reduction from 10,000 edges on, where fixed costs no longer count):

| part | slope |
| --- | --- |
| reduction | {reducing:.2f} |
| REML and Kenward-Roger after it | {solving:.2f} |
| whole fit with contrasts | {whole:.2f} |

{cost}

![Time against edges](kr_cost.svg)
"""


def main() -> None:
    """Measure, draw and write."""
    found = cost(SIZES)
    draw(found)
    with TemporaryDirectory(prefix="sharpstats-study-") as folder:
        large = large_file(Path(folder), EDGES)
        cuts = int(pd.read_parquet(Path(folder) / "readings.parquet", columns=["reading"]).size)
    many = found.edges >= 10_000
    upper = Cost(found.edges[many], found.whole[many], found.solving[many])
    table = pd.DataFrame({
        "edges": [f"{edges:,.0f}" for edges in found.edges], "reduction, ms": 1e3 * found.reducing,
        "after it, ms": 1e3 * found.solving, "whole, ms": 1e3 * found.whole,
    })  # fmt: skip
    (HERE / "RESULTS.md").write_text(TEXT.format(
        edges=EDGES, cuts=cuts, large=markdown(large), cost=markdown(table), reducing=upper.slope(upper.reducing),
        solving=found.slope(found.solving), whole=found.slope(found.whole),
    ))  # fmt: skip


def markdown(table: pd.DataFrame) -> str:
    """A table as text, its numbers with two decimals at most."""
    rows = [[f"{cell:,.2f}" if isinstance(cell, float) else str(cell) for cell in row] for row in table.to_numpy()]
    lines = [list(table.columns), ["---"] * table.shape[1], *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def draw(found: Cost) -> None:
    """Both parts of the cost, and a line of slope 1 to compare with."""
    figure, axes = plt.subplots(figsize=(6, 4), layout="constrained")
    axes.loglog(found.edges, 1e3 * found.reducing, "o-", label="reduction: one pass over the readings")
    axes.loglog(found.edges, 1e3 * found.solving, "s-", label="after it: REML and Kenward-Roger")
    last = 1e3 * found.reducing[-1]
    axes.loglog(found.edges[-4:], last * found.edges[-4:] / found.edges[-1], ":", color="0.4", label="slope 1")
    axes.set(xlabel="edges", ylabel="time, ms", title="Only adding up grows with the edges")
    axes.grid(visible=True, which="major", color="0.9")
    axes.legend(frameon=False)
    plt.rcParams["svg.hashsalt"] = "kr_cost"
    figure.savefig(HERE / "kr_cost.svg", metadata={"Date": None})
    plt.close(figure)


if __name__ == "__main__":
    main()
