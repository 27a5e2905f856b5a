"""Variances from the mean squares of a balanced layout, with modified-large-sample intervals.

The companion of the profile likelihood: close to its stated level however few blades or operators
there are (exact for the residual), where the likelihood leans on there being many.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import optimize

from sharpstats.late import Shown
from sharpstats.model.largesample import linear_limits
from sharpstats.model.result import Components
from sharpstats.model.strata import Strata
from sharpstats.notes import Note

Floats = NDArray[np.float64]
METHOD = "modified large sample"


@dataclass(frozen=True, eq=False)
class MeanSquares(Shown):
    """The mean squares of a balanced layout, one for each variance.

    Attributes
    ----------
    terms : tuple of str
        Random terms, the residual last.
    df, mean_square : ndarray of shape (c,)
        Degrees of freedom, and mean squares in squared units of the response.
    expected : ndarray of shape (c, c)
        Each expected mean square is its row times the variances, both in the order of `terms`.
    level : float
        Level of the intervals.
    """

    terms: tuple[str, ...]
    df: Floats
    mean_square: Floats
    expected: Floats
    level: float

    @cached_property
    def weights(self) -> Floats:
        """Each variance as a weighted sum of expected mean squares; shape (c, c)."""
        return np.asarray(np.linalg.inv(self.expected), dtype=np.float64)

    @cached_property
    def components(self) -> Components:
        """Variances with intervals by the modified-large-sample method; none is told below zero."""
        found = self.weights @ self.mean_square
        pairs = [linear_limits(self.mean_square, self.df, row, self.level) for row in self.weights]
        low, high = np.maximum(np.array(pairs, dtype=float).T, 0.0)
        notes = [_below_zero(term) for term, value in zip(self.terms, found, strict=True) if value < 0]
        return Components(self.terms, np.maximum(found, 0.0), low, high, self.level, tuple(notes), METHOD)

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a mean square: term, df, mean_square."""
        return pd.DataFrame({"term": self.terms, "df": self.df, "mean_square": self.mean_square})


def _below_zero(term: str) -> Note:
    return Note("below-zero", f"The mean squares put the variance between levels of {term} below zero, and it is told "
                "as zero: the layout shows no such spread.")  # fmt: skip


def named_mean_squares(strata: Strata, terms: Sequence[str], places: Sequence[int], level: float) -> MeanSquares:
    """Give each stratum the name of the variance that it alone adds to the strata below it.

    Parameters
    ----------
    strata : Strata
    terms : sequence of str
        Names of the variances.
    places : sequence of int
        Where each of them stands among the columns of `strata.expected`.
    level : float

    Returns
    -------
    MeanSquares
    """
    expected = strata.expected[:, places]
    rows, columns = optimize.linear_sum_assignment(expected > 0, maximize=True)
    order = rows[np.argsort(columns)]
    return MeanSquares(tuple(terms), strata.df[order], (strata.squares / strata.df)[order], expected[order], level)
