"""From the parts of an examination to its budget: which number of which part goes where."""

from __future__ import annotations

import numpy as np

from sharpstats.errors import FitError
from sharpstats.tester.budget import Budget
from sharpstats.tester.drift import Stability
from sharpstats.tester.masses import Calibration
from sharpstats.tester.plan import TesterPlan
from sharpstats.tester.rounding import Rounding
from sharpstats.tester.seeds import seed_of
from sharpstats.tester.spreads import Spreads
from sharpstats.tester.studybudget import Estimated, estimated_parts, from_study


def study_budget(
    plan: TesterPlan, spreads: Spreads | None, drift: Stability | None, calibration: Calibration | None,
    rounding: Rounding | None,
) -> Budget:  # fmt: skip
    """Put together what makes a reading of this tester uncertain.

    The reading is the middle one of the study (geometric mean on the scale ``log``), the mean of as many cuts as the
    plan has an operator make on an edge. A trend goes in only if it is more than chance would do.

    Parameters
    ----------
    plan : TesterPlan
    spreads, drift, calibration, rounding : or None
        Parts of the examination.

    Returns
    -------
    Budget

    Raises
    ------
    FitError
        If the spread of cuts is not known.
    """
    if spreads is None:
        raise FitError("Without the spread of cuts on an edge there is no budget.")
    reading = _middle(spreads)
    repeatability, shared, apart = estimated_parts(spreads)
    masses = plan.masses.uncertainty
    return from_study(
        reading=reading, unit=plan.unit, scale=plan.scale,
        repeatability=repeatability, shared=shared, apart=apart, drift=_drift(drift),
        calibration=None if calibration is None else _calibration(calibration, reading),
        bias=0.0 if calibration is None else float(calibration.line.at(reading)) - reading,
        masses=Estimated(sd=masses.to(plan.unit).value, source="the plan") if masses and calibration else None,
        step=None if rounding is None or rounding.grid is None else rounding.step,
        others=plan.contributions, cuts=plan.layout.cuts or 1, level=plan.level, seed=seed_of(plan),
    )  # fmt: skip


def _middle(spreads: Spreads) -> float:
    value = float(spreads.readings["value"].mean())
    return float(np.exp(value)) if spreads.scale == "log" else value


def _drift(drift: Stability | None) -> float:
    """Return how far a trend that is more than chance went from the first cut to the last; else nothing."""
    trend = None if drift is None else drift.trend
    if trend is None or drift is None or trend.slope.p > 1 - drift.level:
        return 0.0
    return float(abs(trend.slope.estimate) * (trend.last - trend.first) / trend.slope.per)


def _calibration(calibration: Calibration, reading: float) -> Estimated:
    """Standard uncertainty of what is taken off a reading there."""
    return Estimated(sd=float(np.sqrt(calibration.line.variance_at(reading))), df=calibration.line.df)
