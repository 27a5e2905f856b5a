"""What a tester shows under known loads: bias, linearity, hysteresis, shift of zero, and a calibration line.

Readings of one ascent and descent (a series) share whatever was different that time, so where there are
three series or more they are a random part of the model, and standard errors follow Kenward & Roger (1997).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.interval import check_level
from sharpstats.late import Shown
from sharpstats.model.freedom import Tested
from sharpstats.model.mixed import MixedFit
from sharpstats.model.student import reach
from sharpstats.notes import Note
from sharpstats.tester.amounts import Amount, Amounts, gathered
from sharpstats.tester.biases import find_biases
from sharpstats.tester.line import Line, amount
from sharpstats.tester.loadfit import (
    APPLIED,
    DEVIATION,
    FEWEST_SERIES,
    GROWS,
    SERIES,
    Spread,
    fit_loads,
    joint_test,
    spread_of,
)
from sharpstats.tester.loads import checked_loads
from sharpstats.units import ForceUnit, Quantity

Floats = NDArray[np.float64]
LOADS_FOR_CURVE = 4
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
        Reading without a load after the last load of a series minus that before its first, averaged over series.
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
    def farthest(self) -> Amount:
        """The largest bias, with limits that hold although it was picked out of all loads (Bonferroni)."""
        row = self.bias.iloc[self.largest]
        beyond = (1 - self.level) / len(self.bias)
        far = reach(1 - beyond, row["df"]) * row["se"]
        low, high = float(row["bias"] - far), float(row["bias"] + far)
        return Amount(estimate=float(row["bias"]), low=low, high=high, level=self.level)

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
    more the larger the load (see `spread_of`), deviations are divided by the load, which is weighted least
    squares with weights 1 / load^2; readings without a load then have no part in the line.

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
    check_level(level)
    u = uncertainty.to(unit).value if isinstance(uncertainty, Quantity) else uncertainty
    if u is not None and not (np.isfinite(u) and u >= 0):
        raise ValueError(f"`uncertainty` must be a number not below zero, got {uncertainty}")
    used, notes = checked_loads(masses, unit)
    spread, grows_p = spread_of(used)
    fit = _line_fit(used, spread, level)
    line = _line(fit, spread, level, unit)
    apart = grows_p < GROWS and spread == "constant"
    bias, straight = find_biases(used, spread, level, u, pooled=not apart)
    series = int(used[SERIES].nunique()) if fit.structure.kept else 0
    return Calibration(
        unit=unit, level=level, readings=used, bias=bias, line=line, spread=spread, grows_p=grows_p,
        slope=_coefficient(fit, line.slope, int(spread == "constant"), level),
        intercept=_coefficient(fit, line.intercept, int(spread != "constant"), level),
        as_it_should=joint_test(fit, np.eye(2)), straight=straight, curve=_curve(used, spread, level),
        hysteresis=_hysteresis(used, level), zero=_zero(used, level), uncertainty=u, series=series,
        notes=(*notes, *_notes(used, spread, series, u, apart=apart)),
    )  # fmt: skip


def _line_fit(used: pd.DataFrame, spread: Spread, level: float) -> MixedFit:
    """Fit the deviations as a line of the load; divided by the load where the spread is proportional to it."""
    if spread == "constant":
        return fit_loads(used, [APPLIED], [APPLIED], level)
    loaded = used[used[APPLIED] > 0]
    x = loaded[APPLIED]
    return fit_loads(loaded.assign(deviation=loaded[DEVIATION] / x, applied=1 / x), [APPLIED], [APPLIED], level)


def _line(fit: MixedFit, spread: Spread, level: float, unit: ForceUnit) -> Line:
    found = fit.coefficients
    variances = np.where(fit.optimum.zero, 0.0, fit.optimum.variances)[fit.structure.positions]
    between = float(variances.sum())
    # Effective degrees of freedom go down to a whole number (JCGM 100, G.4.1); one variance alone has whole ones.
    df = float(np.floor(between**2 / float(np.sum(variances**2 / _df_of_parts(fit))) + 1e-6))
    order = [0, 1] if spread == "constant" else [1, 0]  # divided by the load, the slope is the constant term
    covariance = found.covariance[np.ix_(order, order)]
    intercept, slope = found.estimate[order]
    constant, relative = (between, 0.0) if spread == "constant" else (0.0, between)
    return Line(
        intercept=float(intercept), slope=1 + float(slope), covariance=covariance, df=df,
        constant=constant, relative=relative, level=level, unit=unit,
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
    if bent[APPLIED].nunique() < LOADS_FOR_CURVE or len(bent) <= LOADS_FOR_CURVE - 1:
        return None
    found = fit_loads(bent, [APPLIED, "bent"], [APPLIED, "bent"], level).coefficients
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
    if np.ptp(values) == 0:  # so equal only because they are rounded, or there is one
        return amount(float(values[0]), float("nan"), n - 1.0, level)
    se = float(np.std(values, ddof=1) / np.sqrt(n))
    return amount(float(np.mean(values)), se, n - 1.0, level)


def _zero(used: pd.DataFrame, level: float) -> Amount | None:
    """Shift of the reading without a load, in each series that has one before and after."""
    shifts = [_shift(one) for _, one in used.groupby(SERIES)]
    known = np.array([shift for shift in shifts if shift is not None])
    return _mean_of(known, level) if len(known) else None


def _shift(series: pd.DataFrame) -> float | None:
    """Mean reading without a load after the last load minus that before the first; None without one of them."""
    loaded = np.flatnonzero(series[APPLIED] > 0)
    if not len(loaded):
        return None
    before, after = series["reading"].iloc[: loaded[0]], series["reading"].iloc[loaded[-1] + 1 :]
    return float(after.mean() - before.mean()) if len(before) and len(after) else None


def _notes(used: pd.DataFrame, spread: Spread, series: int, u: float | None, *, apart: bool) -> list[Note]:
    notes = []
    if series == 0:
        notes.append(Note("independent", "All readings count as independent of each other, since there "
                          f"are not {FEWEST_SERIES} series of several readings: what differs from series to series is "
                          "not seen, and limits may be too narrow."))  # fmt: skip
    if spread == "proportional":
        notes.append(Note("proportional", "Readings scatter the more the larger the load, so each counts by its "
                          "relative deviation, and readings without a load have no part in the line."))  # fmt: skip
    if apart:
        notes.append(Note("grows-a-little", "Readings scatter the more the larger the load, but not in proportion to "
                          "it: each load is judged by its own spread. What is said of the line and of new readings "
                          "is too cautious for small loads and not cautious enough for large ones."))  # fmt: skip
    if "direction" not in used or set(used["direction"]) & {"up", "down"} != {"up", "down"}:
        notes.append(Note("one-way", "Loads were not reached both from below and from above, so nothing is known of "
                          "hysteresis."))  # fmt: skip
    if u is None:
        notes.append(Note("masses-exact", "The loads are taken as exact. If the plan states their standard "
                          "uncertainty (`uncertainty` in [masses]), it goes into the intervals."))  # fmt: skip
    else:
        notes.append(Note("masses-uncertain", "The uncertainty of the loads is inside the interval of each load's "
                          "bias, but not inside those of the line or of a corrected reading."))  # fmt: skip
    return notes
