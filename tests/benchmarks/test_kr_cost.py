"""The cost of a fit with Kenward and Roger's degrees of freedom against the number of edges.

Run with ``python -m pytest tests/benchmarks/test_kr_cost.py -s``: slopes on a log-log plot are printed. The full study
is `scale_study.py`.
"""

from __future__ import annotations

import pytest

from .scale import cost, crossed, model, solve


def test_slopes_of_the_cost() -> None:
    found = cost([100, 1000, 10_000], repeats=3)
    print(f"\nslope of a whole fit {found.slope(found.whole):.2f}, of what follows the reduction "
          f"{found.slope(found.solving):.2f}")  # fmt: skip


@pytest.mark.parametrize("edges", [200, 5000])
def test_after_the_reduction_nothing_is_as_long_as_the_edges(edges: int) -> None:
    """Why the second slope is about nil: the sums have the same shape however many edges there were."""
    fit = model(crossed(edges))
    assert fit.reduced.products.shape == (fit.reduced.sizes.size, 20 + 10 + 4 + 1, 20 + 10 + 4 + 1)
    assert fit.reduced.sizes.size <= 6
    solve(fit)
