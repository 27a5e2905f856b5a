"""Mean squares of any layout of random parts, balanced or not.

Each part's sum of squares is what it explains beyond all other parts that do not lie within it
(method III of Henderson 1953, Biometrics 9:226-252). In a balanced layout these are the classical
mean squares, independent and with exact chi-square distributions; in others the residual's still
is, and the rest are near it as long as the layout is not far from balance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.model.meansquares import MeanSquares

Codes = NDArray[np.intp]
Floats = NDArray[np.float64]
ROUNDING = 1e-10
"""Share of the largest singular value, or of a coefficient, below which a number is rounding."""


@dataclass(frozen=True, eq=False)
class Sweep:
    """A layout ready to give the sums of squares of any readings.

    Attributes
    ----------
    cell : integer ndarray of shape (N,)
        Cell of each reading: readings of one cell share all levels.
    sizes : ndarray of shape (m,)
        Readings in each cell.
    axes : tuple of ndarray of shape (m, df)
        For each part, axes of length one of what it explains alone.
    whole : ndarray of shape (m, r)
        Axes of all that the parts and the mean explain.
    df : ndarray of shape (k + 1,)
        Degrees of freedom; the residual's last.
    expected : ndarray of shape (k + 1, k + 1)
        Each expected mean square is its row times the variances.
    """

    cell: Codes
    sizes: Floats
    axes: tuple[Floats, ...]
    whole: Floats
    df: Floats
    expected: Floats

    def squares(self, y: Floats) -> Floats:
        """Sums of squares of one response or many.

        Parameters
        ----------
        y : ndarray of shape (..., N)

        Returns
        -------
        ndarray of shape (..., k + 1)
            In squared units of the response, the residual's last.
        """
        centred = y - y.mean(axis=-1, keepdims=True)
        sums = np.zeros((*y.shape[:-1], len(self.sizes)))
        np.add.at(np.moveaxis(sums, -1, 0), self.cell, np.moveaxis(centred, -1, 0))
        means = sums / self.sizes
        within = np.sum((centred - means[..., self.cell]) ** 2, axis=-1)
        scaled = means * np.sqrt(self.sizes)
        left = scaled - (scaled @ self.whole) @ self.whole.T
        rest = within + np.sum(left**2, axis=-1)
        return np.stack([*(np.sum((scaled @ axes) ** 2, axis=-1) for axes in self.axes), rest], axis=-1)


def sweep(codes: Sequence[Codes], readings: int) -> Sweep:
    """Make a layout ready.

    Parameters
    ----------
    codes : sequence of integer ndarray of shape (N,)
        Level of each reading, for each part.
    readings : int
        N.

    Returns
    -------
    Sweep

    Examples
    --------
    >>> edge = np.array([0, 0, 1, 1, 2, 2])
    >>> found = sweep([edge], 6)
    >>> found.df, found.expected
    (array([2., 3.]), array([[2., 1.], [0., 1.]]))
    """
    if codes:
        cell = pd.DataFrame(dict(enumerate(codes))).groupby(list(range(len(codes)))).ngroup().to_numpy()
    else:
        cell = np.zeros(readings, dtype=int)
    sizes = np.bincount(cell).astype(float)
    first = np.unique(cell, return_index=True)[1]
    root = np.sqrt(sizes)[:, None]
    z = [np.equal.outer(one[first], np.arange(one.max() + 1)) * root for one in codes]
    axes = tuple(_alone(root, z, [_lies_in(one, other) for other in codes], k) for k, one in enumerate(codes))
    whole = _axes(np.hstack([root, *z]))
    df = np.array([*(a.shape[1] for a in axes), readings - whole.shape[1]], dtype=float)
    return Sweep(cell.astype(np.intp), sizes, axes, whole, df, _expected(axes, z, df))


def _lies_in(one: Codes, other: Codes) -> bool:
    """Whether each level of the other lies within one level of this."""
    pairs = len(pd.DataFrame({"one": one, "other": other}).drop_duplicates())
    return bool(pairs == other.max() + 1)


def _alone(root: Floats, z: list[Floats], finer: list[bool], k: int) -> Floats:
    """Axes of what part k explains beyond the mean and all parts that do not lie within it."""
    before = _axes(np.hstack([root, *(other for other, lies in zip(z, finer, strict=True) if not lies)]))
    left = z[k] - before @ (before.T @ z[k])
    return _axes(left, float(np.linalg.norm(z[k])))


def _axes(columns: Floats, size: float | None = None) -> Floats:
    """Axes of length one of the space of some columns."""
    u, values, _ = np.linalg.svd(columns, full_matrices=False)
    return u[:, values > ROUNDING * (values[0] if size is None else size)]


def _expected(axes: tuple[Floats, ...], z: list[Floats], df: Floats) -> Floats:
    form = np.eye(len(df))
    for i, one in enumerate(axes):
        form[i, -1] = 1.0
        for j, other in enumerate(z):
            value = np.sum((one.T @ other) ** 2) / max(df[i], 1.0)
            form[i, j] = value if value > ROUNDING * np.sum(other**2) else 0.0
    return form


def mean_squares_of(layout: Sweep, y: Floats, terms: Sequence[str], level: float) -> MeanSquares | None:
    """Mean squares of one response; None where a part explains nothing that others do not."""
    if np.any(layout.df < 1):
        return None
    squares = layout.squares(y) / layout.df
    return MeanSquares(tuple(terms), layout.df, squares, layout.expected, level)
