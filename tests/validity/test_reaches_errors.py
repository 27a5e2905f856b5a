"""`reaches` at its boundary: a few settings of the study, with fixed seeds."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special
from validity.draw import HEAVY, SKEWED
from validity.reaches import ALPHA, COUNTED, DRAWN, EXACT, Edges, by_draws, measure, settings
from validity.shares import OFF, bound

from sharpstats.model import tolerance

TRIALS = 10_000


class TestEdges:
    @pytest.mark.parametrize("edges", [Edges(12, 2, "blades most"), Edges(16, 2, "blades as edges", apart=0.3),
                                       Edges(8, shape=SKEWED)])  # fmt: skip
    def test_the_claim_is_at_its_boundary(self, edges: Edges) -> None:
        below = np.mean(edges.draw(20_000, "other") < edges.limit, axis=1)
        assert below.mean() == pytest.approx(edges.share, abs=4 * below.std() / np.sqrt(20_000))

    def test_normal_edges_of_one_steel_have_the_plain_quantile(self) -> None:
        assert Edges(8).limit == pytest.approx(0.1 * special.ndtri(0.9), rel=1e-9)

    def test_names_are_their_own(self) -> None:
        names = [(method, edges.name) for method, edges in settings()]
        assert len(set(names)) == len(names)


@pytest.mark.parametrize("edges", [Edges(3), Edges(24, share=0.95)])
def test_the_exact_bound_errs_as_often_as_it_may(edges: Edges) -> None:
    for found in measure(EXACT, edges, TRIALS).values():
        assert found == pytest.approx(ALPHA, abs=bound(TRIALS))


def test_the_study_compares_as_the_package_does() -> None:
    edges = Edges(6)
    values = edges.draw(300)
    found = [tolerance.edge_quantile(one, edges.cells, [], edges.share) for one in values]
    shown = np.mean([quantile is not None and quantile.p_below(edges.limit) <= ALPHA for quantile in found])
    assert measure(EXACT, edges, 300)["shown"] == pytest.approx(shown)


def test_edges_that_are_not_normal_mislead_the_bound() -> None:
    skewed, heavy = (measure(EXACT, Edges(24, shape=shape), TRIALS) for shape in (SKEWED, HEAVY))
    assert skewed["shown"] > OFF + bound(TRIALS, OFF)
    assert min(skewed["contradicted"], heavy["contradicted"]) > OFF + bound(TRIALS, OFF)


def test_edges_in_blades_err_no_more_often_than_they_may() -> None:
    trials = 400
    found = measure(DRAWN, Edges(12, 2, "blades most", lost=True), trials)
    assert max(found.values()) <= ALPHA + bound(trials)


def test_blades_passed_over_would_show_too_much() -> None:
    """The same edges with their blades forgotten: what the draws are for."""
    edges = Edges(12, 2, "blades most")
    values = edges.draw(400)
    forgotten = Edges(12)
    assert by_draws(edges, values)[0] < 0.08
    quantiles = [tolerance.edge_quantile(one, forgotten.cells, [], 0.9) for one in values]
    assert np.mean([one is not None and one.p_below(edges.limit) <= ALPHA for one in quantiles]) > 0.08


class TestCounts:
    @pytest.mark.parametrize("shape", [HEAVY, SKEWED])
    def test_independent_edges_of_any_shape(self, shape: str) -> None:
        assert max(measure(COUNTED, Edges(24, shape=shape, share=0.8), TRIALS).values()) <= ALPHA + bound(TRIALS)

    def test_edges_that_share_blades_err_more_often(self) -> None:
        shared = measure(COUNTED, Edges(24, 4, "blades most", share=0.8), TRIALS)
        assert min(shared.values()) > OFF + bound(TRIALS, OFF)
