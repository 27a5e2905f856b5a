"""Control edges: the same blade and medium made again through the trial, to show drift."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from sharpstats.late import Shown
from sharpstats.model.student import reach


@dataclass(frozen=True, eq=False)
class Drift(Shown):
    """Change of the control edges from the first to the last edge of the trial.

    Attributes
    ----------
    estimate, se, df, p, low, high, level : float
        Change over the whole trial on the fit's scale (positive: readings rose), by least
        squares over the control edges' means in run order.
    edges : int
        Number of control edges.
    table : DataFrame
        One row a control edge: edge, order (run), mean (fit's scale), reading.
    """

    estimate: float
    se: float
    df: float
    p: float
    low: float
    high: float
    level: float
    edges: int
    table: pd.DataFrame


def control_drift(controls: pd.DataFrame, first: float, last: float, level: float) -> Drift | None:
    """Test whether the control edges drift.

    Parameters
    ----------
    controls : DataFrame
        One row a control edge: edge, kind (what was made again), order, mean, reading.
    first, last : float
        First and last place in the order of the whole trial.
    level : float
        Level of the interval.

    Returns
    -------
    Drift or None
        None where fewer than three control edges, or one place only, leave nothing to test.
    """
    if len(controls) < 3 or last <= first:
        return None
    time = (controls["order"].to_numpy(float) - first) / (last - first)
    kinds = pd.factorize(controls["kind"])[0]
    x = _within(time, kinds)
    y = _within(controls["mean"].to_numpy(float), kinds)
    df = len(controls) - (kinds.max() + 1) - 1
    if df < 1 or x @ x <= 1e-12:
        return None
    slope = float(x @ y / (x @ x))
    se = float(np.sqrt(((y - slope * x) @ (y - slope * x)) / df / (x @ x)))
    far = reach(level, df) * se
    p = float(2 * stats.t.sf(abs(slope / se), df)) if se > 0 else float(slope == 0)
    return Drift(slope, se, float(df), p, slope - far, slope + far, level, len(controls),
                 controls[["edge", "order", "mean", "reading"]].reset_index(drop=True))  # fmt: skip


def _within(values: np.ndarray, groups: np.ndarray) -> np.ndarray:
    means = np.bincount(groups, weights=values) / np.bincount(groups)
    return values - means[groups]
