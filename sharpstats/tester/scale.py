"""The scale of a study, as read or of logarithms: readings and margins on it."""

from __future__ import annotations

import math
from typing import get_args

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.errors import FitError
from sharpstats.trial.plan import Scale
from sharpstats.units import ForceUnit, Quantity

Floats = NDArray[np.float64]


def check_scale(scale: str) -> None:
    """Refuse a scale that is neither "log" nor "as read".

    Raises
    ------
    ValueError
    """
    if scale not in get_args(Scale):
        raise ValueError(f'`scale` must be "log" or "as read", got {scale!r}')


def on_scale(readings: pd.DataFrame, scale: Scale) -> Floats:
    """Return readings on the scale of the study.

    Raises
    ------
    FitError
        If a reading is not above zero and the scale is "log".

    Examples
    --------
    >>> on_scale(pd.DataFrame({"reading": [1.0]}), "log")
    array([0.])
    """
    values = readings["reading"].to_numpy(dtype=float)
    if scale == "as read":
        return values
    if not (values > 0).all():
        raise FitError(
            f"{int((values <= 0).sum())} reading(s) are not above zero, which has no logarithm. Set such rows aside "
            'with the reason, or write scale = "as read" in the plan.'
        )
    return np.log(values)


def margin_on_scale(margin: Quantity, unit: ForceUnit, scale: Scale) -> float:
    """Return a difference that somebody stated as a distance on the scale of a study: of logarithms for a percentage.

    Raises
    ------
    ValueError
        If it is not above zero, or a percentage where the scale has forces, or the other way round.

    Examples
    --------
    >>> round(margin_on_scale(Quantity(15.0, "%"), "gf", "log"), 4)
    0.1398
    """
    if margin.value <= 0:
        raise ValueError(f"a margin must be above zero, got {margin}")
    if (margin.unit == "%") != (scale == "log"):
        fits = '"15 %"' if scale == "log" else f'"25 {unit}"'
        raise ValueError(f'{margin} does not fit the scale "{scale}"; write it like {fits}')
    return math.log1p(margin.value / 100) if margin.unit == "%" else margin.to(unit).value
