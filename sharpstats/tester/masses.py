"""What a tester shows under known loads: bias, linearity, hysteresis, shift of zero, and a calibration line.

Readings of one ascent and descent (a series) share whatever was different that time, so where there are
three series or more they are a random part of the model, and standard errors follow Kenward & Roger (1997).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg, special, stats

from sharpstats.errors import FitError
from sharpstats.late import Shown
from sharpstats.model import means
from sharpstats.model.freedom import Tested, f_kenward_roger
from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.notes import Note
from sharpstats.tester.amounts import Amount, Amounts, gathered
from sharpstats.tester.line import Line, amount
from sharpstats.tester.loads import checked_loads
from sharpstats.units import ForceUnit, Quantity

Floats = NDArray[np.float64]
Spread = Literal["constant", "proportional"]
FEWEST_SERIES = 3
"""Fewer series say next to nothing of how far series differ."""
GROWS = 0.05
"""p value below which the spread of repeats is taken to grow with the load."""
LOADS_FOR_CURVE = 4
DEVIATION, LOAD, APPLIED, SERIES = "deviation", "load", "applied", "series"
ZERO, HYSTERESIS = "shift of zero", "hysteresis"


@dataclass(frozen=True, eq=False, kw_only=True)
class Calibration(Shown):
    """What a tester shows under known loads.

    Attributes
    ----------
    unit : str
    level : float
        Level of the intervals.
    readings : DataFrame
        What was analysed: applied, reading, deviation (reading minus applied), series, direction where recorded.
    bias : DataFrame
        One row a load: applied, cuts (readings), mean, bias, se, df, low, high, percent.
    line : Line
    slope, intercept : Amount
        Of the line, which is y = x for a tester without error.
    spread : str
        ``constant`` or ``proportional``: how readings scatter about the line at small and large loads.
    grows_p : float
        p value of the test for that; NaN where there are no repeats.
    as_it_should : Tested
        F test that the line is y = x, on two degrees of freedom.
    straight : Tested or None
        F test that the means of the loads lie on the line; None where loads have no repeats.
    curve : Amount or None
        Change of the reading by a square term from the middle of the loads to their ends, beside the line.
    hysteresis : Amounts or None
        Reading on the way down minus reading on the way up, by load and overall.
    zero : Amount or None
        Last reading without a load minus the first, averaged over series.
    uncertainty : float or None
        Standard uncertainty of the loads, inside the intervals of the biases.
    series : int
        Series in the model; 0 where all readings count as independent.
    notes : tuple of Note
    """

    unit: ForceUnit
    level: float
    readings: pd.DataFrame = field(repr=False)
    bias: pd.DataFrame
    line: Line
    slope: Amount
    intercept: Amount
    spread: Spread
    grows_p: float
    as_it_should: Tested
    straight: Tested | None
    curve: Amount | None
    hysteresis: Amounts | None
    zero: Amount | None
    uncertainty: float | None
    series: int
    notes: tuple[Note, ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row a load: applied, cuts, mean, bias, se, df, low, high, percent, level."""
        return self.bias.assign(level=self.level)

    @cached_property
    def largest(self) -> int:
        """Row of `bias` with the largest one."""
        return int(self.bias["bias"].abs().to_numpy().argmax())

    @property
    def from_the_line(self) -> Floats:
        """How far the mean of each load lies from the line."""
        return self.bias["mean"].to_numpy() - self.line.at(self.bias[APPLIED])


def weigh(
    masses: pd.DataFrame, *, unit: ForceUnit, level: float = 0.95, uncertainty: float | Quantity | None = None
) -> Calibration:
    """Hold a tester's readings against known loads.

    Parameters
    ----------
    masses : DataFrame
        One row a reading: `applied` (force, in `unit`), `reading`, and where recorded `direction` (``up``,
        ``down`` or blank), `series`, `run`, `over_range`.
    unit : {"gf", "N"}
    level : float
        Level of the intervals, between 0 and 1.
    uncertainty : float or Quantity, optional
        Standard uncertainty of the force of one load, in `unit`.

    Returns
    -------
    Calibration

    Raises
    ------
    FitError
        If there are too few loads, the loads are in another unit, or nothing scatters.

    Notes
    -----
    The line is fitted to the deviations (reading minus load), which keeps digits. Where repeats scatter the
    more the larger the load (a regression of their absolute deviations on the load, p < 0.05), deviations are
    divided by the load, which is weighted least squares with weights 1 / load^2; readings without a load
    then have no part in the line.

    References
    ----------
    Draper, N. R. & Smith, H. (1998). Applied Regression Analysis, 3rd ed., sections 1.4, 2.1 and 3.2.
    JCGM 100:2008, G.4.1, for the degrees of freedom where the loads are uncertain, too.

    Examples
    --------
    >>> loads = np.tile([0.0, 100.0, 200.0, 300.0], 3)
    >>> rng = np.random.default_rng(2)
    >>> shown = 1.5 + 1.02 * loads + rng.normal(0, 1, 12)
    >>> found = weigh(pd.DataFrame({"applied": loads, "reading": shown}), unit="gf")
    >>> round(found.slope.estimate, 2), found.spread, [round(value, 1) for value in found.bias["bias"]]
    (1.02, 'constant', [2.3, 3.5, 5.6, 6.8])
    """
    if not 0 < level < 1:
        raise ValueError(f"`level` must lie between 0 and 1, got {level}")
    used, notes = checked_loads(masses, unit)
    u = uncertainty.to(unit).value if isinstance(uncertainty, Quantity) else uncertainty
    grows_p = _grows(used)
    spread: Spread = "proportional" if grows_p < GROWS and (used[APPLIED] > 0).sum() > 2 else "constant"
    fit = _line_fit(used, spread, level)
    line = _line(fit, spread, level)
    bias, straight = _biases(used, line, level, u)
    series = int(used[SERIES].nunique()) if fit.structure.kept else 0
    return Calibration(
        unit=unit, level=level, readings=used, bias=bias, line=line, spread=spread, grows_p=grows_p,
        slope=_coefficient(fit, line.slope, int(spread == "constant"), level),
        intercept=_coefficient(fit, line.intercept, int(spread != "constant"), level),
        as_it_should=_test(fit, np.eye(2)), straight=straight, curve=_curve(used, spread, level),
        hysteresis=_hysteresis(used, level), zero=_zero(used, level), uncertainty=u, series=series,
        notes=(*notes, *_notes(used, spread, series, u)),
    )  # fmt: skip


def _grows(used: pd.DataFrame) -> float:
    """Whether repeats scatter the more the larger the load: their absolute deviations against it."""
    groups = used.groupby(APPLIED)["reading"]
    sizes = groups.transform("size").to_numpy()
    # A deviation from a mean of n is smaller than the error by the root of 1 - 1/n.
    apart = np.abs(used["reading"] - groups.transform("mean")) / np.sqrt(1 - 1 / np.maximum(sizes, 2))
    told = sizes > 1
    x, y = used.loc[told, APPLIED].to_numpy(), apart[told].to_numpy()
    if len(np.unique(x)) < 3 or np.ptp(y) == 0:
        return float("nan")
    found = stats.linregress(x, y, alternative="greater")
    return float(found.pvalue)


def _model(table: pd.DataFrame, fixed: list[str], covariates: list[str], level: float) -> MixedFit:
    """Fit with series as a random part where there are enough of them."""
    random = [SERIES] if table[SERIES].nunique() >= FEWEST_SERIES else []
    return fit_mixed(table, response=DEVIATION, fixed=fixed, random=random, covariates=covariates, level=level)


def _line_fit(used: pd.DataFrame, spread: Spread, level: float) -> MixedFit:
    """Fit the deviations as a line of the load; divided by the load where the spread is proportional to it."""
    if spread == "constant":
        return _model(used, [APPLIED], [APPLIED], level)
    loaded = used[used[APPLIED] > 0]
    x = loaded[APPLIED]
    return _model(loaded.assign(deviation=loaded[DEVIATION] / x, applied=1 / x), [APPLIED], [APPLIED], level)


def _line(fit: MixedFit, spread: Spread, level: float) -> Line:
    found = fit.coefficients
    variances = np.where(fit.optimum.zero, 0.0, fit.optimum.variances)[fit.structure.positions]
    between = float(variances.sum())
    df = between**2 / float(np.sum(variances**2 / _df_of_parts(fit)))
    order = [0, 1] if spread == "constant" else [1, 0]  # divided by the load, the slope is the constant term
    covariance = found.covariance[np.ix_(order, order)]
    intercept, slope = found.estimate[order]
    constant, relative = (between, 0.0) if spread == "constant" else (0.0, between)
    return Line(
        intercept=float(intercept), slope=1 + float(slope), covariance=covariance, df=df,
        constant=constant, relative=relative, level=level,
    )  # fmt: skip


def _df_of_parts(fit: MixedFit) -> Floats:
    """Degrees of freedom of the variances: between series, where they have one, and within."""
    readings, columns = len(fit.frame.y), len(fit.fixed.beta)
    if not fit.structure.kept:
        return np.array([readings - columns], dtype=float)
    series = len(fit.frame.factors[SERIES].levels)
    return np.array([series - 1, readings - columns - series + 1], dtype=float)


def _coefficient(fit: MixedFit, estimate: float, place: int, level: float) -> Amount:
    found = fit.coefficients
    return amount(estimate, float(found.se[place]), float(found.df[place]), level)


def _test(fit: MixedFit, rows: Floats) -> Tested:
    """Test rows of coefficients, with what was taken off the response put back."""
    first = np.eye(1, len(fit.fixed.beta)).ravel()
    return f_kenward_roger(replace(fit.fixed, beta=fit.fixed.beta + fit.offset * first), rows)


def _biases(used: pd.DataFrame, line: Line, level: float, u: float | None) -> tuple[pd.DataFrame, Tested | None]:
    """Mean deviation at each load, and the test that the means lie on a line."""
    groups = used.groupby(APPLIED)
    table = groups["reading"].agg(["size", "mean"]).reset_index().rename(columns={"size": "cuts"})
    table["bias"] = groups[DEVIATION].mean().to_numpy()
    if not (table["cuts"] > 1).any():
        return _with_limits(table.assign(se=np.nan, df=np.nan), level, u), None
    labelled = used.assign(load=[f"{value!r}" for value in used[APPLIED]])
    try:
        fit = _model(labelled, [LOAD], [], level)
    except FitError:  # every repeat reads the same
        return _with_limits(table.assign(se=np.nan, df=np.nan), level, u), None
    found = fit.means(LOAD)
    order = [found.terms.index(f"{value!r}") for value in table[APPLIED]]
    table = table.assign(bias=found.estimate[order], se=found.se[order], df=found.df[order])
    return _with_limits(table, level, u), _lack_of_fit(fit, table, order)


def _lack_of_fit(fit: MixedFit, table: pd.DataFrame, order: list[int]) -> Tested | None:
    """Test every contrast between the means of loads that is zero for points on a line."""
    x = table[APPLIED].to_numpy()
    if len(x) < 3:
        return None
    free = linalg.null_space(np.column_stack([np.ones_like(x), x / x.max()]).T).T
    rows, _ = means.mean_rows(fit.frame, (LOAD,), {})
    return _test(fit, free @ rows[order][:, fit.kept_columns])


def _with_limits(table: pd.DataFrame, level: float, u: float | None) -> pd.DataFrame:
    """Add limits, into which the uncertainty of the loads goes with effective degrees of freedom."""
    se, df = table["se"].to_numpy(float), table["df"].to_numpy(float)
    whole = np.hypot(se, 0.0 if u is None else u)
    with np.errstate(divide="ignore", invalid="ignore"):
        effective = np.where(se > 0, df * (whole / se) ** 4, np.inf)
        percent = np.where(table[APPLIED] > 0, 100 * table["bias"] / table[APPLIED], np.nan)
    reach = special.stdtrit(np.minimum(effective, 1e12), (1 + level) / 2) * whole
    bias = table["bias"]
    return table.assign(se=whole, df=effective, low=bias - reach, high=bias + reach, percent=percent)


def _curve(used: pd.DataFrame, spread: Spread, level: float) -> Amount | None:
    """How far a parabola bends away from the line, from the middle of the loads to their ends."""
    x = used[APPLIED]
    if x.nunique() < LOADS_FOR_CURVE:
        return None
    middle, half = (x.max() + x.min()) / 2, (x.max() - x.min()) / 2
    bent = used.assign(bent=((x - middle) / half) ** 2)
    if spread == "proportional":
        bent = bent[x > 0]
        bent = bent.assign(deviation=bent[DEVIATION] / bent[APPLIED], bent=bent["bent"] / bent[APPLIED],
                           applied=1 / bent[APPLIED])  # fmt: skip
    found = _model(bent, [APPLIED, "bent"], [APPLIED, "bent"], level).coefficients
    return amount(float(found.estimate[2]), float(found.se[2]), float(found.df[2]), level)


def _hysteresis(used: pd.DataFrame, level: float) -> Amounts | None:
    """Differences down minus up at the same load of the same series."""
    if "direction" not in used:
        return None
    sides = used[used["direction"].isin(["up", "down"]) & (used[APPLIED] > 0)]
    cells = sides.pivot_table(index=[SERIES, APPLIED], columns="direction", values="reading", aggfunc="mean")
    if not {"up", "down"} <= set(cells.columns):
        return None
    apart = (cells["down"] - cells["up"]).dropna()
    if apart.empty:
        return None
    by_load = {f"{load!r}": _mean_of(group.to_numpy(), level) for load, group in apart.groupby(level=APPLIED)}
    by_series = apart.groupby(level=SERIES).mean().to_numpy()
    overall = _mean_of(by_series if len(by_series) > 1 else apart.to_numpy(), level)
    return gathered((*by_load, HYSTERESIS), (*by_load.values(), overall), level)


def _mean_of(values: Floats, level: float) -> Amount:
    n = len(values)
    se = float(np.std(values, ddof=1) / np.sqrt(n)) if n > 1 else float("nan")
    return amount(float(np.mean(values)), se, n - 1.0, level)


def _zero(used: pd.DataFrame, level: float) -> Amount | None:
    """Last reading without a load minus the first, in each series that has two."""
    empty = used[used[APPLIED] == 0]
    ends = empty.groupby(SERIES)["reading"].agg(["first", "last", "size"])
    shifts = (ends["last"] - ends["first"])[ends["size"] > 1].to_numpy()
    return _mean_of(shifts, level) if len(shifts) else None


def _notes(used: pd.DataFrame, spread: Spread, series: int, u: float | None) -> list[Note]:
    notes = []
    if series == 0:
        notes.append(Note("independent", f"All readings count as independent of each other, since fewer than "
                          f"{FEWEST_SERIES} series were made: what differs from series to series is not seen, and "
                          "limits may be too narrow."))  # fmt: skip
    if spread == "proportional":
        notes.append(Note("proportional", "Readings scatter the more the larger the load, so each counts by its "
                          "relative deviation, and readings without a load have no part in the line."))  # fmt: skip
    if "direction" not in used or set(used["direction"]) & {"up", "down"} != {"up", "down"}:
        notes.append(Note("one-way", "Loads were not reached both from below and from above, so nothing is known of "
                          "hysteresis."))  # fmt: skip
    if u is None:
        notes.append(Note("masses-exact", "The loads are taken as exact. If the plan states their standard "
                          "uncertainty (`uncertainty` in [masses]), it goes into the intervals."))  # fmt: skip
    return notes
