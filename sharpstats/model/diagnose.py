"""Does the model fit? Residuals of edges, spread against level, single edges, and the scale."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from sharpstats.errors import FitError
from sharpstats.late import Shown
from sharpstats.model.mixed import MixedFit
from sharpstats.model.reml import column_roots, inner_inverse, weigh
from sharpstats.notes import Note

Floats = NDArray[np.float64]
LAMBDAS = np.round(np.arange(-1.0, 2.01, 0.125), 3)


@dataclass(frozen=True, slots=True)
class UnitResiduals:
    """What the model leaves of each edge's mean.

    Attributes
    ----------
    fitted, residual : ndarray of shape (units,)
        Prediction with the blocks' own effects, and mean minus prediction, on the fit's scale.
    deleted : ndarray of shape (units,)
        Studentised deletion residual: how far the edge lies from what all the others predict,
        in standard errors of that difference.
    influence : ndarray of shape (units,)
        Largest change of a difference between media, in its standard errors, when the edge is
        left out at unchanged variances. Both are NaN for an edge without which its cell would be empty.
    """

    fitted: Floats
    residual: Floats
    deleted: Floats
    influence: Floats


def unit_residuals(fit: MixedFit, rows: Floats, means: Floats, size: Floats, contrasts: Floats) -> UnitResiduals:
    """Residuals and influence of every edge, without refitting.

    Parameters
    ----------
    fit : MixedFit
    rows : ndarray of shape (units, q + p)
        [Z | X] unit by unit.
    means : ndarray of shape (units,)
        Means of the centred response.
    size : ndarray of shape (units,)
        Readings in each unit.
    contrasts : ndarray of shape (c, p)
        Differences whose change is measured.

    Returns
    -------
    UnitResiduals

    Notes
    -----
    Leaving out unit e is the same as giving it an effect of its own, which is estimated as
    (Py)_e / P_ee (Haslett & Hayes 1998, JRSS B 60:201-215).
    """
    r, s = fit.reduced, fit.optimum.variances
    w = weigh(r, s)
    f = r.q + r.p
    m, _ = inner_inverse(w.a[:f, :f], np.concatenate([column_roots(r, s), np.ones(r.p)]), r.q)
    variance = s[0] / size + (s[1] if r.h.shape[1] == 2 else 0.0)
    fitted = rows @ (m @ w.a[:f, f])
    projected = (means - fitted) / variance
    own = 1 / variance - ((rows @ m) * rows).sum(axis=1) / variance**2
    own = np.where(own * variance > 1e-9, own, np.nan)  # an edge that alone answers for its cell: nothing predicts it
    left_out = projected / own
    inner, _ = inner_inverse(w.a[: r.q, : r.q], column_roots(r, s), r.q)
    x_part = (rows[:, r.q :] - rows[:, : r.q] @ inner @ w.a[: r.q, r.q : f]) / variance[:, None]
    moves = (x_part @ fit.fixed.phi @ contrasts.T) * left_out[:, None]
    se = np.sqrt(((contrasts @ fit.fixed.phi) * contrasts).sum(axis=1))
    return UnitResiduals(fitted, means - fitted, projected / np.sqrt(own), np.abs(moves / se).max(axis=1, initial=0.0))


@dataclass(frozen=True, eq=False)
class ScaleProfile(Shown):
    """Box-Cox profile: how well each power of the reading suits the model.

    Attributes
    ----------
    lam : ndarray
        Powers; 0 is the logarithm, 1 the reading as it is.
    criterion : ndarray
        -2 log restricted likelihood above its smallest value.
    best, low, high : float
        Best power and the 95 % interval.
    """

    lam: Floats
    criterion: Floats
    best: float
    low: float
    high: float

    def allows(self, scale: str) -> bool:
        """Whether the interval holds the power of a scale."""
        return self.low <= {"log": 0.0, "as read": 1.0}[scale] <= self.high

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a power: term, estimate."""
        return pd.DataFrame({"term": [f"{value:g}" for value in self.lam], "estimate": self.criterion})


def scale_profile(
    readings: Floats, criterion: Callable[[Floats], float], inside: NDArray[np.bool_] | None = None
) -> ScaleProfile | None:
    """Profile the power of the readings.

    Parameters
    ----------
    readings : ndarray of shape (N,)
        Positive readings.
    criterion : callable
        Gives -2 log restricted likelihood of the model for a transformed response.
    inside : ndarray of bool of shape (N,), optional
        Which readings are no limits: a limit has a chance, not a density, so the scale of the
        transformed response is set by the others alone.

    Returns
    -------
    ScaleProfile or None
        None where the readings are not all positive or too few powers can be fitted.

    References
    ----------
    Box, G. E. P. & Cox, D. R. (1964), JRSS B 26:211-252; with mixed models Gurka et al.
    (2006), JRSS A 169:273-288.
    """
    if readings.min() <= 0:
        return None
    logs = np.log(readings)
    centre = logs.mean() if inside is None else logs[inside].mean()
    ratio = np.exp(logs - centre)
    values = np.full(len(LAMBDAS), np.inf)
    for i, power in enumerate(LAMBDAS):
        transformed = logs - centre if power == 0 else (ratio**power - 1) / power
        try:
            values[i] = criterion(transformed)
        except FitError:
            continue
    if np.isfinite(values).sum() < 5:
        return None
    return _read_profile(values - values.min())


def _read_profile(above: Floats) -> ScaleProfile:
    inside = above <= stats.chi2.ppf(0.95, 1)
    place = int(np.argmin(above))
    best = float(LAMBDAS[place])
    if 0 < place < len(above) - 1 and np.all(np.isfinite(above[place - 1 : place + 2])):
        left, mid, right = above[place - 1 : place + 2]
        best += float(0.5 * (left - right) / (left - 2 * mid + right)) * (LAMBDAS[1] - LAMBDAS[0])
    return ScaleProfile(LAMBDAS, above, best, float(LAMBDAS[inside].min()), float(LAMBDAS[inside].max()))


@dataclass(frozen=True, slots=True)
class Trend:
    """Slope of the spread within edges against their level (log SD against mean)."""

    slope: float
    p: float


@dataclass(frozen=True, slots=True)
class Normality:
    """Shapiro and Wilk's test of the edges' residuals."""

    statistic: float
    p: float


@dataclass(frozen=True, eq=False)
class Diagnostics(Shown):
    """What to look at before a finding is believed.

    Attributes
    ----------
    spread : Trend or None
    normality : Normality or None
    influence : DataFrame
        The five edges that move a difference most: edge, change (in standard errors), and how
        far each lies from its prediction (deleted).
    scale_profile : ScaleProfile or None
    notes : tuple of Note
    """

    spread: Trend | None
    normality: Normality | None
    influence: pd.DataFrame
    scale_profile: ScaleProfile | None
    notes: tuple[Note, ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row a check: term, estimate, p."""
        rows = []
        if self.spread is not None:
            rows.append(("spread against level (slope)", self.spread.slope, self.spread.p))
        if self.normality is not None:
            rows.append(("normality of edges (Shapiro-Wilk)", self.normality.statistic, self.normality.p))
        return pd.DataFrame(rows, columns=["term", "estimate", "p"])


def diagnose(edges: pd.DataFrame, profile: ScaleProfile | None, scale: str) -> Diagnostics:
    """Put the checks of a fit together.

    Parameters
    ----------
    edges : DataFrame
        One row an edge: edge, mean, sd, deleted, influence.
    profile : ScaleProfile or None
    scale : str
        ``log`` or ``as read``.

    Returns
    -------
    Diagnostics
    """
    spread, normality = _spread(edges), _normality(edges)
    worst = edges.nlargest(5, "influence")[["edge", "influence", "deleted"]].rename(columns={"influence": "change"})
    return Diagnostics(spread, normality, worst.reset_index(drop=True), profile,
                       tuple(_cautions(edges, spread, normality, profile, scale)))  # fmt: skip


def _spread(edges: pd.DataFrame) -> Trend | None:
    known = edges[(edges["sd"] > 0) & (edges["cuts"] > 2)]
    if len(known) < 8 or known["mean"].nunique() < 3:
        return None
    line = stats.linregress(known["mean"], np.log(known["sd"]))
    return Trend(float(line.slope), float(line.pvalue))


def _normality(edges: pd.DataFrame) -> Normality | None:
    if not 8 <= len(edges) <= 5000 or not edges["deleted"].std() > 0:
        return None
    test = stats.shapiro(edges["deleted"])
    return Normality(float(test.statistic), float(test.pvalue))


def _cautions(
    edges: pd.DataFrame, spread: Trend | None, normality: Normality | None, profile: ScaleProfile | None, scale: str
) -> list[Note]:  # fmt: skip
    notes = []
    if profile is not None and not profile.allows(scale):
        other = {"log": "as read", "as read": "log"}[scale]
        better = f' The scale "{other}" suits them.' if profile.allows(other) else ""
        notes.append(Note("scale-looks-wrong", f'The readings do not suit the scale "{scale}": the best power is '
                          f"{profile.best:.2g} (95 % interval {profile.low:g} to {profile.high:g}; 0 is log, 1 is as "
                          f"read).{better} A plan keeps its scale once readings are in."))  # fmt: skip
    if spread is not None and spread.p < 0.01:
        way = "grows" if spread.slope > 0 else "shrinks"
        notes.append(Note("uneven-spread", f"The spread of cuts within an edge {way} with the reading (p = "
                          f"{spread.p:.2g}) on this scale."))  # fmt: skip
    if normality is not None and normality.p < 0.01:
        notes.append(Note("not-normal", "Some edges lie further out than a normal distribution would put them "
                          f"(Shapiro-Wilk p = {normality.p:.2g}). Look at the residuals."))  # fmt: skip
    far = edges[edges["deleted"].abs() > stats.norm.isf(0.025 / max(len(edges), 1))]
    for row in far.itertuples():
        notes.append(Note("far-edge", f"Edge {row.edge} lies {abs(row.deleted):.1f} standard errors from what the "
                          "others predict. It stays in; look for the reason in its notes."))  # fmt: skip
    return notes
