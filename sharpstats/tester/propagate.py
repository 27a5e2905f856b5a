"""Propagation of distributions by Monte Carlo (JCGM 101:2008): the check of an uncertainty budget.

Every contribution is drawn from its distribution, the results are sorted, and the limits are read off.
Nothing is assumed about the shape of the result, so it holds where the budget's formula does not.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.sparse.csgraph import connected_components

from sharpstats.errors import FitError
from sharpstats.late import Shown
from sharpstats.tester.contribution import Contribution
from sharpstats.tester.distributions import BOUNDED, Floats, draw_one

Model = Callable[[Floats], Floats]
"""Takes one row a contribution, gives one result a column."""

SEED = 20_261_125
MOST = 1_000_000
"""Trials after which the search for settled limits ends."""
_BLOCK, _FEWEST_BLOCKS = 10_000, 10
"""JCGM 101, 7.9.4, is content with two blocks; two can agree by luck, ten hardly."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Inputs:
    """What is drawn.

    Attributes
    ----------
    contributions : tuple of Contribution
    copies, over : tuple of int
        The sum of so many independent copies, divided by so many: 1 and 1 for one reading, c and c for the
        mean of c cuts, 2 c and c for the difference of two such means, 0 copies for what cancels.
    correlation : ndarray of shape (contributions, contributions)
    """

    contributions: tuple[Contribution, ...]
    copies: tuple[int, ...]
    over: tuple[int, ...]
    correlation: Floats

    @property
    def uncertainties(self) -> Floats:
        """Standard uncertainty of each, with averaging and differences in it; in its own unit."""
        parts = zip(self.contributions, self.copies, self.over, strict=True)
        return np.array([one.u * math.sqrt(copies) / over for one, copies, over in parts])

    @property
    def groups(self) -> list[list[int]]:
        """Contributions that are correlated with each other, by place; most stand alone."""
        found = connected_components(self.correlation != 0, directed=False)[1]
        return [np.flatnonzero(found == group).tolist() for group in range(found.max() + 1)]

    def draw(self, rng: np.random.Generator, number: int) -> Floats:
        """Draw around the estimates: one row a contribution."""
        drawn = np.empty((len(self.contributions), number))
        for group in self.groups:
            if len(group) == 1:
                i = group[0]
                one, over = self.contributions[i], self.over[i]
                drawn[i] = draw_one(one.shape, one.u, one.df, self.copies[i], rng, number) / over
            else:
                drawn[group] = self._together(group, rng, number)
        return drawn

    def _together(self, group: list[int], rng: np.random.Generator, number: int) -> Floats:
        """Draw from a normal or t distribution of several dimensions (JCGM 101, 6.4.8; JCGM 102, 5.3.2)."""
        df = _common_df([self.contributions[i] for i in group])
        values, vectors = np.linalg.eigh(self.correlation[np.ix_(group, group)])
        root = self.uncertainties[group][:, None] * vectors * np.sqrt(np.maximum(values, 0))
        drawn = root @ rng.standard_normal((len(group), number))
        return drawn if math.isinf(df) else drawn * np.sqrt(df / rng.chisquare(df, number))


def _common_df(group: list[Contribution]) -> float:
    found = {math.inf if one.shape == "normal" else one.df for one in group}
    if len(found) > 1 or any(one.shape in BOUNDED for one in group):
        names = ", ".join(one.name for one in group)
        raise FitError(
            f"{names} are correlated, but not all normal, nor all t with the same degrees of freedom: no common "
            "distribution is known to draw them from. Give them the same distribution, or leave the check out "
            "with seed=None."
        )
    return found.pop()


@dataclass(frozen=True, eq=False, kw_only=True)
class Propagation(Shown):
    """What came out of drawing, and how it compares with the budget's interval.

    Attributes
    ----------
    trials, seed : int
    level : float
        Level of the limits.
    mean, sd : float
        Of the results; not a number, or infinite, where a t distribution has too few degrees of freedom to have one.
    low, high : float
        Limits with as much beyond each (probabilistically symmetric; JCGM 101, 5.3.4).
    shortest_low, shortest_high : float
        Limits of the shortest interval of the level (JCGM 101, 7.7.4).
    delta : float
        Numerical tolerance of the comparison.
    error : float
        Twice the standard error, from one block of trials to the next, of the least certain limit.
    off_low, off_high : float
        Distance of the budget's limits from `low` and `high` (JCGM 101, 8.1).
    """

    trials: int
    seed: int
    level: float
    mean: float
    sd: float
    low: float
    high: float
    shortest_low: float
    shortest_high: float
    delta: float
    error: float
    off_low: float
    off_high: float

    @property
    def table(self) -> pd.DataFrame:
        """One row an interval: term (``symmetric`` or ``shortest``), low, high, level."""
        rows = {"symmetric": (self.low, self.high), "shortest": (self.shortest_low, self.shortest_high)}
        return pd.DataFrame([{"term": term, "low": low, "high": high, "level": self.level}
                             for term, (low, high) in rows.items()])  # fmt: skip

    @property
    def agrees(self) -> bool:
        """Whether both limits of the budget hold to within `delta` (JCGM 101, 8.1): the interval is validated."""
        return max(self.off_low, self.off_high) <= self.delta

    @property
    def settled(self) -> bool:
        """Whether more trials could hardly turn the answer of `agrees`.

        The limits are known to a fifth of `delta` (JCGM 101, 8.2), or differ from the budget's by so much more or
        less than `delta` that their own error does not matter.
        """
        clear = abs(max(self.off_low, self.off_high) - self.delta) > self.error
        return clear or self.error <= self.delta / 5


def tolerance(u: float, digits: int) -> float:
    """Return half of the last significant digit of an uncertainty (JCGM 101, 7.9.2).

    Examples
    --------
    >>> tolerance(0.035, 2), tolerance(9.96, 2), tolerance(24.0, 1)
    (0.0005, 0.5, 5.0)
    """
    return 0.5 * 10.0 ** (int(f"{u:.{digits - 1}e}".split("e")[1]) - digits + 1)


def propagate(
    model: Model, inputs: Inputs, *, limits: tuple[float, float], delta: float, level: float = 0.95, seed: int = SEED,
    most: int = MOST,
) -> Propagation:  # fmt: skip
    """Draw until the limits are settled, and hold the budget's limits against them.

    Parameters
    ----------
    model : callable
        Takes draws around the estimates, shape (contributions, n), gives results of shape (n,).
    inputs : Inputs
    limits : tuple of float
        The budget's interval.
    delta : float
        Numerical tolerance: see `tolerance`.
    level : float
    seed : int
    most : int
        Trials at which to stop, settled or not.

    Returns
    -------
    Propagation

    Raises
    ------
    FitError
        If a result is not a finite number.

    References
    ----------
    JCGM 101:2008, 7.2 to 7.9 (procedure) and 8 (validation).

    Examples
    --------
    >>> parts = tuple(Contribution(name=name, standard=1.0, distribution="rectangular") for name in "abcd")
    >>> inputs = Inputs(contributions=parts, copies=(1,) * 4, over=(1,) * 4, correlation=np.eye(4))
    >>> found = propagate(lambda x: x.sum(axis=0), inputs, limits=(-3.92, 3.92), delta=0.05)
    >>> round(found.high, 1), round(found.sd, 1)
    (3.9, 2.0)
    """
    rng = np.random.default_rng(seed)
    block = max(math.ceil(round(100 / (1 - level), 3)), _BLOCK)
    judged = _judged(inputs)
    fewest = max(min(_FEWEST_BLOCKS, most // block), 2)
    blocks: list[Floats] = []
    told: list[Floats] = []
    error = math.inf
    while len(blocks) < fewest or (error > delta / 5 and (len(blocks) + 1) * block <= most):
        results = np.sort(_results(model, inputs, rng, block))
        blocks.append(results)
        told.append(np.array([results.mean(), results.std(ddof=1), *symmetric_limits(results, level)])[judged])
        error = _error(told)
    results = np.sort(np.concatenate(blocks))
    low, high = symmetric_limits(results, level)
    shortest = shortest_limits(results, level)
    return Propagation(
        trials=len(results), seed=seed, level=level, mean=float(results.mean()) if 0 in judged else math.nan,
        sd=float(results.std(ddof=1)) if 1 in judged else math.inf, low=low, high=high, shortest_low=shortest[0],
        shortest_high=shortest[1], delta=delta, error=error, off_low=abs(limits[0] - low),
        off_high=abs(limits[1] - high),
    )  # fmt: skip


def _judged(inputs: Inputs) -> list[int]:
    """Return which of mean, SD and limits exist: t has a mean from 2 degrees of freedom, an SD from 3."""
    parts = zip(inputs.contributions, inputs.uncertainties, strict=True)
    least = min((one.df for one, u in parts if one.shape == "t" and u > 0), default=math.inf)
    return [place for place, needed in enumerate((1, 2, 0, 0)) if least > needed]


def _results(model: Model, inputs: Inputs, rng: np.random.Generator, number: int) -> Floats:
    results = model(inputs.draw(rng, number))
    if not np.isfinite(results).all():
        raise FitError(
            "Some values that the contributions may have give no finite result. Give distributions that keep to the "
            "values for which the model holds, or leave the check out with seed=None."
        )
    return results


def _error(told: list[Floats]) -> float:
    """Return twice the standard error of what differs most from block to block (JCGM 101, 7.9.4)."""
    return math.inf if len(told) < 2 else float(2 * np.max(np.std(told, axis=0, ddof=1)) / math.sqrt(len(told)))


def symmetric_limits(results: Floats, level: float) -> tuple[float, float]:
    """Return the limits that leave as many results below as above; `results` are sorted (JCGM 101, 7.7.2).

    Examples
    --------
    >>> symmetric_limits(np.arange(1.0, 1001.0), 0.95)
    (25.0, 975.0)
    """
    inside = int(level * len(results) + 0.5)
    first = (len(results) - inside) // 2
    return float(results[first - 1]), float(results[first - 1 + inside])


def shortest_limits(results: Floats, level: float) -> tuple[float, float]:
    """Return the shortest interval that holds a share `level` of the sorted results (JCGM 101, 7.7.4).

    Examples
    --------
    >>> low, high = shortest_limits(np.sqrt(np.arange(1000) / 1000), 0.5)
    >>> round(low, 2), round(high, 2)
    (0.71, 1.0)
    """
    inside = int(level * len(results) + 0.5)
    widths = results[inside:] - results[:-inside]
    first = int(np.argmin(widths))
    return float(results[first]), float(results[first + inside])
