"""Restricted likelihood where some cuts are over the tester's range.

An edge with all cuts in range has a normal likelihood; one with a cut over the range has that
of `overedge.py`. Random effects and fixed effects are integrated out by Laplace's method, as
restricted likelihood does exactly where all is normal (Harville 1974, Biometrika 61:383-385;
Breslow & Clayton 1993, JASA 88:9-25): with no cut over the range this *is* the criterion of
`reml.py`. At given variances the joint mode comes by Newton's method, each step of which is a
weighted least squares fit to *working means* eta + score / weight with variances 1 / weight.

At the end the working means stand for the edges: as 1 / weight = s0 / n + s1 for some n between
none and all of its cuts, an edge with cuts over the range is worth n cuts in range. What
follows a fit (means, differences, degrees of freedom) takes this equivalent fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sharpstats.errors import FitError
from sharpstats.model.overedge import EdgeTerms, OverEdges, edge_slopes, edge_terms
from sharpstats.model.reduce import Reduced
from sharpstats.model.reml import Derivatives, Optimum, Weighted, column_roots, derivatives, inner_inverse, weigh

Floats = NDArray[np.float64]
MAX_STEPS = 100
CLOSE = 1e-7
"""A step of expected readings, in standard deviations of a cut, after which one more leaves only rounding."""
MANY, ALIKE = 300, 0.01
"""With more edges over the range than this, those that are worth the same number of cuts, to half a percent, share a
stratum of the equivalent fit: memory does not grow with them, and standard errors move in their fourth digit."""
LEAST_WEIGHT = 1e-12
"""Least weight of an edge, as a share of that of one cut in range."""
DIFFERENCE = 3e-5
LEAST_SHARE = 1e-3
"""Step of differences by a variance: a share of it, or of the cut error where it is next to nothing."""
LEAST_MEND = 1e-6
"""Least cosine between a step and what the Hessian gets wrong along it, for the Hessian to be mended by it."""


@dataclass(frozen=True, slots=True)
class OverRange:
    """A trial with cuts over the range, reduced.

    Attributes
    ----------
    inside : Reduced
        Sums of the edges with all cuts in range, and the deviations within all edges.
    edges : OverEdges
        The other edges.
    rows : ndarray of shape (E, q + p)
        Their rows of [Z | X].
    own : ndarray of shape (E, d - 1)
        Derivative of their variance between edges by the diagonal variances after the cut error.
    readings, units : int
        Number of readings and edges, those over the range among them.
    """

    inside: Reduced
    edges: OverEdges
    rows: Floats
    own: Floats
    readings: int
    units: int

    def spread(self, s: Floats) -> Floats:
        """Variance between edges for each edge with cuts over the range (E,)."""
        return self.own @ s[1 : 1 + self.own.shape[1]]


@dataclass(frozen=True, slots=True)
class Working:
    """Edges with cuts over the range as the equivalent fit takes them.

    Attributes
    ----------
    mean : ndarray of shape (E,)
        Working means.
    size : ndarray of shape (E,)
        Number of cuts in range that each edge is worth.
    """

    mean: Floats
    size: Floats


@dataclass(frozen=True, slots=True)
class Mode:
    """Joint mode of fixed and random effects at given variances.

    Attributes
    ----------
    effects : ndarray of shape (q + p,)
        Block effects, then fixed effects.
    eta : ndarray of shape (E,)
        Expected readings of the edges with cuts over the range.
    a : ndarray of shape (t, t)
        Cross-products of [Z X y], all edges weighted.
    m : ndarray of shape (q + p, q + p)
        As in `reml.py`.
    log_det : float
    terms : EdgeTerms
    """

    effects: Floats
    eta: Floats
    a: Floats
    m: Floats
    log_det: float
    terms: EdgeTerms


def find_mode(model: OverRange, s: Floats, weighted: Weighted, eta: Floats) -> Mode:
    """Find the joint mode of fixed and random effects by Newton's method from `eta`.

    Raises
    ------
    FitError
        If it is not found.
    """
    q, f = model.inside.q, model.inside.q + model.inside.p
    root = np.concatenate([column_roots(model.inside, s), np.ones(model.inside.p)])
    spread = model.spread(s)
    last = False
    for _ in range(MAX_STEPS):
        terms = edge_terms(model.edges, eta, s[0], spread)
        a = _with_edges(weighted.a, model.rows, eta, terms)
        m, log_det = inner_inverse(a[:f, :f], root, q)
        effects = m @ a[:f, f]
        if last:
            return Mode(effects, eta, a, m, log_det, terms)
        there = model.rows @ effects
        last = np.abs(there - eta).max(initial=0.0) < CLOSE * np.sqrt(s[0])
        eta = there
    raise FitError(
        "The fit of the cuts over the range did not settle. Too few cuts are in range for what is asked: "
        "leave out a factor or a block, or a medium with hardly a cut in range."
    )


def _with_edges(a: Floats, rows: Floats, eta: Floats, terms: EdgeTerms) -> Floats:
    """Add the edges with cuts over the range to the cross-products, by their working means."""
    whole = np.column_stack([rows, eta + terms.score / terms.weight])
    return a + whole.T @ (terms.weight[:, None] * whole)


def working(model: OverRange, s: Floats, eta: Floats, terms: EdgeTerms) -> Working:
    """Working means, and the number of cuts in range that each edge is worth."""
    spread = model.spread(s)
    weight = np.maximum(terms.weight, LEAST_WEIGHT / (s[0] + spread))
    return Working(eta + terms.score / weight, s[0] / (1 / weight - spread))


def equivalent(model: OverRange, edges: Working) -> Reduced:
    """The fit without cuts over the range that has the same mode and the same weights."""
    r = model.inside
    h, products, sizes = _strata(np.column_stack([model.rows, edges.mean]), edges.size, model.own)
    return Reduced(
        products=np.concatenate([r.products, products]), sizes=np.append(r.sizes, sizes), h=np.vstack([r.h, h]),
        blocks=r.blocks, q=r.q, p=r.p, readings=model.readings, units=model.units, log_sizes=r.log_sizes,
    )  # fmt: skip


def _strata(rows: Floats, size: Floats, own: Floats) -> tuple[Floats, Floats, Floats]:
    """Rows of h, cross-products and numbers of edges: a stratum for each edge, as long as they are not many."""
    if len(rows) <= MANY:
        return np.column_stack([1 / size, own]), rows[:, :, None] * rows[:, None, :], np.ones(len(rows))
    alike = np.exp(np.round(np.log(size) / ALIKE) * ALIKE)
    h, stratum, sizes = np.unique(np.column_stack([1 / alike, own]), axis=0, return_inverse=True, return_counts=True)
    parts = np.split(rows[np.argsort(stratum, kind="stable")], np.cumsum(sizes)[:-1])
    return h, np.array([part.T @ part for part in parts]), sizes.astype(float)


def over_range_derivatives(model: OverRange, s: Floats, eta: Floats) -> tuple[Derivatives, Mode]:
    """The criterion and its exact gradient; both informations are those of the equivalent fit.

    Parameters
    ----------
    model : OverRange
    s : ndarray of shape (d + K,)
        Variances.
    eta : ndarray of shape (E,)
        Expected readings to begin with.
    """
    weighted = weigh(model.inside, s)
    mode = find_mode(model, s, weighted, eta)
    edges = working(model, s, mode.eta, mode.terms)
    alike = derivatives(equivalent(model, edges), s)
    return Derivatives(
        _criterion(model, s, weighted, mode), _gradient(model, s, weighted, mode), alike.expected, alike.hessian
    ), mode


def _criterion(model: OverRange, s: Floats, weighted: Weighted, mode: Mode) -> float:
    """-2 log restricted likelihood by Laplace's method, with its constants."""
    r = model.inside
    left = np.append(-mode.effects, 1.0)
    pulls = _block_scores(model, weighted, mode)
    return float(
        r.sizes @ np.log(weighted.variance) + r.log_sizes + (r.sizes.sum() - r.p) * np.log(2 * np.pi)
        + left @ weighted.a @ left - 2 * mode.terms.value.sum() + mode.effects[: r.q] @ pulls + mode.log_det
    )  # fmt: skip


def _block_scores(model: OverRange, weighted: Weighted, mode: Mode) -> Floats:
    """Z' times the score; times the variances, these are the block effects (q,)."""
    q = model.inside.q
    left = np.append(-mode.effects, 1.0)
    return weighted.a[:q] @ left + model.rows[:, :q].T @ mode.terms.score


def _gradient(model: OverRange, s: Floats, weighted: Weighted, mode: Mode) -> Floats:
    """Derivatives of the criterion by the variances.

    The log determinant changes with the weights, and these with the variances both directly and
    by way of the mode: hence third derivatives of the edges' likelihood.
    """
    q, f = model.inside.q, len(mode.m)
    _, (by_eta, by_cut, by_spread) = edge_slopes(model.edges, mode.eta, s[0], model.spread(s))
    leverage = ((model.rows @ mode.m) * model.rows).sum(axis=1)
    bend = leverage * by_eta.weight
    diagonal = _diagonal_gradient(model, weighted, mode, [(np.ones_like(leverage), by_cut),
                                  *((own, by_spread) for own in model.own.T)], leverage, bend)  # fmt: skip
    if not q:
        return diagonal
    u = mode.a[:q, :q] - mode.a[:q, :f] @ mode.m @ mode.a[:f, :q]
    pulls = _block_scores(model, weighted, mode)
    moves = (model.rows[:, :q] - model.rows @ (mode.m @ mode.a[:f, :q])) * pulls
    return np.concatenate([diagonal, model.inside.blocks @ (u.diagonal() - pulls**2 + bend @ moves)])


def _diagonal_gradient(
    model: OverRange, weighted: Weighted, mode: Mode, parts: list[tuple[Floats, EdgeTerms]], leverage: Floats,
    bend: Floats,
) -> Floats:  # fmt: skip
    """Derivatives by the cut error and by the spreads between edges."""
    f = len(mode.m)
    left = np.append(-mode.effects, 1.0)
    found = []
    for i, (own, slopes) in enumerate(parts):
        sums = weighted.ad[i] @ left
        change = model.rows.T @ (own * slopes.score) - sums[:f]
        found.append(
            (model.inside.sizes * model.inside.h[:, i]) @ (1 / weighted.variance) - left @ sums
            - 2 * own @ slopes.value - np.sum(mode.m * weighted.ad[i, :f, :f])
            + leverage @ (own * slopes.weight) + bend @ (model.rows @ (mode.m @ change))
        )  # fmt: skip
    return np.array(found)


class Criterion:
    """The criterion as a function of the variances, for `maximise`.

    It remembers where it last was. Each mode is sought from the last one found, and the Hessian
    of the equivalent fit, which holds the weights still, is mended by what the exact gradient did
    between the last two places (symmetric rank one: Nocedal & Wright 2006, Numerical
    Optimization, eq. 6.24).

    Parameters
    ----------
    model : OverRange
    eta : ndarray of shape (E,)
        Expected readings to begin with.

    Attributes
    ----------
    eta : ndarray of shape (E,)
        Expected readings where it last was.
    mended : ndarray of shape (c, c) or 0
        What was added to the Hessian of the equivalent fit.
    """

    def __init__(self, model: OverRange, eta: Floats) -> None:
        self.model, self.eta = model, eta
        self.mended: Floats | float = 0.0
        self._last: tuple[Floats, Floats] | None = None

    def __call__(self, s: Floats) -> Derivatives:
        """Evaluate the criterion at the variances `s`."""
        found, mode = over_range_derivatives(self.model, s, self.eta)
        self.eta = mode.eta
        if self._last is not None:
            move, turn = s - self._last[0], found.gradient - self._last[1]
            left = turn - (found.hessian + self.mended) @ move
            if abs(left @ move) > LEAST_MEND * np.linalg.norm(left) * np.linalg.norm(move):
                self.mended = self.mended + np.outer(left, left) / (left @ move)
        self._last = s.copy(), found.gradient
        return replace(found, hessian=found.hessian + self.mended)


def with_true_bends(optimum: Optimum, criterion: Criterion) -> Optimum:
    """Exact second derivatives at the optimum, by differences of the gradient.

    Those of the equivalent fit hold its working means and weights still. By as much as they are
    wrong, its expected information is mended too, as long as it stays positive: this takes in
    what the limits hide of the cuts.
    """
    s = optimum.variances
    at = criterion(s)
    known = at.hessian - criterion.mended
    rows: list[Floats] = []
    for i in range(s.size):
        step = np.zeros_like(s)
        step[i] = DIFFERENCE * max(s[i], LEAST_SHARE * s[0])
        below = s - step if s[i] > step[i] else s
        rows.append((criterion(s + step).gradient - criterion(below).gradient) / (s + step - below)[i])
    hessian = np.array(rows)
    hessian = (hessian + hessian.T) / 2
    expected = at.expected + hessian - known
    clear = np.linalg.eigvalsh(expected / np.sqrt(np.outer(at.expected.diagonal(), at.expected.diagonal())))[0] > 1e-6
    return replace(optimum, hessian=hessian, expected=expected if clear else at.expected)
