"""The mean squares of a balanced layout, found from its sums alone.

A layout is balanced for its variances when what X leaves of the readings falls into as many
mutually orthogonal parts (strata) as there are variances, each part with one variance of its
own, t_s = sum_k L_sk s_k: the matrices G_k then commute there and their span is closed under
products (Seely 1971, Annals of Mathematical Statistics 42:710-721). The strata's mean squares
hold all that is known of the variances. Nested, crossed and split-plot layouts with equal numbers
are of this kind, and no list of them is needed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sharpstats.model.reduce import Reduced

Floats = NDArray[np.float64]
TOLERANCE = 1e-8
"""Share of the largest eigenvalue below which a difference is rounding."""
Part = tuple[Floats, float, float]


@dataclass(frozen=True, slots=True)
class Strata:
    """Sums of squares of the strata, and what each one's mean square expects.

    Attributes
    ----------
    expected : ndarray of shape (S, k)
        L: each stratum's expected mean square is its row times the variances (cut error, units'
        own term if any, upper terms in their order).
    squares, df : ndarray of shape (S,)
        Sums of squares, in squared units of the response, and their degrees of freedom.
    """

    expected: Floats
    squares: Floats
    df: Floats


def find_strata(r: Reduced) -> Strata | None:
    """Split what X leaves of the readings into strata.

    Parameters
    ----------
    r : Reduced
        Sums of the readings; X of full column rank.

    Returns
    -------
    Strata or None
        None where the layout is not balanced.
    """
    layers = list(_layers(r))
    if sum(column_rank(products[r.q : -1, r.q : -1]) for products, *_ in layers) != r.p:
        return None
    parts: list[Part] = []
    for products, size, base in layers:
        found = _split(r, products, size, base)
        if found is None:
            return None
        parts += found
    if len(parts) != r.h.shape[1] + r.blocks.shape[0]:
        return None
    expected, squares, df = (np.array(column) for column in zip(*parts, strict=True))
    return Strata(expected, squares, df)


def _layers(r: Reduced) -> Iterator[tuple[Floats, float, Floats]]:
    """Cross-products, rows and base variance of unit means and of what is left within units.

    Without a term for the units themselves all rows have one base variance: one layer. With one,
    units of several sizes are no layer, and none is given.
    """
    if r.h.shape[1] == 1:
        yield np.tensordot(1 / r.h[:, 0], r.products, 1), float(r.sizes.sum()), np.ones(1)
        return
    within = int(r.units < r.readings)
    if len(r.h) - within == 1:
        for products, size, h in zip(r.products, r.sizes, r.h, strict=True):
            yield products / h[0], float(size), h / h[0]


def column_rank(x: Floats) -> int:
    """How many columns are told apart by their cross-products, whatever their units."""
    return int(np.linalg.matrix_rank(_scaled(x)[0], tol=TOLERANCE, hermitian=True))


def _scaled(x: Floats) -> tuple[Floats, Floats]:
    """Cross-products of columns of length one, and the lengths."""
    length = np.sqrt(x.diagonal())
    length = np.where(length > 0, length, 1.0)
    return x / length / length[:, None], length


def _without_x(a: Floats, x: slice) -> Floats:
    """Cross-products of what X leaves of each column."""
    normal, length = _scaled(a[x, x])
    across = a[:, x] / length
    return a - across @ np.linalg.pinv(normal, rcond=TOLERANCE, hermitian=True) @ across.T


def _split(r: Reduced, a: Floats, size: float, base: Floats) -> list[Part] | None:
    """Strata of one layer: what the upper terms span, and what they leave; None if they do not commute."""
    left = _without_x(a, slice(r.q, r.q + r.p))
    z, zy = left[: r.q, : r.q], left[: r.q, -1]
    axes, groups = _axes(z, r.blocks)
    lengths = [axes.T @ z[:, columns] @ z[columns] @ axes for columns in r.blocks.astype(bool)]
    parts: list[Part] = []
    scores = axes.T @ zy
    for group in groups:
        upper = [_cleaned(one.diagonal()[group].mean(), one.diagonal().max()) for one in lengths]
        parts.append((np.append(base, upper), float(scores[group] @ scores[group]), float(group.size)))
    if not _one_variance_each(lengths, groups):
        return None
    rest = size - column_rank(a[r.q : -1, r.q : -1]) - len(scores)
    if rest > 0.5:
        squares = max(float(left[-1, -1] - scores @ scores), 0.0)
        parts.append((np.append(base, np.zeros(len(lengths))), squares, rest))
    return parts


def _axes(z: Floats, blocks: Floats) -> tuple[Floats, list[NDArray[np.intp]]]:
    """Axes of length one in the space of Z, as combinations of its columns, grouped by eigenvalue.

    The terms are mixed in proportions that no layout meets by chance, so that two strata do not
    share an eigenvalue.
    """
    trace = blocks @ z.diagonal()
    if not trace.sum() > 0:
        return np.zeros((len(z), 0)), []
    share = blocks.sum(axis=1) / np.maximum(trace, np.finfo(float).tiny) / (np.pi + np.arange(len(blocks)))
    root = np.sqrt(share @ blocks)
    values, vectors = np.linalg.eigh(z * root * root[:, None])
    kept = values > TOLERANCE * values[-1]
    values, vectors = values[kept], vectors[:, kept]
    ends = np.flatnonzero(np.diff(values) > TOLERANCE * values[-1]) + 1
    return root[:, None] * vectors / np.sqrt(values), np.split(np.arange(len(values)), ends)


def _cleaned(value: float, largest: float) -> float:
    """Zero where nothing but rounding is left."""
    return value if value > TOLERANCE * largest else 0.0


def _one_variance_each(lengths: list[Floats], groups: list[NDArray[np.intp]]) -> bool:
    """Whether each G_k is a multiple of one on every stratum, and does not mix them."""
    for one in lengths:
        ideal = np.zeros(len(one))
        for group in groups:
            ideal[group] = one.diagonal()[group].mean()
        if np.abs(one - np.diag(ideal)).max(initial=0.0) > 10 * TOLERANCE * np.abs(one).max(initial=0.0):
            return False
    return True
