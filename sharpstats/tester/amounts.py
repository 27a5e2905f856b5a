"""Amounts with intervals, as a tester study tells them: SDs, shares, limits."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.late import Shown

Floats = NDArray[np.float64]
LIMIT_FACTOR = 2.8
"""Two single cuts differ by more than this many SDs in 5 of 100 pairs: 1.96 times the root of 2, rounded by
ISO 5725-6:1994, clause 4.1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """A number with its interval.

    Attributes
    ----------
    estimate, low, high : float
        `high` may be infinite; limits are NaN where nothing is known of the error.
    level : float
        Level of the interval, between 0 and 1.
    """

    estimate: float
    low: float
    high: float
    level: float

    def times(self, factor: float) -> Amount:
        """Return the amount multiplied by a number that is known.

        Examples
        --------
        >>> Amount(estimate=2.0, low=1.0, high=4.0, level=0.95).times(2.8)
        Amount(estimate=5.6, low=2.8, high=11.2, level=0.95)
        """
        return Amount(estimate=factor * self.estimate, low=factor * self.low, high=factor * self.high, level=self.level)


@dataclass(frozen=True, eq=False, kw_only=True)
class Amounts(Shown):
    """Several amounts, each about one term.

    Attributes
    ----------
    terms : tuple of str
    estimate, low, high : ndarray of shape (c,)
    level : float
    """

    terms: tuple[str, ...]
    estimate: Floats
    low: Floats
    high: Floats
    level: float

    def __getitem__(self, term: str) -> Amount:
        if term not in self.terms:
            raise KeyError(f"there is no {term}; there are {', '.join(self.terms)}")
        i = self.terms.index(term)
        low, high = float(self.low[i]), float(self.high[i])
        return Amount(estimate=float(self.estimate[i]), low=low, high=high, level=self.level)

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row an amount: term, estimate, low, high, level."""
        return pd.DataFrame({"term": self.terms, "estimate": self.estimate, "low": self.low, "high": self.high,
                             "level": self.level})  # fmt: skip


def gathered(terms: Iterable[str], amounts: Iterable[Amount], level: float) -> Amounts:
    """Put amounts together.

    Examples
    --------
    >>> gathered(["r"], [Amount(estimate=2.0, low=1.0, high=4.0, level=0.95)], 0.95)["r"].high
    4.0
    """
    found = np.array([(one.estimate, one.low, one.high) for one in amounts], dtype=float).reshape(-1, 3)
    return Amounts(terms=tuple(terms), estimate=found[:, 0], low=found[:, 1], high=found[:, 2], level=level)


def root_of(estimate: float, limits: tuple[float, float], level: float) -> Amount:
    """SD of a variance with limits; an estimate that lies outside them widens them.

    Estimate and limits may come from two methods, likelihood and mean squares, which differ a
    little where the layout is not balanced.
    """
    low, high = min(limits[0], estimate), max(limits[1], estimate)
    return Amount(estimate=float(np.sqrt(estimate)), low=float(np.sqrt(low)), high=float(np.sqrt(high)), level=level)
