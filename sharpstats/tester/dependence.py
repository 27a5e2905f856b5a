"""Does the spread of cuts grow with the level of the batch? Four relations, and a stated choice.

ISO 5725-2:2019, clause 7.5, with m the mean of a batch and s its s_r or s_R:

    constant          s = a
    through the origin  s = b m
    line              s = a + b m, weights 1/s^2 of the fitted s, three times in turn
    power             log s = c + d log m

The standard leaves the choice to the eye. Here it is the first of the four, in this order, that the SDs do not
contradict: log s has a variance of trigamma(df/2)/4, so the squared distances from the relation, each divided by it,
sum to about a chi-square with as many df as there are batches, less the fitted numbers. A p value above
5 % is no contradiction. If all four are contradicted the one with the largest p value stands, and is said to be.
For s_R the test is approximate: its df are Satterthwaite's, and the batches have their shops in common.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]
Kind = Literal["constant", "through the origin", "line", "power"]
FEWEST_BATCHES = 3
ENOUGH = 0.05
APART = 1.25
"""Levels nearer to each other than this ratio tell no slope."""
STEEPEST = 500.0
"""Log of a: beyond it the power is so high that it describes nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Relation:
    """One way in which an SD may depend on the level.

    Attributes
    ----------
    kind : str
        ``constant``, ``through the origin``, ``line`` or ``power``.
    a, b : float
        s = a + b m; for ``power`` s = a m^b.
    p : float
        p value of the distances of the SDs from the relation; NaN if no distance is left to judge.
    """

    kind: Kind
    a: float
    b: float
    p: float

    def at(self, m: ArrayLike) -> Floats:
        """Return the SD at a level m, in the units of the batches' means."""
        level = np.asarray(m, dtype=float)
        return self.a * level**self.b if self.kind == "power" else self.a + self.b * level


@dataclass(frozen=True, slots=True, kw_only=True)
class Dependence:
    """What was found for one SD.

    Attributes
    ----------
    relations : tuple of Relation
        Those that could be fitted, in the order in which they are preferred.
    chosen : Relation
    contradicted : bool
        Whether the SDs contradict even the chosen one (p at or below 5 %).
    """

    relations: tuple[Relation, ...]
    chosen: Relation
    contradicted: bool


def dependence(m: ArrayLike, sd: ArrayLike, df: ArrayLike) -> Dependence | None:
    """Fit the four relations and choose one.

    Parameters
    ----------
    m : array_like of shape (q,)
        Means of the batches, as read.
    sd, df : array_like of shape (q,)
        Their s_r or s_R, with degrees of freedom.

    Returns
    -------
    Dependence or None
        None with fewer than three batches, or where an SD is zero: its logarithm says nothing.

    Examples
    --------
    >>> found = dependence([50, 100, 200, 400], [2.1, 3.9, 8.3, 15.8], [16, 16, 16, 16])
    >>> print(found.chosen.kind, f"{found.chosen.b:.3f}")
    through the origin 0.041
    """
    levels, s, n = (np.asarray(part, dtype=float) for part in (m, sd, df))
    if levels.size < FEWEST_BATCHES or not (s > 0).all():
        return None
    relations = tuple(_relations(levels, s, n))
    fit = [relation for relation in relations if not relation.p <= ENOUGH]
    chosen = fit[0] if fit else max(relations, key=lambda relation: relation.p)
    return Dependence(relations=relations, chosen=chosen, contradicted=not fit)


def _relations(m: Floats, s: Floats, df: Floats) -> Iterator[Relation]:
    yield _judged("constant", float(np.sqrt(df @ s**2 / df.sum())), 0.0, m, s, df)
    if not (m > 0).all():
        return
    yield _judged("through the origin", 0.0, float((s / m).mean()), m, s, df)
    if m.max() < APART * m.min():
        return
    line = _line(m, s)
    if line is not None:
        yield _judged("line", *line, m, s, df)
    slope, start = np.polyfit(np.log(m), np.log(s), 1)
    if abs(start) < STEEPEST:
        yield _judged("power", math.exp(start), float(slope), m, s, df)


def _line(m: Floats, s: Floats) -> tuple[float, float] | None:
    """Weighted line, the weights taken from the line before; None if it falls below zero among the batches."""
    fitted = s
    for _ in range(3):
        b, a = np.polyfit(m, s, 1, w=1 / fitted)
        fitted = a + b * m
        if not (fitted > 0).all():
            return None
    return float(a), float(b)


def _judged(kind: Kind, a: float, b: float, m: Floats, s: Floats, df: Floats) -> Relation:
    spare = m.size - (1 if kind in ("constant", "through the origin") else 2)
    bare = Relation(kind=kind, a=a, b=b, p=math.nan)
    # a log of a chi-square is below the log of its mean, by digamma: without it many batches would betray it
    far = np.log(s / bare.at(m)) - (special.digamma(df / 2) - np.log(df / 2)) / 2
    squares = float((far**2 * 4 / special.polygamma(1, df / 2)).sum())
    return Relation(kind=kind, a=a, b=b, p=float(special.chdtrc(spare, squares)))
