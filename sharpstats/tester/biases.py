"""How far a tester is off under each load, and whether the means of the loads lie on a line."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg, special

from sharpstats.errors import FitError
from sharpstats.model import means
from sharpstats.model.freedom import Tested
from sharpstats.model.mixed import MixedFit
from sharpstats.tester.loadfit import APPLIED, DEVIATION, SERIES, Spread, fit_loads, joint_test

Floats = NDArray[np.float64]
LOAD = "load"
MANY = 1e12
"""Degrees of freedom that are as good as unlimited."""


def find_biases(
    used: pd.DataFrame, spread: Spread, level: float, u: float | None, *, pooled: bool = True
) -> tuple[pd.DataFrame, Tested | None]:
    """Mean deviation at each load, and the test that the means lie on a line (lack of fit).

    Parameters
    ----------
    used : DataFrame
        `applied`, `reading`, `deviation`, `series`.
    spread : {"constant", "proportional"}
        Where it is proportional, relative deviations are pooled, and a load of zero is taken by itself.
    level : float
    u : float or None
        Standard uncertainty of the loads.
    pooled : bool
        Whether loads share one spread; if not, each is judged by its own.

    Returns
    -------
    biases : DataFrame
        One row a load: applied, cuts, mean, bias, se, df, low, high, percent.
    straight : Tested or None
    """
    groups = used.groupby(APPLIED)
    table = groups["reading"].agg(["size", "mean"]).reset_index().rename(columns={"size": "cuts"})
    table = table.assign(bias=groups[DEVIATION].mean().to_numpy(), se=np.nan, df=np.nan)
    loads = table[APPLIED].to_numpy(float)
    own = np.ones_like(loads) if spread == "constant" else loads
    fit = _fit_means(used, spread, level) if (table["cuts"] > 1).any() else None
    if fit is None:
        return _with_limits(table, level, u), None
    told, found = own > 0, fit.means(LOAD)
    order = [found.terms.index(_name(value)) for value in loads[told]]
    for name, values in (("bias", own[told] * found.estimate[order]), ("se", own[told] * found.se[order]),
                         ("df", found.df[order])):  # fmt: skip
        table.loc[told, name] = values
    for place in np.flatnonzero(~told | (not pooled)):
        at = used[used[APPLIED] == loads[place]]
        table.loc[place, ["se", "df"]] = _by_itself(at, bool(fit.structure.kept))
    return _with_limits(table, level, u), _lack_of_fit(fit, loads[told], own[told], order)


def _name(load: float) -> str:
    return repr(float(load))


def _fit_means(used: pd.DataFrame, spread: Spread, level: float) -> MixedFit | None:
    """Fit a mean for each load, of relative deviations where the spread is proportional; None if nothing scatters."""
    table = used
    if spread == "proportional":
        loaded = used[used[APPLIED] > 0]
        table = loaded.assign(deviation=loaded[DEVIATION] / loaded[APPLIED])
    try:
        return fit_loads(table.assign(load=[_name(value) for value in table[APPLIED]]), [LOAD], [], level)
    except FitError:  # every repeat reads the same
        return None


def _by_itself(at: pd.DataFrame, in_series: bool) -> tuple[float, float]:
    """Standard error and degrees of freedom of the mean of one load; unknown where rounding hides the scatter."""
    values = at.groupby(SERIES)[DEVIATION].mean() if in_series else at[DEVIATION]
    n = len(values)
    return (float(values.std(ddof=1) / np.sqrt(n)), n - 1.0) if np.ptp(values) > 0 else (float("nan"), float("nan"))


def _lack_of_fit(fit: MixedFit, loads: Floats, own: Floats, order: list[int]) -> Tested | None:
    """Test every contrast between the means of loads that is zero for points on a line."""
    if len(loads) < 3:
        return None
    free = linalg.null_space((np.column_stack([np.ones_like(loads), loads / loads.max()]) / own[:, None]).T).T
    rows, _ = means.mean_rows(fit.frame, (LOAD,), {})
    return joint_test(fit, free @ rows[order][:, fit.kept_columns])


def _with_limits(table: pd.DataFrame, level: float, u: float | None) -> pd.DataFrame:
    """Add limits, into which the uncertainty of the loads goes with effective degrees of freedom."""
    se, df = table["se"].to_numpy(float), table["df"].to_numpy(float)
    whole = np.hypot(se, np.where(table[APPLIED] > 0, u or 0.0, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        effective = np.where(se > 0, df * (whole / se) ** 4, np.inf)
        percent = np.where(table[APPLIED] > 0, 100 * table["bias"] / table[APPLIED], np.nan)
    reach = special.stdtrit(np.minimum(effective, MANY), (1 + level) / 2) * whole
    bias = table["bias"]
    return table.assign(se=whole, df=effective, low=bias - reach, high=bias + reach, percent=percent)
