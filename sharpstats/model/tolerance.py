"""Below which reading a share of edges falls: one-sided tolerance bounds.

With independent edges the bound is exact (noncentral t). With edges in blocks it comes from a
generalised pivotal quantity: the sums of squares of blocks and edges stand for scaled
chi-squares, the means for normals (Krishnamoorthy & Mathew 2009, Statistical Tolerance
Regions, chapters 4 and 5; sums of squares fitted in order after Henderson 1953, method 3).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

from sharpstats.model.reduce import Codes

Floats = NDArray[np.float64]
DRAWS = 40_000
SEED = 16269
_TINY = 1e-12
"""Spread that is only rounding, relative to the values."""


class Quantile(Protocol):
    """What is known of the reading below which a share of edges falls."""

    @property
    def estimate(self) -> float:
        """Estimated quantile, on the scale of the values."""

    @property
    def df(self) -> float:
        """Degrees of freedom of the spread; NaN where it is a sum of several."""

    def bound(self, confidence: float) -> float:
        """Value that the quantile stays below with the given confidence."""

    def p_below(self, limit: float) -> float:
        """Smallest error rate at which the quantile is said to lie below the limit."""

    def p_above(self, limit: float) -> float:
        """Smallest error rate at which the quantile is said to lie above the limit."""


@dataclass(frozen=True, slots=True)
class ExactQuantile:
    """Quantile of independent normal edges: the noncentral t distribution.

    Attributes
    ----------
    m : int
        Number of edges.
    mean, sd : float
        Mean and standard deviation of the edges.
    z : float
        Normal quantile of the share.
    """

    m: int
    mean: float
    sd: float
    z: float

    @property
    def estimate(self) -> float:
        """Mean plus z standard deviations."""
        return self.mean + self.z * self.sd

    @property
    def df(self) -> float:
        """Degrees of freedom of the standard deviation."""
        return self.m - 1.0

    def bound(self, confidence: float) -> float:
        """Tolerance bound mean + k sd."""
        return self.mean + one_sided_factor(self.m, self.z, confidence) * self.sd

    def p_below(self, limit: float) -> float:
        """Upper tail of the noncentral t."""
        return float(stats.nct.sf(self._statistic(limit), self.df, self.z * np.sqrt(self.m)))

    def p_above(self, limit: float) -> float:
        """Lower tail of the noncentral t."""
        return float(lower_tail(self._statistic(limit), self.df, self.z * np.sqrt(self.m)))

    def _statistic(self, limit: float) -> float:
        return float(np.sqrt(self.m)) * (limit - self.mean) / self.sd


@dataclass(frozen=True, slots=True)
class DrawnQuantile:
    """Quantile of edges in blocks or cells: draws of a generalised pivotal quantity.

    Attributes
    ----------
    estimate : float
    high, low : ndarray
        Sorted draws for the upper and for the lower bound; the same if all edges have one mean.
    """

    estimate: float
    high: Floats
    low: Floats

    @property
    def df(self) -> float:
        """No single number."""
        return float("nan")

    def bound(self, confidence: float) -> float:
        """The draw that a limit must pass for `p_below` (or `p_above`) to be small enough."""
        place = confidence * (len(self.high) + 1)
        return float(self.high[int(np.ceil(place)) - 1] if confidence > 0.5 else self.low[int(place) - 1])

    def p_below(self, limit: float) -> float:
        """Share of the draws at or above the limit."""
        return _share(int((self.high >= limit).sum()), len(self.high))

    def p_above(self, limit: float) -> float:
        """Share of the draws at or below the limit."""
        return _share(int((self.low <= limit).sum()), len(self.low))


def _share(hits: int, draws: int) -> float:
    """Never zero: draws cannot show that (Davison & Hinkley 1997, section 4.2)."""
    return (hits + 1) / (draws + 1)


def lower_tail(t: float | Floats, df: float, noncentrality: float) -> Floats:
    """P(T <= t) of the noncentral t.

    As the upper tail of -T: SciPy's own lower tail is NaN where the chance is all but 0 or 1.

    Examples
    --------
    >>> float(lower_tail(-5.0, 29, 7.0))
    0.0
    """
    return np.asarray(stats.nct.sf(-np.asarray(t), df, -noncentrality), dtype=float)


def one_sided_factor(m: int, z: float, confidence: float) -> float:
    """Factor k of the one-sided tolerance bound mean + k sd (ISO 16269-6, Annex F).

    Parameters
    ----------
    m : int
        Number of values.
    z : float
        Normal quantile of the share.
    confidence : float

    Examples
    --------
    >>> round(one_sided_factor(10, 1.6448536269514722, 0.95), 3)
    2.911
    """
    return float(stats.nct.ppf(confidence, m - 1, z * np.sqrt(m)) / np.sqrt(m))


def two_sided_factor(m: int, share: float, confidence: float) -> float:
    """Factor k of the tolerance limits mean - k sd and mean + k sd that hold a share of the values.

    Exact: the chance is taken over the mean, at each of which a chi-square limits the SD.

    Parameters
    ----------
    m : int
        Number of values.
    share, confidence : float
        Between 0 and 1.

    References
    ----------
    ISO 16269-6, Annex F; Odeh, R. E. (1978), Communications in Statistics B 7:183-201.

    Examples
    --------
    >>> round(two_sided_factor(10, 0.95, 0.95), 3)
    3.393
    """
    nodes, weights = np.polynomial.legendre.leggauss(96)
    x = 4.5 * (nodes + 1) / np.sqrt(m)  # the mean's distance from the truth, up to nine of its SDs
    density = weights * np.exp(-m * x**2 / 2)
    needed = special.chndtrix(share, 1, x**2)  # squared half-width that holds the share from there

    def excess(log_k: float) -> float:
        inside = special.chdtrc(m - 1, (m - 1) * needed / np.exp(2 * log_k))
        return float(density @ inside / density.sum()) - confidence

    return float(np.exp(optimize.brentq(excess, -5.0, 12.0, xtol=1e-13)))


def edge_quantile(values: Floats, cells: Codes, blocks: Sequence[Codes], share: float) -> Quantile | None:
    """Quantile of the edges that a medium makes.

    Parameters
    ----------
    values : ndarray of shape (m,)
        Edge means.
    cells : integer ndarray of shape (m,)
        Combination of the other factors; a future edge comes from each with equal chance.
    blocks : sequence of integer arrays of shape (m,)
        Blocks that hold several of the edges.
    share : float
        Share of edges, between 0 and 1.

    Returns
    -------
    Quantile or None
        None where nothing is left to show the spread.
    """
    if len(values) < 2 or np.ptp(values) <= _TINY * np.abs(values).max():
        return None
    if cells.max() == 0 and not blocks:
        sd = float(values.std(ddof=1))
        return ExactQuantile(len(values), float(values.mean()), sd, float(special.ndtri(share)))
    return _remembered(values.tobytes(), cells.tobytes(), tuple(codes.tobytes() for codes in blocks), share)


@lru_cache(maxsize=8)
def _remembered(values: bytes, cells: bytes, blocks: tuple[bytes, ...], share: float) -> Quantile | None:
    """Draw once for the same edges: they are asked about again when edges of another medium are left out."""
    codes = [np.frombuffer(block, dtype=np.intp) for block in (cells, *blocks)]
    return _drawn_quantile(np.frombuffer(values), codes[0], codes[1:], share)


def _drawn_quantile(values: Floats, cells: Codes, blocks: Sequence[Codes], share: float) -> Quantile | None:
    # Each cell gets its draws by its mean, not by its name: other names, same bound.
    cells = np.argsort(np.argsort(_cell_means(values, cells, [])[0]))[cells]
    parts = _sums_of_squares(values, cells, blocks)
    if parts is None:
        return None
    squares, df, expected = parts
    rng = np.random.default_rng(SEED)
    means, shape = _cell_means(values, cells, blocks)
    variances = _solve_variances(squares / rng.chisquare(df, (DRAWS, len(df))), df, expected, shape)
    covariance = np.tensordot(variances, shape, 1)
    normal = rng.standard_normal((DRAWS, len(means), 1))
    drawn, sd = means - (np.linalg.cholesky(covariance) @ normal)[:, :, 0], np.sqrt(variances.sum(axis=1))
    high = low = np.sort(_mixture_quantile(drawn, sd, share))
    if len(means) > 1:
        low = np.sort(_mixture_quantile(_drawn_together(drawn, 2 * covariance), sd, share))
    centre = _solve_variances(squares[None, :] / df, df, expected, shape)
    found = _drawn_together(means[None, :], np.tensordot(centre, shape, 1))
    return DrawnQuantile(float(_mixture_quantile(found, np.sqrt(centre.sum(axis=1)), share)[0]), high, low)


def _drawn_together(means: Floats, covariance: Floats) -> Floats:
    """Cell means moved towards each other by what their errors have moved them apart.

    Means with errors lie farther apart than without: their mean square about their centre is
    larger by that of the errors. Draws carry errors twice, those of the trial and their own,
    which stretches the mixture: a caution for what is shown, but left as they are they would
    contradict too many claims.

    Parameters
    ----------
    means : ndarray of shape (draws, cells)
    covariance : ndarray of shape (draws, cells, cells)
        Of the errors.
    """
    cells = means.shape[1]
    centre = means.mean(axis=1, keepdims=True)
    apart = ((means - centre) ** 2).sum(axis=1)
    errors = np.trace(covariance, axis1=1, axis2=2) - covariance.sum(axis=(1, 2)) / cells
    left = np.divide(np.maximum(apart - errors, 0.0), apart, out=np.zeros_like(apart), where=apart > 0)
    return centre + np.sqrt(left)[:, None] * (means - centre)


def _sums_of_squares(values: Floats, cells: Codes, blocks: Sequence[Codes]) -> tuple[Floats, Floats, Floats] | None:
    """Sums of squares fitted in order, their df, and each one's expected share of each variance.

    The last row and column belong to the edges themselves.
    """
    factors = [cells, *blocks]
    indicators = [np.eye(int(codes.max()) + 1)[codes] for codes in factors]
    z = np.column_stack([*indicators, values - values.mean()])
    ends = np.cumsum([block.shape[1] for block in indicators])
    products = z.T @ z
    squares, df, traces = [], [], []
    for end in ends:
        left = products - products[:, :end] @ np.linalg.pinv(products[:end, :end], hermitian=True) @ products[:end]
        squares.append(left[-1, -1])
        df.append(len(values) - np.linalg.matrix_rank(products[:end, :end], hermitian=True))
        spans = [slice(a, b) for a, b in pairwise(ends)]
        traces.append([np.trace(left[span, span]) for span in spans] + [df[-1]])
    taken = np.append(-np.diff(squares), squares[-1])
    expected = np.vstack([-np.diff(traces, axis=0), [[0.0] * len(blocks) + [df[-1]]]])
    freedom = np.append(-np.diff(df), df[-1]).astype(float)
    if np.any(freedom < 1) or taken[-1] <= len(values) * (_TINY * np.abs(values).max()) ** 2:
        return None
    return np.maximum(taken, 0.0), freedom, expected


def _solve_variances(mean_squares: Floats, df: Floats, expected: Floats, shape: Floats) -> Floats:
    """Solve the triangular system of expected mean squares, from the edges upwards.

    A single variance may come out below zero: what counts is that their sum and the variances
    of the means do not. Where one of these does, the variances below zero are set to zero.

    Returns
    -------
    ndarray of shape (draws, blocks + 1)
    """
    rows = expected / df[:, None]
    free, held = np.zeros_like(mean_squares), np.zeros_like(mean_squares)
    for k in range(len(df) - 1, -1, -1):
        free[:, k] = (mean_squares[:, k] - free[:, k + 1 :] @ rows[k, k + 1 :]) / rows[k, k]
        held[:, k] = np.maximum((mean_squares[:, k] - held[:, k + 1 :] @ rows[k, k + 1 :]) / rows[k, k], 0.0)
    smallest = np.minimum(np.linalg.eigvalsh(np.tensordot(free, shape, 1))[:, 0], free.sum(axis=1))
    return np.where(smallest[:, None] > 0, free, held)


def _cell_means(values: Floats, cells: Codes, blocks: Sequence[Codes]) -> tuple[Floats, Floats]:
    """Plain mean of each cell, and the shape of their covariance for each variance."""
    weights = np.eye(int(cells.max()) + 1)[cells]
    weights = weights / weights.sum(axis=0)
    shapes = []
    for codes in blocks:
        shares = np.eye(int(codes.max()) + 1)[codes].T @ weights
        shapes.append(shares.T @ shares)
    return weights.T @ values, np.array([*shapes, weights.T @ weights])


def _mixture_quantile(means: Floats, sd: Floats, share: float) -> Floats:
    """Quantile of an equal mixture of normals with one spread, by Newton's steps kept within narrowing limits.

    Parameters
    ----------
    means : ndarray of shape (draws, cells)
    sd : ndarray of shape (draws,)
    share : float
    """
    reach = special.ndtri(share) * sd
    low, high = means.min(axis=1) + reach, means.max(axis=1) + reach
    if means.shape[1] == 1:
        return low
    weights = np.full(means.shape[1], 1 / means.shape[1])
    centre = means @ weights
    apart = (means - centre[:, None]) ** 2 @ weights
    found = np.clip(centre + special.ndtri(share) * np.sqrt(sd**2 + apart), low, high)
    for _ in range(60):
        z = (found[:, None] - means) / sd[:, None]
        excess = special.ndtr(z) @ weights - share
        low, high = np.where(excess < 0, found, low), np.where(excess < 0, high, found)
        density = np.exp(-0.5 * z**2) @ weights / (math.sqrt(2 * math.pi) * sd)
        step = found - np.divide(excess, density, out=np.full(len(sd), np.inf), where=density > 1e-100)
        before, found = found, np.where((step >= low) & (step <= high), step, (low + high) / 2)
        if np.all(np.abs(found - before) <= 1e-7 * sd):  # the step after it is as small as rounding
            break
    return found
