"""Many contrasts at once: adjusted p values and the simultaneous intervals that match them.

Tukey: the studentised range. Dunnett: the multivariate t distribution with the contrasts' own
correlation. Holm (1979): step-down Bonferroni; the interval of a contrast is taken at the
level of its own step, so that it excludes zero exactly where the adjusted p value is below
the error rate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

from sharpstats.model.student import quantile, two_sided_p
from sharpstats.notes import Note

Floats = NDArray[np.float64]
Adjust = Literal["none", "tukey", "dunnett", "holm"]
ADJUSTMENTS: tuple[Adjust, ...] = ("none", "tukey", "dunnett", "holm")

_NODES = 96
_DRAWS = 2**15


def holm(p: Floats) -> Floats:
    """Holm's adjusted p values.

    Parameters
    ----------
    p : ndarray of shape (m,)

    Returns
    -------
    ndarray of shape (m,)

    References
    ----------
    Holm, S. (1979). A simple sequentially rejective multiple test procedure. Scandinavian
    Journal of Statistics 6:65-70.

    Examples
    --------
    >>> holm(np.array([0.01, 0.04, 0.03]))
    array([0.03, 0.06, 0.06])
    """
    order = np.argsort(p, kind="stable")
    steps = (len(p) - np.arange(len(p))) * p[order]
    adjusted = np.empty(len(p))
    adjusted[order] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return adjusted


def holm_levels(p: Floats, alpha: float) -> Floats:
    """Error rate at which Holm's procedure tests each hypothesis.

    A rejected hypothesis was tested at alpha / (m - rank + 1); all the others stay at the
    rate of the step that stopped. So p <= level exactly where the adjusted p <= alpha.

    Examples
    --------
    >>> holm_levels(np.array([0.001, 0.2, 0.3]), 0.05)
    array([0.01666667, 0.025     , 0.025     ])
    """
    count = len(p)
    rejected = holm(p) <= alpha
    ranks = np.empty(count)
    ranks[np.argsort(p, kind="stable")] = np.arange(count)
    left = max(count - int(rejected.sum()), 1)
    return np.where(rejected, alpha / (count - ranks), alpha / left)


def tukey_p(t: Floats, df: Floats, means: int) -> Floats:
    """Adjusted p values of all pairs of means, each at its own degrees of freedom."""
    q = np.abs(t) * np.sqrt(2.0)
    return np.array([float(stats.studentized_range.sf(a, means, b)) for a, b in zip(q, _finite(df), strict=True)])


def tukey_factor(level: float, df: Floats, means: int) -> Floats:
    """Factor of the standard error in Tukey's intervals."""
    factors = {b: float(stats.studentized_range.ppf(level, means, b)) / np.sqrt(2.0) for b in set(_finite(df))}
    return np.array([factors[b] for b in _finite(df)])


def _finite(df: Floats) -> list[float]:
    return _alike(np.minimum(df, 1e5))


def _alike(df: Floats) -> list[float]:
    """Degrees of freedom to 12 digits: rounding noise must not cost a search of its own for each."""
    return [float(f"{value:.12g}") for value in df]


def one_factor(correlation: Floats) -> Floats | None:
    """Loadings l with correlation[i, j] = l[i] l[j], or None where there are none.

    Contrasts against one mean have them exactly when their means are independent, and any
    three contrasts have them nearly always.
    """
    k = len(correlation)
    if k == 1:
        return np.zeros(1)
    if np.any(correlation <= 0):
        return None
    if k == 2:
        return np.full(2, np.sqrt(correlation[0, 1]))
    logs, rows = [], []
    for i in range(k):
        for j in range(i):
            row = np.zeros(k)
            row[[i, j]] = 1.0
            rows.append(row)
            logs.append(np.log(correlation[i, j]))
    loadings = np.exp(np.linalg.lstsq(np.array(rows), np.array(logs), rcond=None)[0])
    made = np.outer(loadings, loadings)
    np.fill_diagonal(made, 1.0)
    return loadings if np.all(loadings < 1) and np.abs(made - correlation).max() < 1e-10 else None


def max_t_cdf(t: float, df: float, correlation: Floats, *, two_sided: bool = True) -> float:
    """P(max |T_i| <= t) for a central multivariate t distribution; one-sided P(max T_i <= t).

    Parameters
    ----------
    t : float
    df : float
        Degrees of freedom, not necessarily whole.
    correlation : ndarray of shape (k, k)

    Returns
    -------
    float
        By double Gauss integration, absolute error below 1e-9, where the correlation has one
        factor; otherwise by quasi-Monte Carlo with a fixed seed, absolute error about 1e-5.

    References
    ----------
    Dunnett, C. W. (1955), JASA 50:1096-1121; Genz, A. & Bretz, F. (2009), Computation of
    Multivariate Normal and t Probabilities, section 4.2.
    """
    low = -t if two_sided else -np.inf
    loadings = one_factor(correlation)
    scales, weights = _chi_scales(df)
    if loadings is not None:
        return min(float(weights @ _inside_one_factor(low * scales, t * scales, loadings)), 1.0)
    return _inside_by_draws(low, t, df, correlation)


def _chi_scales(df: float) -> tuple[Floats, Floats]:
    """Nodes and weights for an expectation over sqrt(chi-square / df)."""
    if df > 1e5:
        return np.ones(1), np.ones(1)
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    low, high = np.sqrt(stats.chi2.ppf(1e-15, df)), np.sqrt(stats.chi2.isf(1e-15, df))
    x = (high - low) / 2 * nodes + (high + low) / 2
    log_density = np.log(2) + (df - 1) * np.log(x) - x**2 / 2 - df / 2 * np.log(2) - special.gammaln(df / 2)
    density = (high - low) / 2 * weights * np.exp(log_density)
    return x / np.sqrt(df), density / density.sum()


def _inside_one_factor(lows: Floats, highs: Floats, loadings: Floats) -> Floats:
    """P(low <= all Z_i <= high) for each pair of bounds, Z_i = l_i Z_0 + sqrt(1 - l_i^2) E_i."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    z = 8.5 * nodes
    density = 8.5 * weights * np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    rest = np.sqrt(1 - loadings**2)
    inside = np.ones((len(highs), len(z)))
    for loading, scale in zip(loadings, rest, strict=True):
        shift = loading * z[None, :]
        inside *= special.ndtr((highs[:, None] - shift) / scale) - special.ndtr((lows[:, None] - shift) / scale)
    return inside @ density


def _inside_by_draws(low: float, high: float, df: float, correlation: Floats) -> float:
    """Genz's separation of variables on a scrambled Sobol sequence."""
    k = len(correlation)
    factor = np.linalg.cholesky(correlation + 1e-12 * np.eye(k))
    points = stats.qmc.Sobol(k, rng=np.random.default_rng(19550)).random(_DRAWS)
    scale = np.ones(_DRAWS) if df > 1e5 else np.sqrt(stats.chi2.ppf(points[:, -1], df) / df)
    inside, y = np.ones(_DRAWS), np.zeros((_DRAWS, k))
    for i in range(k):
        shift = y[:, :i] @ factor[i, :i]
        below = special.ndtr((low * scale - shift) / factor[i, i])
        width = special.ndtr((high * scale - shift) / factor[i, i]) - below
        inside *= width
        if i < k - 1:
            y[:, i] = special.ndtri(np.clip(below + points[:, i] * width, 1e-16, 1 - 1e-16))
    return float(inside.mean())


def dunnett_p(t: Floats, df: Floats, correlation: Floats) -> Floats:
    """Adjusted p values of contrasts against one mean, each at its own degrees of freedom."""
    return np.array([1 - max_t_cdf(abs(a), b, correlation) for a, b in zip(t, df, strict=True)])


def dunnett_factor(level: float, df: Floats, correlation: Floats) -> Floats:
    """Factor of the standard error in Dunnett's intervals."""
    found: dict[float, float] = {}
    for b in _alike(df):
        if b not in found:
            high = float(stats.t.isf((1 - level) / (2 * len(correlation)), b)) + 1e-6
            low = float(stats.t.isf((1 - level) / 2, b)) * 0.999
            found[b] = float(
                optimize.brentq(lambda c, b=b: max_t_cdf(c, b, correlation) - level, low, high, xtol=1e-12)
            )
    return np.array([found[b] for b in _alike(df)])


@dataclass(frozen=True, slots=True)
class Family:
    """Contrasts that share an error rate.

    Attributes
    ----------
    adjust : str
    spans : tuple of slice
        Which rows make a family each; empty: all rows are one.
    means : int
        Number of means that are compared (for Tukey).
    """

    adjust: Adjust
    spans: tuple[slice, ...]
    means: int

    def apply(self, t: Floats, df: Floats, covariance: Floats, level: float) -> tuple[Floats, Floats, Floats]:
        """Adjusted p values, factors of the standard error, and level of each interval."""
        p = two_sided_p(t, df)
        if self.adjust == "none":
            return p, quantile((1 - level) / 2, df), np.full(len(t), level)
        factor, levels = np.full(len(t), np.nan), np.full(len(t), level)
        for span in self.spans or (slice(None),):
            known = np.flatnonzero(~np.isnan(t[span])) + (span.start or 0)
            if known.size:
                one = covariance[np.ix_(known, known)]
                p[known], factor[known], levels[known] = self._one(t[known], df[known], one, p[known], level)
        return p, factor, levels

    def _one(
        self, t: Floats, df: Floats, covariance: Floats, p: Floats, level: float
    ) -> tuple[Floats, Floats, Floats]:
        same = np.full(len(t), level)
        if self.adjust == "tukey":
            return tukey_p(t, df, self.means), tukey_factor(level, df, self.means), same
        if self.adjust == "dunnett":
            correlation = _correlation(covariance)
            return dunnett_p(t, df, correlation), dunnett_factor(level, df, correlation), same
        rates = holm_levels(p, 1 - level)
        return holm(p), quantile(rates / 2, df), 1 - rates

    def notes(self, covariance: Floats) -> tuple[Note, ...]:
        """Say when the multivariate t probability was found by draws."""
        if self.adjust != "dunnett":
            return ()
        parts = [covariance[span, span] for span in self.spans or (slice(None),)]
        if all(np.isnan(part).any() or one_factor(_correlation(part)) is not None for part in parts):
            return ()
        return (Note("drawn-probability", "The adjusted p values and limits come from quasi-random draws with a "
                     "fixed seed; their error is about 0.00001."),)  # fmt: skip


def _correlation(covariance: Floats) -> Floats:
    sd = np.sqrt(covariance.diagonal())
    correlation = covariance / sd / sd[:, None]
    np.fill_diagonal(correlation, 1.0)
    return correlation
