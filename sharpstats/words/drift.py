"""The drift of control edges in a sentence."""

from __future__ import annotations

from sharpstats.model.trialfit import TrialFit
from sharpstats.words.numbers import SAME, count, decimals_for, difference, from_scale, interval, p_value, unit_on


def drift_sentence(fit: TrialFit) -> str:
    """Say how control edges changed from the first to the last edge of the trial.

    Parameters
    ----------
    fit : TrialFit

    Returns
    -------
    str
        Empty where there is nothing to tell.
    """
    drift = fit.drift
    if drift is None:
        return ""
    unit = unit_on(fit.scale, fit.unit)
    change, low, high = (from_scale(value, fit.scale) for value in (drift.estimate, drift.low, drift.high))
    digits = decimals_for(high - low if low is not None and high is not None else None, unit)
    how = difference(change, unit, digits)
    read = "the same at the end as at the start" if how == SAME else f"{how} at the end of the trial than at its start"
    sure = "That is more than chance would do" if drift.p < 1 - drift.level else "Chance alone could do as much"
    return (
        f"{count(drift.edges, 'control edge')} read {read} "
        f"({interval(low, high, unit, drift.level, digits)}; {p_value(drift.p)}). {sure}."
    )
