"""Restricted maximum likelihood and Kenward-Roger for many responses on one layout at once.

The same criterion, steps and inference as `reml.py` and `freedom.py`, found another way: the
groups of the random terms are absorbed one after the other into the products of [F | y],

    M <- M - s / (1 + s w) m m',   log|V| <- log|V| + log(1 + s w),

with w = z'V^-1 z and m = [F y]'V^-1 z at the variances absorbed so far (Sherman & Morrison
1950; groups of one term do not touch each other, so all of them go at once). The sums are
jets: they carry their derivatives by the variances. Those by the cut error follow from the
others, since V is homogeneous in the variances (Euler).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from sharpstats.model.jets import Jet, Pair
from sharpstats.model.shared import Responses, Shared

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Point:
    """The criterion at one set of variances for each of B trials, and what goes with it.

    Attributes
    ----------
    criterion : ndarray of shape (B,)
        -2 log restricted likelihood.
    gradient : ndarray of shape (c, B)
    expected, hessian : ndarray of shape (c, c, B)
    beta : ndarray of shape (p, B)
    phi : ndarray of shape (p, p, B)
        (X'V^-1X)^-1.
    information : Jet
        X'V^-1X with its derivatives by all variances but the cut error, parts of shape (p, p, B).
    variances : ndarray of shape (c, B)
    """

    criterion: Floats
    gradient: Floats
    expected: Floats
    hessian: Floats
    beta: Floats
    phi: Floats
    information: Jet
    variances: Floats

    def take(self, kept: NDArray[np.bool_]) -> Point:
        """The trials `kept` only."""
        return Point(
            self.criterion[kept], self.gradient[:, kept], self.expected[..., kept], self.hessian[..., kept],
            self.beta[:, kept], self.phi[..., kept], self.information.map(lambda part: part[..., kept]),
            self.variances[:, kept],
        )  # fmt: skip


def evaluate(shared: Shared, responses: Responses, s: Floats) -> Point:
    """Evaluate B trials, each at variances of its own.

    Parameters
    ----------
    shared : Shared
    responses : Responses
    s : ndarray of shape (c, B)
        Cut error, then the other diagonal variances, then the upper terms.

    Returns
    -------
    Point
    """
    weight, log_det = _strata(shared, s)
    products = weight.map(lambda part: _products(shared, responses, part))
    sums = weight.map(lambda part: _cell_sums(shared, responses, part)) if shared.chain.terms else None
    d = shared.h.shape[1]
    for level, term in enumerate(shared.chain.terms):
        assert sums is not None
        products, log_det, sums = _absorb_groups(products, log_det, sums, _variance(s, d + term))
        if level < len(shared.chain.starts):
            sums = sums.map(partial(np.add.reduceat, indices=shared.chain.starts[level], axis=1))
    for term, columns in shared.crossed:
        for _ in range(columns):
            products, log_det = _absorb_column(products, log_det, _variance(s, d + term))
    return _point(shared, products, log_det, s)


def _variance(s: Floats, index: int) -> Jet:
    return Jet(s[index], {index: np.ones(s.shape[1])})


def _strata(shared: Shared, s: Floats) -> tuple[Jet, Jet]:
    """Weights of the strata, and the log determinant of their variances."""
    d = shared.h.shape[1]
    variance = shared.h @ s[:d]
    slopes = {i: np.broadcast_to(shared.h[:, i, None], variance.shape) for i in range(1, d)}
    jet = Jet(variance, slopes)
    return jet.reciprocal(), jet.log().map(lambda part: shared.sizes @ part)


def _products(shared: Shared, responses: Responses, weight: Floats) -> Floats:
    """Weighted products of the columns of [F | y], of shape (f + 1, f + 1, B)."""
    f = shared.f
    whole = np.empty((f + 1, f + 1, weight.shape[1]))
    np.matmul(shared.products, weight, out=whole[:f, :f])
    whole[:f, f] = whole[f, :f] = np.einsum("gfb,gb->fb", responses.products, weight)
    whole[f, f] = np.einsum("gb,gb->b", responses.squares, weight)
    return whole


def _cell_sums(shared: Shared, responses: Responses, weight: Floats) -> Floats:
    """Weighted sums of [1 | F | y] in each cell, of shape (2 + f, cells, B)."""
    known = shared.cell_sums
    whole = np.empty((len(known) + 1, known.shape[1], weight.shape[1]))
    np.matmul(known, weight, out=whole[:-1])
    whole[-1] = np.einsum("gcb,gb->cb", responses.cells, weight)
    return whole


def _absorb_groups(products: Jet, log_det: Jet, sums: Jet, s: Jet) -> tuple[Jet, Jet, Jet]:
    """Absorb a term whose groups are apart: products, log determinant and sums after it."""
    size = sums.map(lambda part: part[0])
    ratio = _one_plus(s * size)
    after = sums * ratio.reciprocal()
    loss = (s * after).times(sums, _over_groups)
    log_det = log_det + ratio.log().map(lambda part: part.sum(axis=0))
    return products - loss, log_det, after


def _over_groups(one: Floats, two: Floats) -> Floats:
    """Products of columns (the sum of ones is not among them) added up over the groups."""
    return np.einsum("igb,jgb->ijb", one[1:], two[1:])


def _one_plus(jet: Jet) -> Jet:
    return Jet(1 + jet.value, jet.first, jet.second)


def _absorb_column(products: Jet, log_det: Jet, s: Jet) -> tuple[Jet, Jet]:
    """Absorb the first column of F; the products that are left no longer hold it."""
    ratio = _one_plus(s * products.map(lambda part: part[0, 0]))
    row = products.map(lambda part: part[0, 1:])
    loss = (row * (s * ratio.reciprocal())).times(row, lambda one, two: one[:, None] * two)
    return products.map(lambda part: part[1:, 1:]) - loss, log_det + ratio.log()


def _point(shared: Shared, whole: Jet, log_det: Jet, s: Floats) -> Point:
    """Gather the criterion and its derivatives from the products of [X | y]."""
    p = shared.p
    information = whole.map(lambda part: part[:p, :p])
    phi, log_phi = inverse(information.value)
    beta = _times(phi, whole.value[:p, p])
    v = np.concatenate([-beta, np.ones((1, beta.shape[1]))])
    left = (whole.value[p] * v).sum(axis=0)  # y'Py
    slope, bend = _completed(log_det.first, log_det.second, s, total=shared.readings, degree=-1)
    trace, curve = _log_information(information, phi, s)
    quadratic, bow = _left_over(whole, phi, v, left, s)
    return Point(
        criterion=log_det.value + log_phi + left + shared.log_sizes + (shared.readings - p) * np.log(2 * np.pi),
        gradient=slope + trace + quadratic, expected=-(bend + curve), hessian=bend + curve + bow,
        beta=beta, phi=phi, information=information, variances=s,
    )  # fmt: skip


def _log_information(information: Jet, phi: Floats, s: Floats) -> tuple[Floats, Floats]:
    """First and second derivatives of log|X'V^-1X|."""
    p, c = len(phi), len(s)
    forms = {i: _product(phi, part) for i, part in information.first.items()}
    forms[0] = -_weighted(forms, s, start=np.eye(p)[..., None]) / s[0]
    trace, curve = _completed(
        {i: forms[i].trace() for i in range(1, c)},
        {key: (phi * part).sum(axis=(0, 1)) for key, part in information.second.items()}, s, total=-p, degree=-2,
    )  # fmt: skip
    for i in range(c):
        for j in range(c):
            curve[i, j] -= np.einsum("abz,baz->z", forms[i], forms[j])
    return trace, curve


def _left_over(whole: Jet, phi: Floats, v: Floats, left: Floats, s: Floats) -> tuple[Floats, Floats]:
    """First and second derivatives of y'Py, which is the least that v'Mv can be over beta."""
    p, c = len(phi), len(s)
    turned = {i: _times(part, v) for i, part in whole.first.items()}
    vectors = {i: part[:p] for i, part in turned.items()}
    vectors[0] = -_weighted(vectors, s, start=np.zeros((p, 1))) / s[0]  # X'V^-1(y - X beta) is nil
    quadratic, bow = _completed(
        {i: (turned[i] * v).sum(axis=0) for i in range(1, c)},
        {key: (_times(part, v) * v).sum(axis=0) for key, part in whole.second.items()}, s, total=-left, degree=-2,
    )  # fmt: skip
    for i in range(c):
        solved = _times(phi, vectors[i])
        for j in range(c):
            bow[i, j] -= 2 * (vectors[j] * solved).sum(axis=0)
    return quadratic, bow


def _completed(
    first: Mapping[int, Floats], second: Mapping[Pair, Floats], s: Floats, total: Floats | float, degree: int
) -> tuple[Floats, Floats]:  # fmt: skip
    """Add the derivatives by variance 0 to those by the others.

    Euler: sum_i s_i f_i = `total`, sum_i s_i f_ij = `degree` f_j.
    """
    c, trials = s.shape
    gradient, bend = np.zeros((c, trials)), np.zeros((c, c, trials))
    for i, part in first.items():
        gradient[i] = part
    for (i, j), part in second.items():
        bend[i, j] = bend[j, i] = part
    gradient[0] = (total - (s[1:] * gradient[1:]).sum(axis=0)) / s[0]
    for j in (*range(1, c), 0):
        bend[0, j] = bend[j, 0] = (degree * gradient[j] - (s[1:] * bend[1:, j]).sum(axis=0)) / s[0]
    return gradient, bend


def _weighted(parts: dict[int, Floats], s: Floats, start: Floats) -> Floats:
    total = start
    for i, part in parts.items():
        total = total + s[i] * part
    return total


def _times(matrix: Floats, vector: Floats) -> Floats:
    """Matrix times vector, trial by trial."""
    return np.einsum("abz,bz->az", matrix, vector)


def _product(one: Floats, two: Floats) -> Floats:
    return np.einsum("abz,bcz->acz", one, two)


def inverse(matrix: Floats) -> tuple[Floats, Floats]:
    """Inverse and log determinant of symmetric matrices of shape (n, n, B), by sweeping.

    The log determinant is NaN where a matrix is not positive definite.

    Examples
    --------
    >>> found, log_det = inverse(np.array([[2.0, 1.0], [1.0, 3.0]])[..., None])
    >>> found[..., 0], log_det.round(4)
    (array([[ 0.6, -0.2],
           [-0.2,  0.4]]), array([1.6094]))
    """
    swept, log_det = matrix.copy(), np.zeros(matrix.shape[2])
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for j in range(len(matrix)):
            pivot = swept[j, j].copy()
            log_det += np.log(np.where(pivot > 0, pivot, np.nan))
            column, row = swept[:, j].copy(), swept[j] / pivot
            swept -= column[:, None] * row
            swept[j], swept[:, j], swept[j, j] = row, -column / pivot, 1 / pivot
    return swept, log_det


def second_derivatives(point: Point) -> tuple[list[Floats], Floats, Floats]:
    """What Kenward and Roger's adjustment is made of.

    Returns
    -------
    first : list of ndarray of shape (p, p, B)
        Derivatives of X'V^-1X by each variance, the P_i of `freedom.py`.
    middle : ndarray of shape (p, p, B)
        sum_ij W_ij (Q_ij - P_i Phi P_j), with Q_ij half the second derivative.
    w : ndarray of shape (c, c, B)
        Covariance of the variances, by the expected information.
    """
    s, p = point.variances, len(point.beta)
    c, trials = s.shape
    w = 2 * inverse(point.expected)[0]
    first = [np.zeros((p, p, trials)), *(point.information.first[i] for i in range(1, c))]
    first[0] = -(point.information.value + sum(s[i] * first[i] for i in range(1, c))) / s[0]
    second = {(i, j): point.information.second.get((i, j)) for i in range(1, c) for j in range(i, c)}
    bends = np.zeros((c, c, p, p, trials))
    for (i, j), part in second.items():
        if part is not None:
            bends[i, j] = bends[j, i] = part
    for j in (*range(1, c), 0):
        bends[0, j] = bends[j, 0] = (-2 * first[j] - np.einsum("iz,ipqz->pqz", s[1:], bends[1:, j])) / s[0]
    middle = np.einsum("ijz,ijpqz->pqz", w, bends) / 2
    for i in range(c):
        mixed = np.einsum("jz,jpqz->pqz", w[i], np.array(first))
        middle -= _product(_product(first[i], point.phi), mixed)
    return first, middle, w
