"""Many trials of one layout analysed together: simulated or re-randomised responses.

`MixedFit.refit` fits one response; this does thousands, each with its own variances by
restricted maximum likelihood and its own Kenward-Roger standard errors and degrees of
freedom. Results agree with single fits to the digits those have.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from sharpstats.model.manyfit import contrasts_at, settle
from sharpstats.model.mixed import MixedFit
from sharpstats.model.shared import Responses, Shared, from_means, from_readings

Floats = NDArray[np.float64]
IN_CACHE = 60_000
"""Sums of all trials that are worked on at once: few enough to stay in a core's cache."""


@dataclass(frozen=True, eq=False)
class ManyFits:
    """The same contrasts from each of B trials.

    Attributes
    ----------
    estimate, se, df : ndarray of shape (B, c)
        Kenward-Roger, in units of the response; NaN in a trial whose fit did not settle.
    variances : ndarray of shape (B, k)
        In the order of the fit's `optimum.variances`: cut error first.
    criterion : ndarray of shape (B,)
        -2 log restricted likelihood.
    settled : ndarray of bool of shape (B,)
    """

    estimate: Floats
    se: Floats
    df: Floats
    variances: Floats
    criterion: Floats
    settled: NDArray[np.bool_]

    @property
    def trials(self) -> int:
        """Number of trials."""
        return len(self.settled)

    @cached_property
    def statistic(self) -> Floats:
        """Estimate over standard error, of shape (B, c)."""
        return self.estimate / self.se

    @cached_property
    def p(self) -> Floats:
        """Two-sided p values against zero, of shape (B, c)."""
        return 2 * stats.t.sf(np.abs(self.statistic), self.df)

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a trial and contrast: trial, contrast, estimate, se, df, statistic, p."""
        trials, contrasts = self.estimate.shape
        return pd.DataFrame({
            "trial": np.repeat(np.arange(trials), contrasts), "contrast": np.tile(np.arange(contrasts), trials),
            **{name: getattr(self, name).ravel() for name in ("estimate", "se", "df", "statistic", "p")},
        })  # fmt: skip


class SharedLayout:
    """A layout, ready to analyse many responses.

    Parameters
    ----------
    fit : MixedFit
        Any fit of the layout; its own response plays no part.
    rows : ndarray of shape (c, p)
        Contrasts over all columns of X, as `means.mean_rows` makes them.

    Raises
    ------
    FitError
        If the layout does not answer one of the contrasts.

    Examples
    --------
    >>> import pandas as pd
    >>> from sharpstats import fit_mixed
    >>> table = pd.DataFrame({
    ...     "y": [5.1, 5.2, 5.0, 4.8, 4.9, 4.6, 5.3, 5.5, 5.2, 4.9, 5.0, 5.1],
    ...     "medium": ["film"] * 6 + ["stone"] * 6,
    ...     "edge": ["a", "a", "b", "b", "c", "c", "d", "d", "e", "e", "f", "f"],
    ... })
    >>> fit = fit_mixed(table, response="y", fixed=["medium"], random=["edge"])
    >>> layout = SharedLayout(fit, np.array([[0.0, 1.0]]))
    >>> rng = np.random.default_rng(1)
    >>> found = layout.fit(rng.normal(5.0, 0.2, (1000, 12)))
    >>> found.estimate.shape, found.df[0].round(1)
    ((1000, 1), array([4.]))
    """

    def __init__(self, fit: MixedFit, rows: Floats) -> None:
        self.shared: Shared = fit.shared
        self.rows = fit.answered_rows(np.atleast_2d(rows))

    def fit(self, responses: Floats, progress: Callable[[int], None] | None = None) -> ManyFits:
        """Analyse responses given reading by reading.

        Parameters
        ----------
        responses : ndarray of shape (B, N)
            One row a trial, in the order of the table's rows.
        progress : callable, optional
            Told after each chunk how many trials are done.

        Returns
        -------
        ManyFits

        Raises
        ------
        ValueError
            If a trial has not one finite number for each reading.
        """
        responses = _checked(responses, self.shared.readings, "readings")
        return self._in_chunks(len(responses), lambda part: from_readings(self.shared, responses[part]), progress)

    def fit_means(
        self, means: Floats, within: Floats | None = None, progress: Callable[[int], None] | None = None
    ) -> ManyFits:
        """Analyse responses given by the units' means and what their readings scatter about them.

        Enough for normal errors, and much faster to draw than readings.

        Parameters
        ----------
        means : ndarray of shape (B, units)
            In the order of the units of `MixedFit.units`.
        within : ndarray of shape (B,), optional
            Sum of squares of the readings about their unit's mean, over all units.
        progress : callable, optional

        Returns
        -------
        ManyFits

        Raises
        ------
        ValueError
            If the numbers do not suit the layout.
        """
        if self.shared.within is not None:
            raise ValueError("A covariate varies within the units, so their means are not enough. Use `fit`.")
        if (within is None) is self.shared.repeated:
            raise ValueError("`within` is needed exactly where units have more than one reading")
        means = _checked(means, self.shared.units, "units")
        rest = None if within is None else _checked(np.reshape(within, (len(means), 1)), 1, "sums").ravel()
        def gathered(part: slice) -> Responses:
            return from_means(self.shared, means[part], None if rest is None else rest[part])

        return self._in_chunks(len(means), gathered, progress)

    @property
    def _chunk(self) -> int:
        sums = self.shared.chain.cells * (self.shared.f + 2)
        return max(64, min(1024, IN_CACHE // sums))

    def _in_chunks(
        self, trials: int, gathered: Callable[[slice], Responses], progress: Callable[[int], None] | None
    ) -> ManyFits:
        c, k = len(self.rows), self.shared.variances
        estimate, se, df = (np.full((trials, c), np.nan) for _ in range(3))
        variances, criterion, settled = np.full((trials, k), np.nan), np.full(trials, np.nan), np.zeros(trials, bool)
        size = self._chunk
        for start in range(0, trials, size):
            for kept, point in settle(self.shared, gathered(slice(start, start + size))):
                at = start + kept
                estimate[at], se[at], df[at] = contrasts_at(point, self.rows)
                variances[at], criterion[at], settled[at] = point.variances.T, point.criterion, True
            if progress is not None:
                progress(min(start + size, trials))
        return ManyFits(estimate, se, df, variances, criterion, settled)


def _checked(values: Floats, width: int, what: str) -> Floats:
    values = np.asarray(values, dtype=float)
    if values.ndim != 2 or values.shape[1] != width:
        raise ValueError(f"expected one row a trial with {width} {what}, got an array of shape {values.shape}")
    if not np.isfinite(values).all():
        raise ValueError(f"trial {np.argwhere(~np.isfinite(values))[0][0]} has a value that is not finite")
    return values


def refit_many(fit: MixedFit, responses: Floats, rows: Floats) -> ManyFits:
    """Fit one layout to many responses: `SharedLayout(fit, rows).fit(responses)`.

    Parameters
    ----------
    fit : MixedFit
    responses : ndarray of shape (B, N)
    rows : ndarray of shape (c, p)

    Returns
    -------
    ManyFits
    """
    return SharedLayout(fit, rows).fit(responses)
