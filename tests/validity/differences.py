"""How often claims about a difference err, intervals cover, and true claims are shown."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from validity.grid import RIGHT, Setting
from validity.noticed import noticed

from sharpstats.model.many import ManyFits

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
ALPHA = 0.05
TRUE_EFFECT = float(np.log(1.15))
"""What `keener` by more than nothing is asked to find."""


def measure(setting: Setting, trials: int) -> dict[str, float]:
    """Draw, fit and judge so many trials of a setting.

    Returns
    -------
    dict of str to float
        Shares of trials. ``same``: shown though the media differ by the margin. ``below`` and ``above``: shown though
        the difference is just the margin, `no worse` (the second medium than the first) and `keener` (the first than
        the second, by the margin); with the roles of the media changed the two swap. ``covers``: 95 % intervals that
        hold the true difference (what they lack of one is the error of `gap` that says "depends" without a margin);
        ``normal``: the same with 1.96 for the quantile of t. ``power_...``: shown, where there is no difference
        (`same`, `no worse`) or one of 15 % (`keener`, "depends"). ``zero``: a spread estimated as zero;
        ``unsettled``: no fit, which counts as nothing shown. ``noticed``: the check of the scale says it is wrong.
    """
    fits = setting.layout.shared().fit(setting.draw(trials))
    error, se, df = (np.nan_to_num(getattr(fits, name)[:, 0], nan=value)
                     for name, value in (("estimate", 0.0), ("se", np.inf), ("df", 1.0)))  # fmt: skip
    off = error - setting.truth
    return {
        **_errors(off, se, df, abs(setting.truth)), **_powers(setting, off, se, df), **_about(fits),
        "noticed": noticed(setting, trials),
    }  # fmt: skip


def within(low: float, high: float, estimate: Floats, se: Floats, df: Floats) -> Bools:
    """Whether a claim is shown: its interval lies inside the claim's bounds."""
    reach = stats.t.isf(ALPHA, df) * se
    return (estimate + reach <= high) & (estimate - reach >= low)


def _errors(off: Floats, se: Floats, df: Floats, margin: float) -> dict[str, float]:
    """Claims at their boundaries; what is added to all readings of a medium moves the estimate alone."""
    same = max(np.mean(within(-margin, margin, off + side * margin, se, df)) for side in (-1, 1))
    return {
        "same": float(same),
        "below": float(np.mean(within(-np.inf, 0.0, off, se, df))),
        "above": float(np.mean(within(0.0, np.inf, off, se, df))),
        "covers": float(np.mean(np.abs(off) <= stats.t.isf(ALPHA / 2, df) * se)),
        "normal": float(np.mean(np.abs(off) <= stats.norm.isf(ALPHA / 2) * se)),
    }


def _powers(setting: Setting, off: Floats, se: Floats, df: Floats) -> dict[str, float]:
    if setting.scale != RIGHT:
        return {}
    margin = setting.truth
    if setting.layout.hands > 1:
        depends = np.abs(off - TRUE_EFFECT) > stats.t.isf(ALPHA / 2, df) * se
        alike = within(-margin, margin, off, se, df)
        return {"power_same": float(alike.mean()), "power_depends": float(depends.mean())}
    return {
        "power_same": float(np.mean(within(-margin, margin, off, se, df))),
        "power_no_worse": float(np.mean(within(-np.inf, margin, off, se, df))),
        "power_keener": float(np.mean(within(-np.inf, 0.0, off - TRUE_EFFECT, se, df))),
    }


def _about(fits: ManyFits) -> dict[str, float]:
    return {"zero": float(np.mean((fits.variances == 0).any(axis=1))), "unsettled": float(np.mean(~fits.settled))}
