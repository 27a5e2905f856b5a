"""What all trials of one layout share, and what one response adds to it.

Units are grouped by the longest chain of nested upper terms (cells within blades, say): each
term of the chain meets its groups one by one and needs no matrix. Upper terms across the
chain (days, say) keep columns of their own beside those of X; together they are called F.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from sharpstats.model.reduce import Codes, Reduced, Units, constant_within, first_of_each, strata_of

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Chain:
    """Nested upper terms, finest first.

    Attributes
    ----------
    terms : tuple of int
        Positions among the upper terms.
    cell : integer ndarray of shape (units,)
        Group of the first term to which each unit belongs, numbered so that groups of every
        coarser term are runs.
    starts : tuple of integer arrays
        For each further term: where its groups begin among those of the term before.
    cells : int
        Number of groups of the first term.
    """

    terms: tuple[int, ...]
    cell: Codes
    starts: tuple[Codes, ...]
    cells: int


def find_chain(upper: Sequence[Codes], levels: Sequence[int], units: int) -> Chain:
    """Find a chain, beginning with the term that has most levels.

    Examples
    --------
    >>> cell, blade, day = np.array([0, 1, 2, 3]), np.array([0, 1, 0, 1]), np.array([0, 0, 1, 0])
    >>> chain = find_chain([blade, cell, day], [2, 4, 2], 4)
    >>> chain.terms, chain.cell, chain.starts
    ((1, 0), array([0, 2, 1, 3]), (array([0, 2]),))
    """
    if not upper:
        return Chain((), np.zeros(units, dtype=np.intp), (), 1)
    order = sorted(range(len(upper)), key=lambda k: -levels[k])
    terms = order[:1]
    for k in order[1:]:
        finest = upper[terms[-1]]
        if constant_within(upper[k], finest, first_of_each(finest, levels[terms[-1]])):
            terms.append(k)
    finest = upper[terms[0]]
    rows = first_of_each(finest, levels[terms[0]])
    ranking = np.lexsort([upper[k][rows] for k in terms])  # the last key, the coarsest term, rules
    place = np.argsort(ranking)
    starts, kept = [], rows[ranking]
    for k in terms[1:]:
        begins = np.flatnonzero(np.diff(upper[k][kept], prepend=-1))
        starts.append(begins)
        kept = kept[begins]
    return Chain(tuple(terms), place[finest], tuple(starts), len(rows))


@dataclass(frozen=True, slots=True)
class Shared:
    """The sums over a layout that do not depend on the response.

    Attributes
    ----------
    h : ndarray of shape (G, d)
        Derivative of each stratum's variance by the diagonal variances.
    sizes : ndarray of shape (G,)
        Independent rows of each stratum.
    chain : Chain
    crossed : tuple of (int, int)
        For each upper term across the chain: its position, and its number of columns in F.
    p : int
        Columns of X, the last ones of F.
    cell_sums : ndarray of shape (1 + f, cells, G)
        Sums of [1 | F] over the units of each cell and stratum.
    products : ndarray of shape (f, f, G)
        F'F in each stratum.
    columns : ndarray of shape (G, f, units)
        F in each stratum, zero elsewhere.
    within : ndarray of shape (f, N) or None
        Deviations of F from its unit means, where X varies within units.
    stratum : integer ndarray of shape (units,)
    unit : integer ndarray of shape (N,)
    readings : int
    log_sizes : float
    """

    h: Floats
    sizes: Floats
    chain: Chain
    crossed: tuple[tuple[int, int], ...]
    p: int
    cell_sums: Floats
    products: Floats
    columns: Floats
    within: Floats | None
    stratum: Codes
    unit: Codes
    readings: int
    log_sizes: float

    @property
    def f(self) -> int:
        """Columns of F."""
        return self.columns.shape[1]

    @property
    def units(self) -> int:
        """Number of units."""
        return len(self.stratum)

    @property
    def variances(self) -> int:
        """Number of variances: the diagonal ones, then one for each upper term."""
        return self.h.shape[1] + len(self.chain.terms) + len(self.crossed)

    def left_over(self, responses: Responses, strata: slice) -> Floats:
        """Sum of squares that ordinary least squares leaves of each response in some strata; shape (B,)."""
        normal = self.products[-self.p :, -self.p :, strata].sum(axis=2)
        right = responses.products[strata, -self.p :].sum(axis=0)
        # Not every column need differ between units, so the normal matrix may be singular.
        return responses.squares[strata].sum(axis=0) - (right * (np.linalg.pinv(normal) @ right)).sum(axis=0)

    @property
    def repeated(self) -> bool:
        """Whether units have several readings: the last stratum is then that within units."""
        return self.units < self.readings


@dataclass(frozen=True, slots=True)
class Responses:
    """The sums of B responses on one layout; the trials are the last axis throughout.

    Attributes
    ----------
    cells : ndarray of shape (G, cells, B)
        Sums of the unit means over the units of each stratum and cell.
    products : ndarray of shape (G, f, B)
        F'y in each stratum.
    squares : ndarray of shape (G, B)
        y'y in each stratum.
    """

    cells: Floats
    products: Floats
    squares: Floats

    def take(self, kept: Codes | NDArray[np.bool_]) -> Responses:
        """The trials `kept` only."""
        return Responses(self.cells[..., kept], self.products[..., kept], self.squares[..., kept])


def gather(units: Units, x: Floats, within: Floats | None, reduced: Reduced) -> Shared:
    """Add up a layout.

    Parameters
    ----------
    units : Units
    x : ndarray of shape (units, p)
        Unit means of X.
    within : ndarray of shape (N, p) or None
        Deviations of X from its unit means, if there are any.
    reduced : Reduced
        The sums of a fit of the layout, for its strata.

    Returns
    -------
    Shared
    """
    upper, levels, h = units.upper, units.levels, reduced.h
    stratum = strata_of(units)[1]
    chain = find_chain(upper, levels, len(x))
    across = [k for k in range(len(upper)) if k not in chain.terms]
    marks = [np.eye(levels[k])[upper[k]] for k in across]
    f = np.column_stack([*marks, x])
    strata = len(h)
    columns = f.T * (stratum == np.arange(strata)[:, None])[:, None, :]
    products = np.moveaxis(columns @ f, 0, 2)
    inner = None
    if within is not None:
        inner = np.zeros((f.shape[1], len(within)))
        inner[-x.shape[1] :] = within.T
        products[..., -1] += inner @ inner.T
    return Shared(
        h=h, sizes=reduced.sizes, chain=chain, crossed=tuple((k, levels[k]) for k in across), p=x.shape[1],
        cell_sums=_cell_sums(np.column_stack([np.ones(len(x)), f]), stratum, chain, strata), products=products,
        columns=columns, within=inner, stratum=stratum, unit=units.unit, readings=reduced.readings,
        log_sizes=reduced.log_sizes,
    )  # fmt: skip


def _cell_sums(columns: Floats, stratum: Codes, chain: Chain, strata: int) -> Floats:
    sums = _membership(chain.cell * strata + stratum, chain.cells * strata) @ columns
    return np.ascontiguousarray(sums.T).reshape(-1, chain.cells, strata)


def from_readings(shared: Shared, responses: Floats) -> Responses:
    """Sums of responses given reading by reading.

    Parameters
    ----------
    shared : Shared
    responses : ndarray of shape (B, N)

    Returns
    -------
    Responses
    """
    y = np.ascontiguousarray(responses.T)
    y = y - y.mean(axis=0)
    if not shared.repeated:
        means = np.empty_like(y)
        means[shared.unit] = y
        return _summed(shared, means, None, None)
    size = np.bincount(shared.unit)
    average = _membership(shared.unit, shared.units) / size[:, None]
    means = average @ y
    rest = y - means[shared.unit]
    inner = None if shared.within is None else shared.within @ rest
    return _summed(shared, means, np.einsum("nb,nb->b", rest, rest), inner)


def from_means(shared: Shared, means: Floats, within: Floats | None) -> Responses:
    """Sums of responses given by their unit means.

    Parameters
    ----------
    shared : Shared
        Without columns of X that vary within units.
    means : ndarray of shape (B, units)
    within : ndarray of shape (B,) or None
        Sum of squares within units; None where each unit has one reading.

    Returns
    -------
    Responses
    """
    y = np.ascontiguousarray(means.T)
    return _summed(shared, y - y.mean(axis=0), within, None)


def _summed(shared: Shared, means: Floats, squares: Floats | None, inner: Floats | None) -> Responses:
    strata, f, units = shared.columns.shape
    group = shared.stratum * shared.chain.cells + shared.chain.cell
    cells = _membership(group, strata * shared.chain.cells) @ means
    products = (shared.columns.reshape(strata * f, units) @ means).reshape(strata, f, -1)
    own = _membership(shared.stratum, strata) @ (means * means)
    if squares is not None:
        own[-1] += squares
    if inner is not None:
        products[-1] += inner
    return Responses(cells.reshape(strata, shared.chain.cells, -1), products, own)


def _membership(codes: Codes, count: int) -> csr_array:
    """Matrix of 0 and 1 that adds up rows by their codes."""
    return csr_array((np.ones(codes.size), (codes, np.arange(codes.size))), shape=(count, codes.size))
