"""Contrasts of fixed effects: marginal means, differences, terms and their families.

Everything is a matrix of rows over the columns of X, made from a grid of all combinations of
levels. Marginal means weight the levels of the other factors equally and stand at the mean of
each covariate (Searle, Speed & Milliken 1980, American Statistician 34:216-221).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from sharpstats.errors import FitError
from sharpstats.model.spec import Factor, ModelFrame, Term, design_columns, design_matrix

Floats = NDArray[np.float64]


def grid_rows(frame: ModelFrame) -> tuple[Floats, NDArray[np.intp]]:
    """Rows of X for every combination of levels, and the level of each factor in each row.

    Returns
    -------
    rows : ndarray of shape (cells, p)
    levels : integer ndarray of shape (cells, number of fixed factors)
    """
    names = frame.fixed_factors
    cells = list(product(*(range(len(frame.factors[name].levels)) for name in names)))
    levels = np.array(cells, dtype=np.intp).reshape(len(cells), len(names))  # one cell where there are no factors
    codes = {name: levels[:, i] for i, name in enumerate(names)}
    at = {name: np.full(len(levels), values.mean()) for name, values in frame.covariates.items()}
    return design_matrix(design_columns(frame), codes, at, len(levels)), levels


def mean_rows(frame: ModelFrame, term: Term, at: Mapping[str, str]) -> tuple[Floats, list[tuple[int, ...]]]:
    """Rows that give the marginal mean of each combination of levels of a term.

    Parameters
    ----------
    frame : ModelFrame
    term : tuple of str
        Fixed factors whose levels are kept apart.
    at : mapping of str to str
        Other factors held at one level instead of averaged over.

    Returns
    -------
    rows : ndarray of shape (combinations, p)
    combinations : list of tuple of int
        Codes of the levels, in the order of `term`.
    """
    rows, levels = grid_rows(frame)
    names = frame.fixed_factors
    kept = np.ones(len(rows))
    for name, level in at.items():
        known = fixed_factor(frame, name).levels
        if level not in known:
            raise FitError(f"Factor `{name}` has no level {level!r}. Its levels are {', '.join(known)}.")
        kept *= levels[:, names.index(name)] == known.index(level)
    counts = [len(fixed_factor(frame, name).levels) for name in term]
    combinations = list(product(*map(range, counts)))
    place = np.zeros(len(rows), dtype=np.intp)
    for name, count in zip(term, counts, strict=True):
        place = place * count + levels[:, names.index(name)]
    weights = np.eye(len(combinations))[:, place] * kept
    return weights @ rows / weights.sum(axis=1, keepdims=True), combinations


def fixed_factor(frame: ModelFrame, name: str) -> Factor:
    """Return the fixed factor with that name.

    Raises
    ------
    FitError
        If the fit has no such fixed factor.
    """
    if name not in frame.fixed_factors:
        known = ", ".join(f"`{factor}`" for factor in frame.fixed_factors) or "none"
        raise FitError(f"`{name}` is not a fixed factor of this fit. Its fixed factors are: {known}.")
    return frame.factors[name]


def pair_rows(count: int, reference: int | None) -> tuple[Floats, list[tuple[int, int]]]:
    """Differences among `count` means: all pairs, or each minus the reference.

    Examples
    --------
    >>> pair_rows(3, None)[1]
    [(0, 1), (0, 2), (1, 2)]
    >>> pair_rows(3, 0)[1]
    [(1, 0), (2, 0)]
    """
    if reference is None:
        pairs = [(i, j) for i in range(count) for j in range(i + 1, count)]
    else:
        pairs = [(i, reference) for i in range(count) if i != reference]
    rows = np.zeros((len(pairs), count))
    for k, (i, j) in enumerate(pairs):
        rows[k, i], rows[k, j] = 1.0, -1.0
    return rows, pairs


def term_rows(frame: ModelFrame, term: Term) -> Floats:
    """Hypothesis of a term: its effects are equal in the average over all other factors.

    These are the partial ("type III") hypotheses: for the factors of the term differences
    from the first level, for the others the plain average; for a covariate its slope.

    Returns
    -------
    ndarray of shape (df, p)
    """
    weights = np.ones((1, 1))
    for name in frame.fixed_factors:
        count = len(frame.factors[name].levels)
        differences = np.eye(count)[1:] - np.eye(count)[0]
        weights = np.kron(weights, differences if name in term else np.full((1, count), 1 / count))
    slopes = [name for name in term if name in frame.covariates]
    return weights @ (slope_rows(frame, slopes) if slopes else grid_rows(frame)[0])


def slope_rows(frame: ModelFrame, slopes: Sequence[str]) -> Floats:
    """Change of each grid cell's mean when the covariates grow by one unit."""
    _, levels = grid_rows(frame)
    codes = {name: levels[:, i] for i, name in enumerate(frame.fixed_factors)}
    rows = np.zeros((len(levels), len(design_columns(frame))))
    for signs in product((0.0, 1.0), repeat=len(slopes)):
        at = {name: np.full(len(levels), values.mean()) for name, values in frame.covariates.items()}
        for name, step in zip(slopes, signs, strict=True):
            at[name] = at[name] + step
        sign = (-1.0) ** (len(slopes) - sum(signs))
        rows += sign * design_matrix(design_columns(frame), codes, at, len(levels))
    return rows


def estimable(rows: Floats, null: Floats) -> NDArray[np.bool_]:
    """Whether each contrast is answered by the data: it must not touch the null space of X.

    Parameters
    ----------
    rows : ndarray of shape (c, p)
    null : ndarray of shape (p, k)
        Basis of the null space of X, k = 0 where X has full rank.
    """
    if not null.shape[1]:
        return np.ones(len(rows), dtype=bool)
    scale = np.abs(rows).max(axis=1, initial=1.0)
    return np.abs(rows @ null).max(axis=1) < 1e-8 * scale
