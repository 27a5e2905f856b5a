"""How readings under known loads scatter: alike or the more the larger the load, and together with their series."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from sharpstats.errors import FitError
from sharpstats.model.freedom import Tested, f_kenward_roger
from sharpstats.model.mixed import MixedFit, fit_mixed

Floats = NDArray[np.float64]
Spread = Literal["constant", "proportional"]
FEWEST_SERIES = 3
"""Fewer series say next to nothing of how far series differ."""
GROWS = 0.05
"""p value below which the spread of repeats is taken to grow with the load."""
MOSTLY = 0.5
"""Share of the loads."""
DEVIATION, APPLIED, SERIES = "deviation", "applied", "series"


def fit_loads(table: pd.DataFrame, fixed: list[str], covariates: list[str], level: float) -> MixedFit:
    """Fit the deviations, with series as a random part where there are enough of them to tell how they differ."""
    random = [SERIES] if table[SERIES].nunique() >= FEWEST_SERIES else []
    fit = partial(fit_mixed, table, response=DEVIATION, fixed=fixed, covariates=covariates, level=level)
    try:
        return fit(random=random)
    except FitError:  # hardly a series has two readings, so series and chance are the same
        return fit()


def joint_test(fit: MixedFit, rows: Floats) -> Tested:
    """Test rows of coefficients, with what was taken off the response put back; exactly where nothing is random."""
    fixed = replace(fit.fixed, beta=fit.fixed.beta + fit.offset * np.eye(1, len(fit.fixed.beta)).ravel())
    if fit.structure.kept:
        return f_kenward_roger(fixed, rows)
    effect = rows @ fixed.beta
    f = float(effect @ np.linalg.solve(rows @ fixed.phi @ rows.T, effect)) / len(rows)
    return Tested(f, len(rows), float(len(fit.frame.y) - len(fixed.beta)), 1.0)


def spread_of(used: pd.DataFrame) -> tuple[Spread, float]:
    """Tell how repeats scatter about the mean of their load.

    Parameters
    ----------
    used : DataFrame
        `applied` and `reading`.

    Returns
    -------
    spread : {"constant", "proportional"}
        ``proportional`` where the spread grows with the load beyond chance (p < 0.05), and a spread in proportion
        to the load is more likely than a constant one. Not where under most loads rounding hides the scatter.
    p : float
        Of the test that it grows: a regression of absolute deviations on the load, one-sided; NaN without repeats.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> loads = np.repeat([50.0, 100.0, 200.0, 400.0], 8)
    >>> spread_of(pd.DataFrame({"applied": loads, "reading": loads * (1 + 0.01 * rng.normal(size=32))}))[0]
    'proportional'
    >>> spread_of(pd.DataFrame({"applied": loads, "reading": loads + rng.normal(size=32)}))[0]
    'constant'
    """
    groups = used.groupby(APPLIED)["reading"]
    p = _grows(used, groups.transform("mean"), groups.transform("size"))
    hidden = bool((groups.nunique()[groups.size() > 1] == 1).mean() > MOSTLY)
    return ("proportional" if p < GROWS and not hidden and _fits_in_proportion(used) else "constant"), p


def _grows(used: pd.DataFrame, means: pd.Series, sizes: pd.Series) -> float:
    # A deviation from a mean of n is smaller than the error by the root of 1 - 1/n.
    apart = np.abs(used["reading"] - means) / np.sqrt(1 - 1 / sizes.clip(lower=2))
    told = (sizes > 1).to_numpy()
    x, y = used.loc[told, APPLIED].to_numpy(), apart[told].to_numpy()
    if len(np.unique(x)) < 3 or np.ptp(y) == 0:
        return float("nan")
    return float(stats.linregress(x, y, alternative="greater").pvalue)


def _fits_in_proportion(used: pd.DataFrame) -> bool:
    """Compare the likelihoods of the deviations within loads above zero, whose own means are taken out."""
    groups = used[used[APPLIED] > 0].groupby(APPLIED)["reading"]
    df = (groups.size() - 1).to_numpy(float)
    squares, loads = (df * groups.var().fillna(0.0).to_numpy()), groups.size().index.to_numpy(float)
    # Without its constants the log-likelihood is -df/2 log(variance); dividing by the load costs its log each time.
    in_proportion = float(df.sum() * np.log((squares / loads**2).sum()) / 2 + (df * np.log(loads)).sum())
    return in_proportion < float(df.sum() * np.log(squares.sum()) / 2)
