"""Analysis of variance by mean squares: the classical table of balanced layouts, and Welch's test.

In a balanced (orthogonal) layout each term's sum of squares is what its cell means take out
when the terms are swept one after the other, whatever their order (Tjur 1984, International
Statistical Review 52:33-81).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from sharpstats.errors import FitError
from sharpstats.late import Shown
from sharpstats.model.reduce import Codes, combine
from sharpstats.model.spec import TermLike, model_frame, term_name

Floats = NDArray[np.float64]
RESIDUAL = "residual"


@dataclass(frozen=True, eq=False)
class Anova(Shown):
    """A table of sums of squares.

    Attributes
    ----------
    terms : tuple of str
        The terms, the residual last.
    df, sum_of_squares : ndarray of shape (c,)
        Degrees of freedom, and sums of squares in squared units of the response.
    error : tuple of int
        For each term the row whose mean square it is tested against; -1 for none.
    """

    terms: tuple[str, ...]
    df: Floats
    sum_of_squares: Floats
    error: tuple[int, ...]

    @cached_property
    def mean_square(self) -> Floats:
        """Mean squares; NaN where a term has no degree of freedom."""
        return np.divide(self.sum_of_squares, self.df, out=np.full(len(self.df), np.nan), where=self.df > 0)

    @cached_property
    def f(self) -> Floats:
        """F statistics, NaN where a term is not tested."""
        tested = np.array(self.error) >= 0
        return np.where(tested, self.mean_square / self.mean_square[list(self.error)], np.nan)

    @cached_property
    def df2(self) -> Floats:
        """Degrees of freedom of the mean square that each term is tested against."""
        return np.where(np.array(self.error) >= 0, self.df[list(self.error)], np.nan)

    @property
    def r_squared(self) -> float:
        """Share of the total sum of squares that the terms take out."""
        return 1 - float(self.sum_of_squares[-1] / self.sum_of_squares.sum())

    @property
    def residual_sd(self) -> float:
        """Square root of the residual mean square."""
        return float(np.sqrt(self.mean_square[-1]))

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a term: term, df1, sum_of_squares, mean_square, df2, f, p."""
        return pd.DataFrame({
            "term": self.terms, "df1": self.df, "sum_of_squares": self.sum_of_squares,
            "mean_square": self.mean_square, "df2": self.df2, "f": self.f,
            "p": special.fdtrc(self.df, self.df2, self.f),
        })  # fmt: skip


def anova(
    table: pd.DataFrame, *, response: str, fixed: Sequence[TermLike], random: Sequence[TermLike] = ()
) -> Anova:
    """Classical analysis of variance of a balanced layout.

    Parameters
    ----------
    table : DataFrame
        One row a reading.
    response : str
        Column with the numbers to be explained.
    fixed, random : sequence of str or tuple of str
        Terms as in `fit_mixed`. A term is tested against the coarsest random term that is
        finer than it, or against the residual.

    Returns
    -------
    Anova

    Raises
    ------
    FitError
        If the layout is not balanced, or a term adds nothing to those before it.

    Examples
    --------
    >>> table = pd.DataFrame({"y": [1.0, 2.0, 4.0, 5.0], "medium": ["a", "a", "b", "b"]})
    >>> anova(table, response="y", fixed=["medium"]).table[["term", "df1", "f"]]
           term  df1     f
    0    medium  1.0  18.0
    1  residual  2.0   NaN
    """
    frame = model_frame(table, response, fixed, random, ())
    coded = [combine([frame.factors[name].codes for name in term]) for term in frame.fixed + frame.random]
    order = sorted(range(len(coded)), key=lambda k: (coded[k][1], k >= len(frame.fixed)))
    parts = [coded[k] for k in order]
    terms = [(frame.fixed + frame.random)[k] for k in order]
    is_random = [k >= len(frame.fixed) for k in order]
    df, squares = _sweep(frame.y, parts, [term_name(term) for term in terms])
    error = [_error_row(i, parts, is_random) for i in range(len(parts))]
    return Anova((*map(term_name, terms), RESIDUAL), df, squares, (*error, -1))


def _sweep(y: Floats, parts: Sequence[tuple[Codes, int]], names: Sequence[str]) -> tuple[Floats, Floats]:
    """Take out the cell means of one term after the other."""
    left = y - y[0]
    left = left - left.mean()
    left = left - left.mean()
    scale = float(np.sqrt(left @ left))
    df: list[float] = []
    squares: list[float] = []
    for i, (codes, count) in enumerate(parts):
        below = sum(df[j] for j in range(i) if _coarser(parts[j], parts[i]))
        df.append(float(count - 1 - below))
        if df[-1] < 1:
            raise FitError(f"The term {names[i]} adds nothing to the terms before it. Leave one of them out.")
        means = _cell_means(left, codes, count)
        left = left - means[codes]
        squares.append(float(np.bincount(codes, minlength=count) @ means**2))
    df.append(float(len(y) - 1 - sum(df)))
    squares.append(float(left @ left))
    for (codes, count), name in zip(parts, names, strict=True):
        if np.abs(_cell_means(left, codes, count)).max() > 1e-9 * scale:
            raise FitError(
                f"The layout is not balanced for {name}, so its sum of squares depends on the order of the terms. "
                "Use `fit_mixed`, which does not need balance."
            )
    return np.array(df), np.array(squares)


def _cell_means(y: Floats, codes: Codes, count: int) -> Floats:
    size = np.bincount(codes, minlength=count)
    means = np.bincount(codes, weights=y, minlength=count) / size
    return means + np.bincount(codes, weights=y - means[codes], minlength=count) / size


def _coarser(one: tuple[Codes, int], other: tuple[Codes, int]) -> bool:
    """Whether each level of `other` lies within one level of `one`."""
    return one[1] <= other[1] and combine([one[0], other[0]])[1] == other[1]


def _error_row(i: int, parts: Sequence[tuple[Codes, int]], is_random: Sequence[bool]) -> int:
    finer = [j for j in range(len(parts)) if is_random[j] and j != i and _coarser(parts[i], parts[j])]
    return min(finer, key=lambda j: parts[j][1]) if finer else len(parts)


@dataclass(frozen=True, eq=False)
class Welch(Shown):
    """Welch's one-way test, which does not ask for equal spreads."""

    f: float
    df1: float
    df2: float
    p: float

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row: term, df1, df2, f, p."""
        return pd.DataFrame({"term": ["medium"], "df1": [self.df1], "df2": [self.df2], "f": [self.f], "p": [self.p]})


def welch(values: Floats, groups: Codes) -> Welch | None:
    """Welch's analysis of variance.

    Parameters
    ----------
    values : ndarray of shape (m,)
        One value a unit: edge means.
    groups : integer ndarray of shape (m,)
        Group of each value.

    Returns
    -------
    Welch or None
        None where a group has fewer than two values or no spread.

    References
    ----------
    Welch, B. L. (1951). On the comparison of several mean values. Biometrika 38:330-336.

    Examples
    --------
    >>> result = welch(np.array([1.0, 2.0, 3.0, 4.0, 6.0, 8.0]), np.array([0, 0, 0, 1, 1, 1]))
    >>> round(result.f, 4), round(result.df2, 4)
    (9.6, 2.9412)
    """
    n = np.bincount(groups).astype(float)
    if n.min() < 2 or len(n) < 2:
        return None
    means = np.bincount(groups, weights=values) / n
    variances = np.bincount(groups, weights=(values - means[groups]) ** 2) / (n - 1)
    if variances.min() <= 0:
        return None
    k, w = len(n), n / variances
    centre = w @ means / w.sum()
    lack = float(((1 - w / w.sum()) ** 2 / (n - 1)).sum())
    f = float(w @ (means - centre) ** 2 / (k - 1) / (1 + 2 * (k - 2) / (k**2 - 1) * lack))
    df2 = (k**2 - 1) / (3 * lack)
    return Welch(f, k - 1.0, df2, float(special.fdtrc(k - 1, df2, f)))
