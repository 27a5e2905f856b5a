"""A check of a study's intervals: the same study drawn again many times from its own estimates.

Each drawn study is fitted by REML as the real one was. How a drawn estimate varies about the one it
was drawn from gives a second set of limits (as the ratio of the two, which hardly depends on the
truth: Efron & Tibshirani 1993, section 13.4, on the log scale), and the share of the drawn studies
whose own intervals hold the value drawn from shows whether the intervals keep their level.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.late import Shown
from sharpstats.model.largesample import linear_limits
from sharpstats.model.many import refit_many
from sharpstats.model.mixed import MixedFit
from sharpstats.tester.known import FromSquares
from sharpstats.tester.squares import Sweep

Codes = NDArray[np.intp]
Floats = NDArray[np.float64]
MOST_READINGS, FEWEST_DRAWS = 2_000_000, 100
"""A large study is drawn less often: not more readings in all, but so many studies at least."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Bootstrap(Shown):
    """What drawing a study again says of its intervals.

    Attributes
    ----------
    terms : tuple of str
        Parts and sums of parts.
    low, high : ndarray of shape (c,)
        Bootstrap limits of their SDs; NaN where the estimate is zero, infinite where drawn estimates often are.
    low_error, high_error : ndarray of shape (c,)
        Monte-Carlo standard errors of these limits.
    held : ndarray of shape (c,)
        Share of the drawn studies whose modified-large-sample interval holds the value drawn from, in percent.
    held_error : ndarray of shape (c,)
        Its Monte-Carlo standard error, in percentage points.
    level : float
    seed, draws : int
    unsettled : int
        Drawn studies whose fit did not settle, left out of the limits.
    """

    terms: tuple[str, ...]
    low: Floats
    high: Floats
    low_error: Floats
    high_error: Floats
    held: Floats
    held_error: Floats
    level: float
    seed: int
    draws: int
    unsettled: int

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a part or sum: term, low, high, level, low_error, high_error, held, held_error."""
        columns = ("low", "high", "low_error", "high_error", "held", "held_error")
        shown = {name: getattr(self, name) for name in columns}
        return pd.DataFrame({"term": self.terms, "level": self.level, **shown})


def draw_again(
    fit: MixedFit, codes: Sequence[Codes], layout: Sweep, known: FromSquares, variances: Floats,
    sums: Mapping[str, Floats], seed: int, draws: int,
) -> Bootstrap:  # fmt: skip
    """Draw a study again from its own variances.

    Parameters
    ----------
    fit : MixedFit
        The study's fit.
    codes : sequence of integer ndarray of shape (N,)
        Level of each reading, for each part.
    layout : Sweep
    known : FromSquares
    variances : ndarray of shape (k + 1,)
        Repeatability last.
    sums : mapping of str to ndarray of shape (k + 1,)
        Weights of each sum that is checked, by its name.
    seed, draws : int
        A large study is drawn less often than asked; the result has the number.

    Returns
    -------
    Bootstrap
    """
    readings = layout.cell.size
    draws = min(draws, max(MOST_READINGS // readings, FEWEST_DRAWS))
    responses = drawn_readings(np.random.default_rng(seed), codes, variances, draws, readings)
    many = refit_many(fit, responses, np.ones((1, 1)))
    refitted = many.variances[many.settled][:, fit.structure.positions]
    squares = layout.squares(responses) / layout.df
    limits = np.array([_limits(float(row @ variances), refitted @ row, fit.level) for row in sums.values()])
    held = np.array([_held(known, squares, row, float(row @ variances), fit.level) for row in sums.values()])
    return Bootstrap(
        terms=tuple(sums), low=limits[:, 0], high=limits[:, 1], low_error=limits[:, 2], high_error=limits[:, 3],
        held=100 * held, held_error=100 * np.sqrt(held * (1 - held) / draws), level=fit.level, seed=seed, draws=draws,
        unsettled=draws - len(refitted),
    )  # fmt: skip


def drawn_readings(
    rng: np.random.Generator, codes: Sequence[Codes], variances: Floats, draws: int, readings: int
) -> Floats:
    """Draw readings of many studies.

    Parameters
    ----------
    rng : numpy.random.Generator
    codes : sequence of integer ndarray of shape (N,)
    variances : ndarray of shape (k + 1,)
        Repeatability last.
    draws, readings : int

    Returns
    -------
    ndarray of shape (draws, readings)
        About zero, on the scale of the variances' roots.
    """
    y = np.sqrt(variances[-1]) * rng.standard_normal((draws, readings))
    for one, variance in zip(codes, variances, strict=False):
        y += (np.sqrt(variance) * rng.standard_normal((draws, int(one.max()) + 1)))[:, one]
    return y


def _limits(estimate: float, drawn: Floats, level: float) -> tuple[float, float, float, float]:
    """Limits of an SD, and their Monte-Carlo errors from the order statistics beside them."""
    if estimate <= 0:
        return 0.0, np.nan, 0.0, np.nan
    ordered, tail = np.sort(drawn), (1 - level) / 2
    step = np.sqrt(tail * (1 - tail) / len(ordered))
    with np.errstate(divide="ignore", invalid="ignore"):  # a drawn estimate of zero: no upper limit
        low, high = (np.sqrt(estimate**2 / np.quantile(ordered, [1 - p - step, 1 - p, 1 - p + step]))
                     for p in (tail, 1 - tail))  # fmt: skip
        errors = [abs(ends[0] - ends[2]) / 2 for ends in (low, high)]
    return float(low[1]), float(high[1]), float(errors[0]), float(errors[1])


def _held(known: FromSquares, squares: Floats, weights: Floats, truth: float, level: float) -> float:
    low, high = linear_limits(squares, known.squares.df, known.on_squares(weights), level)
    rounding = 1e-12 * max(truth, float(squares.mean()))
    return float(np.mean((low <= truth + rounding) & (np.maximum(high, 0) >= truth - rounding)))
