"""Sums of units that are alike: all that a fit needs of a file too large to hold.

Units with the same size and the same level of every other factor have the same rows of Z and
X. How many they are, the mean of their means, the sum of squares of their means about it and
of their readings within them are enough for the likelihood (`reduce.py`), so that neither
readings nor single edges need to be held. `largefile.py` makes these sums.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import csr_array, diags_array, hstack

from sharpstats.model.reduce import Codes, Reduced, Units, combine, first_of_each, strata_of
from sharpstats.model.spec import Term

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Sums:
    """Sums of units that are alike, a row for each kind of unit.

    Attributes
    ----------
    table : DataFrame
        Level of every factor but the units' own, and in the column of the response the mean of the
        units' means less `origin`.
    size : ndarray of shape (kinds,)
        Readings in a unit.
    alike : ndarray of shape (kinds,)
        Units of this kind.
    between : ndarray of shape (kinds,)
        Sum of squares of the units' means about their mean.
    within : ndarray of shape (kinds,)
        Sum of squares of the readings about the mean of their unit.
    levels : tuple of int
        Number of levels of each random term, the units' own among them.
    origin : float
        A value of the data that was taken off every reading, so that no digits are lost.
    """

    table: pd.DataFrame
    size: Floats
    alike: Floats
    between: Floats
    within: Floats
    levels: tuple[int, ...]
    origin: float


def add_up(units: pd.DataFrame, response: str, names: Sequence[str], random: Sequence[Term], origin: float) -> Sums:
    """Add up units that are alike.

    Parameters
    ----------
    units : DataFrame
        One row a unit: its labels, its mean less `origin` in the column `response`, `cuts`, and `within`, the sum of
        squares of its readings about its mean.
    response : str
    names : sequence of str
        Factors by which units are told apart.
    random : sequence of Term
        Whose levels are counted.
    origin : float

    Returns
    -------
    Sums
    """
    factors = {name: pd.factorize(units[name])[0] for name in {*names, *(name for term in random for name in term)}}
    kind, kinds = combine([pd.factorize(units["cuts"])[0], *(factors[name] for name in names)])
    mean, cuts = units[response].to_numpy(), units["cuts"].to_numpy(float)
    alike = np.bincount(kind).astype(float)
    centre = np.bincount(kind, mean) / alike
    first = first_of_each(kind, kinds)
    return Sums(
        table=units[list(names)].iloc[first].reset_index(drop=True).assign(**{response: centre}), size=cuts[first],
        alike=alike, between=np.bincount(kind, (mean - centre[kind]) ** 2).astype(float),
        within=np.bincount(kind, units["within"].to_numpy()).astype(float), origin=origin,
        levels=tuple(combine([factors[name] for name in term])[1] for term in random),
    )  # fmt: skip


def reduce_sums(units: Units, means: Floats, between: Floats, within: Floats) -> Reduced:
    """Add up what the fit needs.

    Parameters
    ----------
    units : Units
        An entry for each kind of unit, with how many are `alike`.
    means : ndarray of shape (kinds, p + 1)
        Columns of X, and the mean of the units' means of the centred response.
    between, within : ndarray of shape (kinds,)
        As in `Sums`.

    Returns
    -------
    Reduced

    Examples
    --------
    Two edges of two cuts, with the means 1 and 3 and a sum of squares of 0.5 within each:

    >>> units = Units(np.zeros(1, int), np.zeros(1, int), np.array([2.0]), (), (), True, np.array([2.0]))
    >>> reduced = reduce_sums(units, np.array([[1.0, 2.0]]), np.array([2.0]), np.array([1.0]))
    >>> reduced.products
    array([[[ 2.,  4.],
            [ 4., 10.]],
           [[ 0.,  0.],
            [ 0.,  1.]]])
    """
    if units.alike is None:
        raise ValueError("`units` must say how many are alike")
    alike, q, p = units.alike, sum(units.levels), means.shape[1] - 1
    h, stratum = strata_of(units)
    products = [
        _products(units, means, alike * (stratum == g), float(between[stratum == g].sum())) for g in range(len(h))
    ]
    sizes = np.bincount(stratum, weights=alike).astype(float)
    if units.size.max() > 1:
        inner = np.zeros_like(products[0])
        inner[-1, -1] = within.sum()
        products, h = [*products, inner], np.vstack([h, np.eye(1, h.shape[1])])
        sizes = np.append(sizes, alike @ (units.size - 1))
    blocks = np.repeat(np.eye(len(units.levels)), units.levels, axis=1) if q else np.zeros((0, 0))
    return Reduced(np.array(products), sizes, h, blocks, q, p,
                   int(alike @ units.size), int(alike.sum()), float(alike @ np.log(units.size)))  # fmt: skip


def _products(units: Units, means: Floats, weights: Floats, between: float) -> Floats:
    """Cross-products of [Z | means], each row as often as its weight says; Z stays sparse."""
    blocks = [_membership(codes, levels) for codes, levels in zip(units.upper, units.levels, strict=True)]
    rows = csr_array(hstack([*blocks, csr_array(means)]))
    products: Floats = (rows.T @ (diags_array(weights) @ rows)).toarray()
    products[-1, -1] += between
    return products


def _membership(codes: Codes, levels: int) -> csr_array:
    return csr_array((np.ones(codes.size), (np.arange(codes.size), codes)), shape=(codes.size, levels))
