"""Reduction of readings to the few sums that the mixed model needs.

A *unit* is a set of readings that share the level of every random factor: an edge, as a
rule. Within a unit the readings differ only by cut error and by covariates, so they enter
the likelihood through the unit's size, its means and its sums of squares and products about
them. Units of equal size share one variance, so their cross-products are added up. What is
left is a handful of small matrices, however many readings there were.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

MAX_COLUMNS = 3000
"""More levels of blocks than this would need matrices of more than 70 MB at every step."""


@dataclass(frozen=True, slots=True)
class Reduced:
    """Cross-products of [Z | X | y], added up over strata of equal variance.

    A stratum g has independent rows with variance ``h[g] @ diagonal variances``. The
    unit means of one size n are a stratum with h = (1/n, 1); all deviations within units
    are one with h = (1, 0). The columns of h are the cut error and, where there is one,
    the random term that tells units apart. Where the units' own variance differs by the level
    of a factor there is a stratum for each size and level, and a column for each level; if
    then each unit has one reading, these columns take the place of the cut error too.

    Attributes
    ----------
    products : ndarray of shape (G, t, t)
        Cross-products of each stratum, t = q + p + 1.
    sizes : ndarray of shape (G,)
        Number of independent rows in each stratum; they add up to the number of readings.
    h : ndarray of shape (G, d)
        Derivative of each stratum's variance by the diagonal variances, dimensionless.
    blocks : ndarray of shape (K, q)
        1 where a column of Z belongs to upper random term k, else 0.
    q, p : int
        Number of columns of Z and of X.
    readings : int
        Number of readings N.
    units : int
        Number of units.
    log_sizes : float
        Sum of ln n over the units.
    """

    products: Floats
    sizes: Floats
    h: Floats
    blocks: Floats
    q: int
    p: int
    readings: int
    units: int
    log_sizes: float

    @property
    def residuals(self) -> int:
        """How many of the first columns of h are all the variance of some stratum: these cannot be zero."""
        return self.h.shape[1] if self.units == self.readings else 1

    def keep_columns(self, kept: Sequence[int]) -> Reduced:
        """Return the same sums for the columns `kept` of X only."""
        index = np.r_[0 : self.q, self.q + np.asarray(kept, dtype=int), self.q + self.p]
        products = self.products[:, index[:, None], index]
        return Reduced(products, self.sizes, self.h, self.blocks, self.q, len(kept),
                       self.readings, self.units, self.log_sizes)  # fmt: skip


def compress(codes: Codes) -> tuple[Codes, int]:
    """Renumber codes so that those in use are 0, 1, ... in the same order.

    Examples
    --------
    >>> compress(np.array([7, 3, 7]))
    (array([1, 0, 1]), 2)
    """
    top = int(codes.max()) + 1 if codes.size else 0
    if top > 4 * codes.size + 1000:
        levels, renumbered = np.unique(codes, return_inverse=True)
        return renumbered.astype(np.intp), levels.size
    used = np.zeros(top, dtype=bool)
    used[codes] = True
    if used.all():
        return codes, top
    renumber = np.cumsum(used) - 1
    return renumber[codes], int(used.sum())


def combine(parts: Sequence[Codes]) -> tuple[Codes, int]:
    """Number the combinations of several factors' codes that occur.

    Examples
    --------
    >>> combine([np.array([0, 0, 1]), np.array([1, 1, 0])])
    (array([0, 0, 1]), 2)
    """
    codes, count = compress(parts[0])
    for part in parts[1:]:
        inner, levels = compress(part)
        codes, count = compress(codes * levels + inner)
    return codes, count


def first_of_each(unit: Codes, units: int) -> Codes:
    """Row number of one reading of every unit."""
    rows = np.empty(units, dtype=np.intp)
    rows[unit] = np.arange(unit.size)
    return rows


def constant_within(codes: Codes, unit: Codes, representative: Codes) -> bool:
    """Whether a factor has one level in each unit."""
    return bool(np.array_equal(codes[representative][unit], codes))


def find_units(random: Sequence[Codes], levels: Sequence[int], readings: int) -> tuple[Codes, int]:
    """Number the units: the combinations of levels of all random factors.

    Parameters
    ----------
    random : sequence of integer arrays of shape (N,)
        Codes of each random term.
    levels : sequence of int
        Number of levels of each.
    readings : int
        Number of readings N.

    Returns
    -------
    unit : integer ndarray of shape (N,)
    units : int
    """
    if not random:
        return np.zeros(readings, dtype=np.intp), 1
    finest = int(np.argmax(levels))
    unit, count = random[finest], levels[finest]
    rows = first_of_each(unit, count)
    if all(constant_within(codes, unit, rows) for k, codes in enumerate(random) if k != finest):
        return unit, count
    return combine(random)


@dataclass(frozen=True, slots=True)
class Units:
    """The units of a layout: what all readings of each share.

    Attributes
    ----------
    unit : integer ndarray of shape (N,)
        Unit of each reading.
    first : integer ndarray of shape (units,)
        One reading of each unit.
    size : ndarray of shape (units,)
        Readings in each unit.
    upper : tuple of integer arrays of shape (units,)
        Level of each upper random term, unit by unit.
    levels : tuple of int
        Number of levels of each upper term.
    diagonal : bool
        Whether one random term is the units themselves.
    alike : ndarray of shape (units,), optional
        Where the sums of a file were read instead of its readings (`sums.py`): how many units alike each
        entry stands for.
    group : integer ndarray of shape (units,), optional
        Level of the factor by which the units' own variance differs.
    groups : int
        Number of such levels; 0 where all units have one variance.
    """

    unit: Codes
    first: Codes
    size: Floats
    upper: tuple[Codes, ...]
    levels: tuple[int, ...]
    diagonal: bool
    alike: Floats | None = None
    group: Codes | None = None
    groups: int = 0


def reduce_readings(units: Units, x: Floats, response: Floats) -> tuple[Reduced, Floats]:
    """Add up everything the fit needs.

    Parameters
    ----------
    units : Units
    x : ndarray of shape (units, p) or (N, p)
        Columns of X: unit by unit where they are constant within units, else reading by
        reading.
    response : ndarray of shape (N,)
        Centred response.

    Returns
    -------
    Reduced
    means : ndarray of shape (units, p + 1)
        Unit means of [X | y].
    """
    constant = len(x) == len(units.size)
    columns = [response] if constant else [*x.T, response]
    means, within = _means_and_within(columns, units.unit, units.size)
    if constant:
        means = np.column_stack([x, means])
    return _assemble(means, within, units), means


def _means_and_within(columns: Sequence[Floats], unit: Codes, size: Floats) -> tuple[Floats, Floats | None]:
    """Unit means of each column, and sums of squares and products about them."""
    if size.size == unit.size:
        means = [column[np.argsort(unit)] for column in columns]
        return np.column_stack(means), None
    pairs = [_mean_and_rest(column, unit, size) for column in columns]
    rest = np.array([left for _, left in pairs])
    return np.column_stack([mean for mean, _ in pairs]), rest @ rest.T


def _mean_and_rest(column: Floats, unit: Codes, size: Floats) -> tuple[Floats, Floats]:
    """Means by unit and deviations from them.

    A second pass takes out what rounding left of the means (Chan, Golub & LeVeque 1983).
    """
    mean = np.bincount(unit, weights=column, minlength=size.size) / size
    rest = column - mean[unit]
    return mean + np.bincount(unit, weights=rest, minlength=size.size) / size, rest


def _assemble(means: Floats, within: Floats | None, units: Units) -> Reduced:
    q, p = sum(units.levels), means.shape[1] - 1
    h, stratum = strata_of(units)
    products = _cross_products(means, stratum, len(h), units)
    sizes = np.bincount(stratum, minlength=len(h)).astype(float)
    if within is not None:
        padded = np.zeros((1, q + p + 1, q + p + 1))
        inner = len(within)  # columns that vary within units are the last ones
        padded[0, -inner:, -inner:] = within
        products = np.concatenate([products, padded])
        sizes = np.append(sizes, units.unit.size - units.size.size)
        h = np.vstack([h, np.eye(1, h.shape[1])])
    blocks = np.repeat(np.eye(len(units.levels)), units.levels, axis=1) if q else np.zeros((0, 0))
    return Reduced(products, sizes, h, blocks, q, p, units.unit.size, units.size.size,
                   float(np.log(units.size).sum()))  # fmt: skip


def strata_of(units: Units) -> tuple[Floats, Codes]:
    """Rows of h for the strata of unit means, and the stratum of each unit.

    Parameters
    ----------
    units : Units

    Returns
    -------
    h : ndarray of shape (strata, d)
    stratum : integer ndarray of shape (units,)
    """
    distinct, size = np.unique(units.size, return_inverse=True)
    cut = 1 / distinct[:, None]
    if units.group is None:
        return (np.hstack([cut, np.ones_like(cut)]) if units.diagonal else cut), size
    kinds, stratum = np.unique(size * units.groups + units.group, return_inverse=True)
    own = np.eye(units.groups)[kinds % units.groups]
    return (np.hstack([cut[kinds // units.groups], own]) if units.diagonal else own), stratum


def _cross_products(means: Floats, stratum: Codes, strata: int, units: Units) -> Floats:
    """Cross-products of [Z | means] in each stratum, without ever forming Z."""
    upper, levels = units.upper, units.levels
    q, width = sum(levels), means.shape[1]
    products = np.zeros((strata, q + width, q + width))
    start = np.concatenate([[0], np.cumsum(levels)]).astype(int)
    for k, codes in enumerate(upper):
        rows = slice(start[k], start[k + 1])
        inside = stratum * levels[k] + codes
        for j in range(width):
            sums = np.bincount(inside, weights=means[:, j], minlength=strata * levels[k])
            products[:, rows, q + j] = sums.reshape(strata, levels[k])
        products[:, q:, rows] = products[:, rows, q:].transpose(0, 2, 1)
        for other in range(k, len(upper)):
            pair = inside * levels[other] + upper[other]
            counts = np.bincount(pair, minlength=strata * levels[k] * levels[other])
            table = counts.reshape(strata, levels[k], levels[other])
            columns = slice(start[other], start[other + 1])
            products[:, rows, columns] = table
            products[:, columns, rows] = table.transpose(0, 2, 1)
    for g in range(strata):
        part = means if strata == 1 else means[stratum == g]
        products[g, q:, q:] = part.T @ part
    return products
