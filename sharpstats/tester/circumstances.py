"""What else changed while the cuts were made: what a difference or a slope could be mistaken for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.model.result import Estimates

Floats = NDArray[np.float64]
Term = tuple[str, ...]

SAMPLED = ("load", "direction", "edge", "operator", "day", "tester")
"""Circumstances that may add a part of their own to a reading."""
LOT = "filament_lot"


FEW = 5
"""Levels below which a circumstance is taken out as it is: so few say nothing of how such levels spread."""


@dataclass(frozen=True, slots=True)
class Model:
    """How circumstances enter a model of the cuts.

    Attributes
    ----------
    fixed : tuple of tuple of str
        Taken out level by level.
    random : tuple of tuple of str
        Taken as a sample.
    """

    fixed: tuple[Term, ...]
    random: tuple[Term, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """What the model allows for, in words for a list."""
        return tuple(" on ".join(term) for term in (*self.fixed, *self.random))


def circumstances(readings: pd.DataFrame, lot: str | None = None) -> Model:
    """Find how edge, operator, day and tester enter a model of these cuts.

    Parameters
    ----------
    readings : DataFrame
        One row a cut.
    lot : str, optional
        Column whose levels are to be compared.

    Returns
    -------
    Model
        Circumstances of few levels, through which all lots can be compared, are fixed, as is the load;
        others are random. So is operator on edge, unless both are fixed. None that splits the cuts just as one
        before it does, has a level for each cut, or only one level for each lot.

    Examples
    --------
    >>> table = pd.DataFrame({"edge": list("aabbcddee") * 2, "operator": list("p" * 9 + "q" * 9), "day": ["1"] * 18})
    >>> circumstances(table)
    Model(fixed=(('operator',),), random=(('edge',), ('operator', 'edge')))
    """
    bound = [] if lot is None else _one_each(readings, lot)
    usable = [name for name in SAMPLED if name in readings and name not in bound]
    wanted: list[Term] = [(name,) for name in usable]
    if {"edge", "operator"} <= set(usable):
        wanted.append(("operator", "edge"))
    fixed: list[Term] = []
    random: list[Term] = []
    seen: set[bytes] = set()
    for term in wanted:
        codes = readings.groupby(list(term), observed=True, sort=False).ngroup()
        levels, key = int(codes.max()) + 1, codes.to_numpy().tobytes()
        if not 1 < levels < len(codes) or key in seen:
            continue
        seen.add(key)
        few = all((name,) in fixed for name in term) if len(term) > 1 else levels < FEW or term == ("load",)
        comparable = lot is None or len(linked(readings[lot], codes)[1]) == 1
        (fixed if few and comparable else random).append(term)
    return Model(tuple(fixed), tuple(random))


def _one_each(readings: pd.DataFrame, lot: str) -> list[str]:
    """Circumstances of which each lot met only one: what they add is part of the lots' differences."""
    by_lot = readings.groupby(lot, observed=True)
    return [name for name in SAMPLED if name in readings and (by_lot[name].nunique() == 1).all()]


def linked(one: pd.Series, other: pd.Series) -> tuple[NDArray[np.intp], dict[int, int]]:
    """Link the levels of two columns that meet in a row.

    Parameters
    ----------
    one, other : Series
        Labels, one a cut.

    Returns
    -------
    groups : ndarray of shape (levels of `one`,)
        Group of each level of `one` (in order of first appearance): levels in different groups
        never meet the same level of `other`, not even over a third.
    counts : dict of int to int
        How many levels of `other` each group has.

    Examples
    --------
    >>> groups, counts = linked(pd.Series(list("aabb")), pd.Series(list("1122")))
    >>> groups.tolist(), counts
    ([0, 1], {0: 1, 1: 1})
    """
    rows, columns = pd.factorize(one)[0], pd.factorize(other)[0]
    first, second = rows.max() + 1, columns.max() + 1
    links = coo_array((np.ones(len(rows)), (rows, first + columns)), shape=(first + second, first + second))
    groups = connected_components(links, directed=False)[1]
    labels, counts = np.unique(groups[first:], return_counts=True)
    return groups[:first].astype(np.intp), {int(k): int(n) for k, n in zip(labels, counts, strict=True)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """A change with a number, with its interval.

    Attributes
    ----------
    estimate, se, low, high : float
        On the study's scale, for each `per` of the number.
    df, p, level : float
    per : float
        Step of the number that the estimate is for.
    """

    estimate: float
    se: float
    low: float
    high: float
    df: float
    p: float
    level: float
    per: float


def slope_of(fit: MixedFit, name: str, per: float) -> Slope | None:
    """Return the coefficient of a covariate; None where the cuts do not tell it from the rest.

    Parameters
    ----------
    fit : MixedFit
    name : str
        The covariate's name in `fit_slopes`.
    per : float
    """
    found, column = fit.coefficients, f"slope_{name}"
    if column not in found.terms:
        return None
    return as_slope(found, found.terms.index(column), per)


def as_slope(found: Estimates, place: int, per: float) -> Slope | None:
    """Return one estimate as a slope; None where it is not answered."""
    values = {name: float(getattr(found, name)[place]) for name in ("estimate", "se", "low", "high", "df", "p")}
    if not np.isfinite(values["se"]) or values["se"] <= 0:
        return None
    return Slope(level=found.level, per=per, **values)


TANGLED = 10.0
"""Times that the variance of a slope may grow with another slope beside it; beyond, the two are not told apart (common
practice, no source)."""


def beside(alone: Slope, both: Slope | None) -> Slope | None:
    """Return a slope with another one taken out; None where the cuts do not tell the two apart.

    Parameters
    ----------
    alone, both : Slope
        Without the other slope in the model, and with it.
    """
    return both if both is not None and both.se**2 <= TANGLED * alone.se**2 else None


def fit_slopes(
    readings: pd.DataFrame, values: Floats, numbers: dict[str, tuple[Floats, float]], *, fixed: Sequence[str] = (),
    level: float = 0.95,
) -> MixedFit:  # fmt: skip
    """Fit straight changes with one or more numbers, circumstances allowed for.

    Parameters
    ----------
    readings : DataFrame
        One row a cut.
    values : ndarray of shape (n,)
        Readings on the study's scale.
    numbers : mapping of str to (ndarray of shape (n,), float)
        Each covariate with the step that its slope is for; it is centred here.
    fixed : sequence of str
        Factors beside them.
    level : float

    Returns
    -------
    MixedFit
    """
    covariates = {f"slope_{name}": (number - number.mean()) / per for name, (number, per) in numbers.items()}
    table, model = readings.assign(reading=values, **covariates), circumstances(readings)
    return fit_mixed(table, response="reading", fixed=[*model.fixed, *fixed, *covariates], covariates=list(covariates),
                     random=model.random, level=level)  # fmt: skip
