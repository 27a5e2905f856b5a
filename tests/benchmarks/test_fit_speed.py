"""How fast a fit is: against statsmodels at bench size, against numbering the labels at 20,000 edges.

Run with ``python -m pytest tests/benchmarks -s``: the ratios are printed. The tests assert what
was computed, never how long it took.
"""

from __future__ import annotations

import tracemalloc
import warnings

import numpy as np
import pandas as pd
import pytest

from sharpstats import MixedFit, fit_mixed

from .timing import best, report

pytest.importorskip("statsmodels")


def bench_trial(lost: int) -> pd.DataFrame:
    """48 edges x 5 cuts: 6 blades x 4 media x 2 edges, with some cuts lost."""
    rng = np.random.default_rng(48)
    blade = rng.normal(0, 0.1, 6)
    rows = [
        (f"b{b}", f"m{m}", f"e{b}{m}{k}", 5 + blade[b] + edge + cut)
        for b in range(6)
        for m in range(4)
        for k in range(2)
        for edge in rng.normal(0, 0.1, 1)
        for cut in rng.normal(0, 0.1, 5)
    ]
    table = pd.DataFrame(rows, columns=["blade", "medium", "edge", "y"])
    return table.drop(index=rng.choice(len(table), lost, replace=False)).reset_index(drop=True)


def layout_model(table: pd.DataFrame) -> MixedFit:
    """The model that a trial of this layout gets: blade, blade by medium, edge."""
    return fit_mixed(table, response="y", fixed=["medium"], random=["blade", ("blade", "medium"), "edge"])


def crossed_model(table: pd.DataFrame) -> MixedFit:
    """The smaller model: blade and edge."""
    return fit_mixed(table, response="y", fixed=["medium"], random=["blade", "edge"])


def peer(table: pd.DataFrame, parts: dict[str, str]) -> object:
    """The same model in statsmodels, without degrees of freedom, which it does not have."""
    import statsmodels.formula.api as smf

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return smf.mixedlm("y ~ medium", table, groups="blade", re_formula="1", vc_formula=parts).fit()


@pytest.mark.parametrize("lost", [0, 17])
@pytest.mark.parametrize(
    ("name", "model", "parts"),
    [
        ("blade + blade x medium + edge", layout_model, {"edge": "0 + C(edge)", "bm": "0 + C(medium)"}),
        ("blade + edge", crossed_model, {"edge": "0 + C(edge)"}),
    ],
)
def test_fit_and_kenward_roger_against_statsmodels(name, model, parts, lost):
    table = bench_trial(lost)
    ours = best(lambda: model(table).contrasts("medium"), repeats=9, loops=10)
    theirs = best(lambda: peer(table, parts), repeats=3)
    report(f"fit + contrasts, 48 edges, {lost} cuts lost, {name}", ours, theirs, "statsmodels MixedLM")
    fit, other = model(table), peer(table, parts)
    assert fit.coefficients.estimate[1:] == pytest.approx(other.fe_params[1:], abs=0.003)
    assert -other.llf * 2 >= fit.reml_criterion - 1e-6  # neither has found a better point than ours


def large_trial(edges: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Edges x 5 cuts with 20 blades, operators and days crossed: integer codes, and text labels."""
    rng = np.random.default_rng(20_000)
    edge = np.repeat(np.arange(edges), 5)
    codes = {"edge": edge, "medium": rng.integers(0, 4, edges)[edge]}
    y = 5 + rng.normal(0, 0.1, edges)[edge] + rng.normal(0, 0.1, edge.size)
    for name in ("blade", "operator", "day"):
        codes[name] = rng.integers(0, 20, edges)[edge]
        y += rng.normal(0, 0.1, 20)[codes[name]]
    rows = rng.permutation(edge.size)[: edge.size - edges // 60]
    numbers = pd.DataFrame({**codes, "y": y}).iloc[rows].reset_index(drop=True)
    labels = pd.DataFrame({name: [f"{name} {code:05d}" for code in numbers[name]] for name in codes})
    return numbers, labels


def large_model(table: pd.DataFrame) -> MixedFit:
    return fit_mixed(table, response="y", fixed=["medium"], random=["blade", "operator", "day", "edge"])


def test_twenty_thousand_edges_against_factorize():
    numbers, labels = large_trial(20_000)
    ours = best(lambda: large_model(numbers).contrasts("medium"), repeats=9)
    for dtype in ("str", "object"):
        columns = [labels[name].astype(dtype) for name in labels]
        theirs = best(lambda columns=columns: [pd.factorize(column) for column in columns], repeats=5)
        report("fit + contrasts, 20,000 edges x 5", ours, theirs, f"pandas.factorize of {dtype} labels")
    fit = large_model(numbers)
    assert np.sqrt(fit.optimum.variances) == pytest.approx(0.1, rel=0.5)
    assert len(fit.contrasts("medium").table) == 6


def test_memory_grows_no_faster_than_readings():
    peaks = []
    for edges in (10_000, 40_000):
        numbers, _ = large_trial(edges)
        tracemalloc.start()
        large_model(numbers).contrasts("medium")
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    print(f"\npeak memory: {peaks[0] / 1e6:.1f} MB at 50,000 readings, {peaks[1] / 1e6:.1f} MB at 200,000")
    assert peaks[1] < 4.4 * peaks[0]
