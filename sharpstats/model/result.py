"""Results of a fit: plain numbers and arrays, each with a tidy table.

`.table` only rearranges what the result holds; it computes nothing. Columns come from the
vocabulary of `columns.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.late import Shown
from sharpstats.notes import Note

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Components(Shown):
    """Variances of the random factors with intervals.

    Attributes
    ----------
    terms : tuple of str
    variances, low, high : ndarray of shape (c,)
        Variances and the limits of their intervals, in squared units of the response.
    level : float
        Level of the intervals.
    notes : tuple of Note
    method : str
        How the limits were found.
    """

    terms: tuple[str, ...]
    variances: Floats
    low: Floats
    high: Floats
    level: float
    notes: tuple[Note, ...] = ()
    method: str = "profile likelihood"

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a component: term, variance, sd, low, high (of the SD), level, share."""
        return pd.DataFrame({
            "term": self.terms,
            "variance": self.variances,
            "sd": np.sqrt(self.variances),
            "low": np.sqrt(self.low),
            "high": np.sqrt(self.high),
            "level": self.level,
            "share": 100 * self.variances / self.variances.sum(),
        })  # fmt: skip


@dataclass(frozen=True, eq=False)
class Estimates(Shown):
    """Linear functions of the fixed effects: coefficients, means or contrasts.

    Attributes
    ----------
    kind : str
        ``coefficients``, ``means`` or ``contrasts``.
    terms, at : tuple of str
        What each row is about, and the level of another factor at which it holds ("" if it
        is averaged over). A contrast is named "A minus B".
    estimate, se, df, statistic, p, low, high : ndarray of shape (c,)
        In units of the response; NaN where the layout cannot answer.
    level : float
        Level of the intervals; simultaneous where `adjust` is not "none".
    levels : ndarray of shape (c,)
        Level of each single interval (they differ under Holm).
    method : str
        How the degrees of freedom were found.
    adjust : str
        ``none``, ``tukey``, ``dunnett`` or ``holm``.
    covariance : ndarray of shape (c, c)
        Covariance of the estimates.
    notes : tuple of Note
    """

    kind: str
    terms: tuple[str, ...]
    at: tuple[str, ...]
    estimate: Floats
    se: Floats
    df: Floats
    statistic: Floats
    p: Floats
    low: Floats
    high: Floats
    level: float
    levels: Floats
    method: str
    adjust: str = "none"
    covariance: Floats = field(default_factory=lambda: np.empty((0, 0)), repr=False)
    counts: tuple[tuple[int, ...], tuple[int, ...]] | None = None
    notes: tuple[Note, ...] = ()

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row an estimate: term, at, estimate, se, df, statistic, p, low, high, level."""
        columns = {
            "term": self.terms, "at": self.at, "estimate": self.estimate, "se": self.se, "df": self.df,
            "statistic": self.statistic, "p": self.p, "low": self.low, "high": self.high, "level": self.levels,
        }  # fmt: skip
        if not any(self.at):
            del columns["at"]
        if self.kind == "means":
            del columns["statistic"], columns["p"]
        if self.counts is not None:
            columns["edges"], columns["cuts"] = self.counts
        return pd.DataFrame(columns)


@dataclass(frozen=True, eq=False)
class Terms(Shown):
    """F tests of whole terms.

    Attributes
    ----------
    terms : tuple of str
    df1, df2, f, p, scaling : ndarray of shape (c,)
        Degrees of freedom, F statistic, p value, and Kenward and Roger's scaling (already in F).
    method : str
    notes : tuple of Note
    """

    terms: tuple[str, ...]
    df1: Floats
    df2: Floats
    f: Floats
    p: Floats
    scaling: Floats
    method: str
    notes: tuple[Note, ...] = ()

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a term: term, df1, df2, f, p."""
        return pd.DataFrame({"term": self.terms, "df1": self.df1, "df2": self.df2, "f": self.f, "p": self.p})
