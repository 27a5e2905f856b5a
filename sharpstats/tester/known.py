"""How well weighted sums of the parts of a spread, and ratios of such sums, are known.

From mean squares where the layout has them (modified large sample: see `model/largesample.py`),
else from the curvature of the likelihood (Satterthwaite 1946, Biometrics Bulletin 2:110-114: a sum
is held to be a chi-square with the same mean and variance; the log of a ratio to be normal).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy import special

from sharpstats.model.largesample import linear_limits, ratio_limits
from sharpstats.model.meansquares import MeanSquares

Floats = NDArray[np.float64]
Limits = tuple[float, float]
NOTHING = 1e-12
"""Share of the largest weight below which a weight is rounding; its sign would matter."""


class Known(Protocol):
    """Gives limits; weights are over the parts, repeatability last."""

    def of_sum(self, weights: Floats, level: float) -> Limits:
        """Limits of a weighted sum of variances; the lower one is not below zero."""
        ...

    def of_ratio(self, above: Floats, below: Floats, level: float) -> Limits:
        """Limits of a ratio of two sums of variances."""
        ...


@dataclass(frozen=True, eq=False)
class FromSquares:
    """What mean squares say.

    Attributes
    ----------
    squares : MeanSquares
    """

    squares: MeanSquares

    def on_squares(self, weights: Floats) -> Floats:
        """Weights over the parts as weights over the mean squares."""
        found = weights @ self.squares.weights
        return np.where(np.abs(found) > NOTHING * np.abs(found).max(), found, 0.0)

    def of_sum(self, weights: Floats, level: float) -> Limits:
        """Limits of a weighted sum of variances; the lower one is not below zero."""
        found = linear_limits(self.squares.mean_square, self.squares.df, self.on_squares(weights), level)
        low, high = (max(float(limit), 0.0) for limit in found)
        return low, high

    def of_ratio(self, above: Floats, below: Floats, level: float) -> Limits:
        """Limits of a ratio; zero to infinity where the sum below is not estimated above zero."""
        top, bottom = self.on_squares(above), self.on_squares(below)
        if bottom @ self.squares.mean_square <= 0:
            return 0.0, np.inf
        low, high = ratio_limits(self.squares.mean_square, self.squares.df, top, bottom, level)
        return max(low, 0.0), max(high, 0.0)


@dataclass(frozen=True, eq=False)
class FromCurvature:
    """What the likelihood says near its highest point.

    Attributes
    ----------
    variances : ndarray of shape (k,)
    covariance : ndarray of shape (k, k)
        Of the variances; zero where one is estimated as zero.
    profile : ndarray of shape (2, k)
        Lower and upper limits of each variance by profile likelihood, for a single one.
    """

    variances: Floats
    covariance: Floats
    profile: Floats

    def of_sum(self, weights: Floats, level: float) -> Limits:
        """Limits of a weighted sum of variances."""
        used = np.flatnonzero(weights)
        if len(used) == 1:
            low, high = (float(limit) for limit in weights[used[0]] * self.profile[:, used[0]])
            return low, high
        value, error = float(weights @ self.variances), float(weights @ self.covariance @ weights)
        if value <= 0 or error <= 0:
            return 0.0, np.inf
        df, tail = 2 * value**2 / error, (1 - level) / 2
        most, least = (float(special.chdtri(df, share)) for share in (tail, 1 - tail))
        return df * value / most, df * value / least if least > 0 else np.inf

    def of_ratio(self, above: Floats, below: Floats, level: float) -> Limits:
        """Limits of a ratio of two sums of variances."""
        top, bottom = float(above @ self.variances), float(below @ self.variances)
        if top <= 0 or bottom <= 0:
            return 0.0, np.inf
        slope = above / top - below / bottom
        error = max(float(slope @ self.covariance @ slope), 0.0)
        times = float(np.exp(special.ndtri((1 + level) / 2) * np.sqrt(error)))
        return top / bottom / times, top / bottom * times
