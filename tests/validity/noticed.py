"""How often the check of the scale says that a wrong scale is wrong."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from validity.grid import AS_READ, RIGHT, Setting

from sharpstats.model.diagnose import LAMBDAS, ScaleProfile, scale_profile

Floats = NDArray[np.float64]
TRIALS = 1000
"""At most; each is fitted at 25 powers."""


def noticed(setting: Setting, trials: int) -> float:
    """Share of trials whose Box-Cox profile excludes the scale of the analysis; NaN where that is right."""
    if setting.scale == RIGHT:
        return float("nan")
    analysed = setting.draw(min(trials, TRIALS))
    readings = analysed if setting.scale == AS_READ else np.exp(analysed)
    scale = "as read" if setting.scale == AS_READ else "log"
    profiles = [_profile(one, values) for one, values in zip(readings, _criteria(setting, readings), strict=True)]
    return float(np.mean([profile is not None and not profile.allows(scale) for profile in profiles]))


def _criteria(setting: Setting, readings: Floats) -> Floats:
    """-2 log restricted likelihood at each power, of shape (trials, powers), on the terms of `scale_profile`."""
    logs = np.log(readings)
    logs -= logs.mean(axis=1, keepdims=True)
    layout = setting.layout.shared()
    found = [layout.fit(logs if power == 0 else np.expm1(power * logs) / power) for power in LAMBDAS]
    return np.column_stack([np.where(fits.settled, fits.criterion, np.inf) for fits in found])


def _profile(readings: Floats, values: Floats) -> ScaleProfile | None:
    left = iter(values)
    return scale_profile(readings, lambda _: float(next(left)))  # asks power by power
