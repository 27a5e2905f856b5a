"""What is fitted: from a table with named columns to codes, levels and columns of X.

A term is a tuple of column names: ("medium",) is a main effect, ("medium", "steel") an
interaction. Factors are coded against their first level, and in full where the terms below
them are not in the model, so that every model has its usual columns.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.errors import FitError
from sharpstats.model.reduce import Codes, compress, first_of_each

Floats = NDArray[np.float64]
Term = tuple[str, ...]
TermLike = str | Sequence[str]


@dataclass(frozen=True, eq=False)
class Factor:
    """A column with levels.

    Attributes
    ----------
    codes : integer ndarray of shape (N,)
        Level of each row, numbered without gaps.
    raw : sequence
        The levels as the column holds them, in their order.
    """

    codes: Codes
    raw: Sequence[Any] | pd.Index | NDArray[Any]

    @cached_property
    def levels(self) -> tuple[str, ...]:
        """Names of the levels: made when asked for, since nobody asks those of 20,000 edges."""
        return tuple(map(_label, self.raw))


@dataclass(frozen=True, slots=True)
class ModelFrame:
    """Response, factors and covariates of a model, with its terms.

    Attributes
    ----------
    y : ndarray of shape (N,)
        Response.
    factors : mapping of str to Factor
    covariates : mapping of str to ndarray of shape (N,)
    fixed, random : tuple of Term
    response : str
        Name of the response.
    """

    y: Floats
    factors: Mapping[str, Factor]
    covariates: Mapping[str, Floats]
    fixed: tuple[Term, ...]
    random: tuple[Term, ...]
    response: str

    @property
    def fixed_factors(self) -> tuple[str, ...]:
        """Factors among the fixed terms, in the order in which they first appear."""
        names = dict.fromkeys(name for term in self.fixed for name in term)
        return tuple(name for name in names if name in self.factors)


def term_name(term: Term) -> str:
    """Name of a term for people.

    Examples
    --------
    >>> term_name(("blade", "medium"))
    'blade x medium'
    """
    return " x ".join(term)


def model_frame(
    table: pd.DataFrame, response: str, fixed: Sequence[TermLike], random: Sequence[TermLike],
    covariates: Sequence[str],
) -> ModelFrame:  # fmt: skip
    """Check the columns and turn them into codes.

    Parameters
    ----------
    table : DataFrame
        One row a reading.
    response : str
        Column with the numbers to be explained.
    fixed, random : sequence of str or sequence of str
        Terms; a sequence of names is their interaction.
    covariates : sequence of str
        Names among the fixed terms that are numbers, not levels.

    Returns
    -------
    ModelFrame

    Raises
    ------
    FitError
        If a column is missing, holds a blank or something that is not a number, or a term is
        named twice.
    """
    fixed_terms, random_terms = as_terms(fixed, "fixed"), as_terms(random, "random")
    names = dict.fromkeys(name for term in fixed_terms + random_terms for name in term)
    missing = [name for name in (response, *names, *covariates) if name not in table.columns]
    if missing:
        raise FitError(
            f"The table has no column {listed(missing)}. Its columns are {listed(table.columns)}."
        )
    if table.empty:
        raise FitError("The table has no rows, so there is nothing to fit.")
    return ModelFrame(
        y=_numbers(table, response),
        factors={name: _factor(table, name) for name in names if name not in covariates},
        covariates={name: _covariate(table, name) for name in names if name in covariates},
        fixed=fixed_terms,
        random=random_terms,
        response=response,
    )


def as_terms(terms: Sequence[TermLike], role: str) -> tuple[Term, ...]:
    """Terms as tuples of names, each once; `role` says in messages which they are.

    Examples
    --------
    >>> as_terms(["medium", ["medium", "steel"]], "fixed")
    (('medium',), ('medium', 'steel'))
    """
    if isinstance(terms, str):
        raise TypeError(f"`{role}` must be a list of terms, got the text {terms!r}")
    found = tuple((term,) if isinstance(term, str) else tuple(term) for term in terms)
    seen: set[frozenset[str]] = set()
    for term in found:
        if frozenset(term) in seen or len(set(term)) != len(term):
            raise FitError(f"The {role} term {term_name(term)} is named twice. Leave one out.")
        seen.add(frozenset(term))
    return found


def listed(names: Iterable[str]) -> str:
    """Names of columns, as messages show them.

    Examples
    --------
    >>> listed(["medium", "steel"])
    '`medium`, `steel`'
    """
    return ", ".join(f"`{name}`" for name in names)


def _numbers(table: pd.DataFrame, name: str) -> Floats:
    try:
        numbers = table[name].to_numpy(dtype=float)
    except (TypeError, ValueError):
        raise FitError(f"Column `{name}` must hold numbers only. Turn texts into numbers first.") from None
    bad = np.flatnonzero(~np.isfinite(numbers))
    if bad.size:
        raise FitError(
            f"Column `{name}` has {bad.size} value(s) that are blank or not finite, the first in row "
            f"{bad[0] + 1} of the table. Set such rows aside first."
        )
    return numbers


def _covariate(table: pd.DataFrame, name: str) -> Floats:
    numbers = _numbers(table, name)
    if abs(numbers.mean()) > FAR_FROM_ZERO * numbers.std():
        raise FitError(
            f"Column `{name}` lies so far from zero for its spread (mean {numbers.mean():g}, SD {numbers.std():g}) "
            "that digits would be lost. Subtract a typical value from it first."
        )
    return numbers


def _factor(table: pd.DataFrame, name: str) -> Factor:
    column = table[name]
    codes: Codes
    levels: Sequence[Any] | pd.Index
    if isinstance(column.dtype, pd.CategoricalDtype):
        codes, levels = column.cat.codes.to_numpy().astype(np.intp), column.cat.categories
    elif column.dtype.kind in "iu":
        return _coded_integers(column.to_numpy())
    elif len(column) < SMALL:
        codes, levels = _coded_small(column)
    else:
        codes, levels = _coded(column)
    if codes.size and codes.min() < 0:
        row = int(np.argmin(codes)) + 1
        raise FitError(f"Column `{name}` is blank in row {row} of the table. Fill it in, or set the row aside.")
    used, count = compress(codes)
    if count < len(levels):
        levels = [levels[code] for code in codes[first_of_each(used, count)]]
    return Factor(used, levels)


FAR_FROM_ZERO = 1e3
"""Mean of a covariate, in its SDs, beyond which its products lose more than six digits."""
SMALL = 1000
"""Rows below which a dictionary numbers labels faster than pandas does (a third of the time at 250 rows)."""


def _coded_integers(values: NDArray[Any]) -> Factor:
    low = int(values.min(initial=0))
    shifted = values.astype(np.intp) - low if low else values.astype(np.intp, copy=False)
    codes, count = compress(shifted)
    # Not np.unique: for a million numbers with gaps it takes twenty times as long as all the rest of a fit.
    raw = np.arange(count) + low if codes is shifted else values[first_of_each(codes, count)]
    return Factor(codes, raw)


def _coded(column: pd.Series) -> tuple[Codes, pd.Index]:
    codes, levels = pd.factorize(column, sort=True)
    return codes.astype(np.intp), pd.Index(levels)


def _coded_small(column: pd.Series) -> tuple[Codes, list[Any] | pd.Index]:
    values = column.to_numpy().tolist()
    try:
        levels = sorted(set(values))
    except TypeError:  # a blank among texts
        return _coded(column)
    if any(level != level for level in levels):
        return _coded(column)
    place = dict(zip(levels, range(len(levels)), strict=True))
    return np.fromiter(map(place.__getitem__, values), dtype=np.intp, count=len(values)), levels


def _label(level: Any) -> str:
    """Name of a level; whole numbers without ".0"."""
    return str(int(level)) if isinstance(level, float) and level.is_integer() else str(level)


def coded_in_full(frame: ModelFrame, term: Term, name: str) -> bool:
    """Whether a factor in a term needs all its levels: the term without it is not in the model."""
    rest = frozenset(term) - {name}
    return bool(rest) and rest not in {frozenset(other) for other in frame.fixed}


def columns_of_term(frame: ModelFrame, term: Term) -> list[dict[str, int | None]]:
    """The columns that a term adds to X: for each factor the level that its column marks."""
    choices: list[list[tuple[str, int | None]]] = []
    for name in term:
        if name in frame.covariates:
            choices.append([(name, None)])
            continue
        first = 0 if coded_in_full(frame, term, name) else 1
        choices.append([(name, level) for level in range(first, len(frame.factors[name].levels))])
    return [dict(choice) for choice in product(*choices)]


def column_name(frame: ModelFrame, column: Mapping[str, int | None]) -> str:
    """Name of a column of X, for example ``medium = slate x steel = stainless``."""
    parts = (
        name if level is None else f"{name} = {frame.factors[name].levels[level]}"
        for name, level in column.items()
    )
    return " x ".join(parts) or "intercept"


def design_columns(frame: ModelFrame) -> list[dict[str, int | None]]:
    """All columns of X, the intercept first."""
    return [{}, *(column for term in frame.fixed for column in columns_of_term(frame, term))]


def design_matrix(
    columns: Sequence[Mapping[str, int | None]], codes: Mapping[str, Codes], covariates: Mapping[str, Floats],
    rows: int,
) -> Floats:  # fmt: skip
    """Fill X for rows given by the codes of their factors.

    Parameters
    ----------
    columns : sequence of mapping
        From `design_columns`.
    codes : mapping of str to integer ndarray of shape (rows,)
    covariates : mapping of str to ndarray of shape (rows,)
    rows : int

    Returns
    -------
    ndarray of shape (rows, p)
    """
    x = np.ones((rows, len(columns)))
    for j, column in enumerate(columns):
        for name, level in column.items():
            x[:, j] *= covariates[name] if level is None else codes[name] == level
    return x
