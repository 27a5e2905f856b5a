"""The ratio of two spreads: profile likelihood, and its correction for small samples.

With the ratio rho of two SDs held, their two variances are one variance times fixed weights,
rho^2 / (1 + rho^2) and 1 / (1 + rho^2): two columns of h become one, and the rest is maximised
as ever. The signed root r of the fall of the criterion is far too liberal with few units.
Skovgaard (1996, Bernoulli 2:145-165) corrects it to r* = r + ln(u / r) / r, which is normal to
second order, with u from covariances of scores. For variances that enter V linearly these are
expected informations alone. With s, E and H the variances and the expected and observed
information at the optimum (1) and where the ratio is held (0),

    u = (x_a w_b - x_b w_a) sqrt(|H_1| / (2 |B'H_0 B|)) |E_0| / |E_1|,   x = s_0 - E_0^-1 E_1 s_1,

where w are the two weights and B maps the variances that are left to all of them. Where a
variance is zero, E stands for H: the layout, not the estimate, decides; and where it is one of
the two, the expansion does not hold and may only take r nearer to zero.

For two samples of independent normals r* gives the tail areas of the F test to 0.003 with two
degrees of freedom each and to 0.0004 with five, where r is off by 0.016 and 0.008 at 0.05. How often
it errs with cut error and blades is in tests/validity/RESULTS_STEADIER.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special
from scipy.linalg import lapack

from sharpstats.errors import FitError
from sharpstats.model.reduce import Reduced
from sharpstats.model.reml import Optimum, derivatives, least_variances, maximise

Floats = NDArray[np.float64]
NEAR = 0.1
"""A signed root below this is too close to 0/0 for the correction, which is then taken from either side."""
UNLIKELY = 0.5
"""A correction that takes the root so far across zero, or away from it, tells that the expansion does not hold: the
likelihood hardly depends on the ratio. No more of it is taken, so that nothing is found against its own estimate."""
FARTHEST = 12.0
"""Log ratio beyond which a limit counts as none."""


@dataclass(frozen=True, eq=False)
class SpreadRatio:
    """Ratio of the SDs that belong to two diagonal variances.

    Attributes
    ----------
    reduced : Reduced
    optimum : Optimum
        Of `reduced`.
    a, b : int
        Places of the two variances; the ratio is SD a over SD b.

    Examples
    --------
    >>> import pandas as pd
    >>> from sharpstats.model.mixed import fit_mixed
    >>> table = pd.DataFrame({"medium": list("ffffssss"), "y": [1.0, 1.2, 1.1, 0.9, 2.0, 1.1, 2.9, 1.6]})
    >>> fit = fit_mixed(table, response="y", fixed=["medium"], spread_by="medium")
    >>> ratio = SpreadRatio(fit.reduced, fit.optimum, 0, 1)
    >>> round(ratio.estimate, 4), round(ratio.p_below(1.0), 4)  # the F test of the two variances: 0.0078
    (0.1695, 0.0081)
    """

    reduced: Reduced
    optimum: Optimum
    a: int
    b: int

    @cached_property
    def estimate(self) -> float:
        """SD a over SD b: zero or infinite where one is estimated as zero, NaN where both are."""
        return math.exp(self.log_estimate)

    @cached_property
    def log_estimate(self) -> float:
        """Natural logarithm of the estimate."""
        none = self.optimum.zero[[self.a, self.b]]
        if none.any():
            return math.nan if none.all() else -math.inf if none[0] else math.inf
        return 0.5 * math.log(self.optimum.variances[self.a] / self.optimum.variances[self.b])

    def p_below(self, ratio: float) -> float:
        """One-sided p value: small if the ratio of the SDs is shown to be less than `ratio`."""
        return 1.0 if math.isnan(self.log_estimate) else float(special.ndtr(self.root(math.log(ratio))))

    def p_above(self, ratio: float) -> float:
        """One-sided p value: small if the ratio of the SDs is shown to be more than `ratio`."""
        return 1.0 if math.isnan(self.log_estimate) else float(special.ndtr(-self.root(math.log(ratio))))

    def limits(self, rate: float) -> tuple[float, float]:
        """Limits of the ratio, each of them wrong with a chance of `rate`.

        Returns
        -------
        low, high : float
            Zero or infinite where the readings put no limit on that side.
        """
        if math.isnan(self.log_estimate):
            return 0.0, math.inf
        reach = -float(special.ndtri(rate))
        return math.exp(self._limit(reach, -1.0)), math.exp(self._limit(reach, 1.0))

    def mean_squares(self, ratio: float | None = None) -> tuple[Floats, Floats]:
        """Variance of a unit's mean with what it holds of lower errors, and its degrees of freedom.

        Parameters
        ----------
        ratio : float, optional
            Ratio to hold; left out: none.

        Returns
        -------
        value, df : ndarray of shape (2,)
            For a and b: with V^-1 corrected for the fixed effects P, and G the units of one of them,
            tr(PG)^2 / tr(PGPG) degrees of freedom. In a balanced layout these are mean squares over the
            number of readings in a unit.
        """
        expected, variances = self.optimum.expected, self.optimum.variances
        if ratio is not None:
            variances = self._held(math.log(ratio))[1]
            expected = derivatives(self.reduced, variances).expected
        pair = [self.a, self.b]
        trace, square = (expected @ variances)[pair], expected.diagonal()[pair]
        return trace / square, trace**2 / square

    def _limit(self, reach: float, way: float) -> float:
        """Log ratio, below (-1) or above (+1) the estimate, at which the corrected root is `reach` from zero."""

        def beyond(log_ratio: float) -> float:
            return -way * self.root(log_ratio) - reach

        centre, end = self.log_estimate, self._end
        if centre == way * math.inf or beyond(way * end) <= 0:
            return way * math.inf
        inner, step = (centre if math.isfinite(centre) else -way * end), 0.4
        while beyond(outer := way * min(way * inner + step, end)) <= 0:
            inner, step = outer, 1.5 * step
        return float(optimize.brentq(beyond, *sorted((inner, outer)), xtol=1e-9, rtol=1e-11))

    @property
    def _end(self) -> float:
        """Log ratio at which one of the two counts as zero."""
        least = least_variances(self.reduced, self.optimum.variances) / self.optimum.variances.max()
        return -math.log(least[0]) / 2 if least[0] else FARTHEST

    def signed_root(self, log_ratio: float) -> float:
        """Signed root of the fall of the criterion, not corrected; positive below the estimate."""
        return self._held(log_ratio)[0]

    def root(self, log_ratio: float) -> float:
        """Signed root, corrected for small samples; more cautious at most where a spread is zero."""
        r, variances = self._held(log_ratio)
        corrected = r + (self._correction(log_ratio, r, variances) if abs(r) > NEAR else self._middle)
        side, beyond = math.copysign(1.0, r), 0.0 if self.optimum.zero[[self.a, self.b]].any() else UNLIKELY
        return side * min(max(corrected * side, -beyond), abs(r) + beyond)

    @cached_property
    def _middle(self) -> float:
        """Correction near the estimate: the mean of those a third of a standard error to either side."""
        if not math.isfinite(self.log_estimate):
            return 0.0
        slope = np.zeros(len(self.optimum.variances))
        slope[[self.a, self.b]] = np.array([0.5, -0.5]) / self.optimum.variances[[self.a, self.b]]
        se = math.sqrt(2 * slope @ np.linalg.solve(self.optimum.expected, slope))
        places = np.clip(self.log_estimate + np.array([-1.0, 1.0]) * min(se / 3, 1.0), -self._end, self._end)
        return float(np.mean([self._correction(place, *self._held(place)) for place in map(float, places)]))

    def _held(self, log_ratio: float) -> tuple[float, Floats]:
        """Signed root where the ratio is held, and all variances there."""
        map_, first, s = self._map(log_ratio), min(self.a, self.b), self.optimum.variances
        diagonal = self.reduced.h.shape[1]
        start = np.delete(s, max(self.a, self.b))
        start[first] = s[self.a] + s[self.b]
        joined = replace(self.reduced, h=self.reduced.h @ map_[:diagonal, : diagonal - 1])
        try:
            best = maximise(joined, start)
        except FitError:  # far from the estimate another start may be nearer
            best = maximise(joined)
        fall = max(best.criterion - self.optimum.criterion, 0.0)
        return math.copysign(math.sqrt(fall), self.log_estimate - log_ratio), map_ @ best.variances

    def _map(self, log_ratio: float) -> Floats:
        """From the variances that are left to all of them: one stands for the two, in the place of the first."""
        first, second = sorted((self.a, self.b))
        map_ = np.delete(np.eye(len(self.optimum.variances)), second, axis=1)
        map_[[self.a, self.b], first] = special.expit([2 * log_ratio, -2 * log_ratio])
        return map_

    def _correction(self, log_ratio: float, r: float, variances: Floats) -> float:
        """Skovgaard's ln(u / r) / r."""
        here, there, map_ = self.optimum, derivatives(self.reduced, variances), self._map(log_ratio)
        x = variances - np.linalg.solve(there.expected, here.expected @ here.variances)
        first = min(self.a, self.b)
        distance = x[self.a] * map_[self.b, first] - x[self.b] * map_[self.a, first]
        zero_here = bool(here.zero.any())
        log_u = (
            (_log_det(here.hessian, here.expected, zero_here) - _log_det(map_.T @ there.hessian @ map_,
             map_.T @ there.expected @ map_, zero_here or bool((variances <= 0).any())) - math.log(2)) / 2
            + np.linalg.slogdet(there.expected)[1] - np.linalg.slogdet(here.expected)[1]
        )
        return 0.0 if distance * r <= 0 else (math.log(abs(distance)) + log_u - math.log(abs(r))) / r


def _log_det(observed: Floats, expected: Floats, boundary: bool) -> float:
    """Ln of the determinant of the observed information, or of the expected one where that cannot be used."""
    if not boundary:
        factor, fault = lapack.dpotrf(observed, lower=1)
        if not fault:
            return 2 * float(np.log(factor.diagonal()).sum())
    return float(np.linalg.slogdet(expected)[1])
