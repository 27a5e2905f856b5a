"""What a table of shops' readings must be before anything is worked out from it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sharpstats.errors import FitError
from sharpstats.tester.labels import called
from sharpstats.tester.scale import check_scale
from sharpstats.trial.plan import Scale

COLUMNS = ("shop", "batch", "reading")


def checked_shops(shops: pd.DataFrame, scale: Scale) -> pd.DataFrame:
    """Return shop, batch and reading, or say what cannot be used.

    Parameters
    ----------
    shops : DataFrame
        Columns shop, batch and reading; `cut` too, if cuts are numbered.
    scale : str
        ``log`` or ``as read``.

    Returns
    -------
    DataFrame

    Raises
    ------
    FitError
        If there are fewer than two shops, a row without shop or batch, a cut that is there twice, or a reading
        that is no number or has no logarithm.
    ValueError
        If a column is missing, or the scale is unknown.

    Examples
    --------
    >>> checked_shops(pd.DataFrame({"shop": ["A"], "batch": ["keen"], "reading": [0.0]}), "log")
    Traceback (most recent call last):
    sharpstats.errors.FitError: Shop A, batch keen (row 1 of those used): the reading is not above zero...
    """
    missing = [name for name in COLUMNS if name not in shops]
    if missing:
        raise ValueError(f"`shops` must have the columns {', '.join(COLUMNS)}; {', '.join(missing)} not found")
    check_scale(scale)
    unnamed = shops[["shop", "batch"]].isna().any(axis=1)
    if unnamed.any():
        raise FitError(f"Row {_row(unnamed)} of those used names no shop or no batch. Name both, or set the row aside.")
    data = shops[list(COLUMNS)].astype({"shop": str, "batch": str, "reading": float}).reset_index(drop=True)
    _check_readings(data, scale)
    if "cut" in shops:
        _check_cuts(shops)
    if data["shop"].nunique() < 2:
        raise FitError(
            f"A round robin compares shops, and here is {'one' if len(data) else 'none'}. Two are the fewest, and "
            "eight or more tell much. What one shop's readings are worth is asked by a study of its own tester."
        )
    return data


def _check_readings(data: pd.DataFrame, scale: Scale) -> None:
    unknown = ~np.isfinite(data["reading"])
    if unknown.any():
        raise FitError(f"{_where(data, unknown)}: the reading is no number. Set the row aside with its reason.")
    if scale == "log" and (data["reading"] <= 0).any():
        raise FitError(
            f"{_where(data, data['reading'] <= 0)}: the reading is not above zero, and has no logarithm. Correct it, "
            'set it aside with its reason, or plan the study on the scale "as read".'
        )


def _check_cuts(shops: pd.DataFrame) -> None:
    numbered = shops.dropna(subset=["cut"])
    keys = [name for name in ("shop", "batch", "edge", "cut") if name in shops]
    twice = numbered[numbered.duplicated(keys)]
    if len(twice):
        shop, batch, cut = twice.iloc[0][["shop", "batch", "cut"]].astype(str)
        raise FitError(
            f"{called('Shop', shop)} has cut {cut} of {called('batch', batch)} more than once. Was a row copied twice? "
            "Number each cut once, or leave the column `cut` out."
        )


def _row(wrong: pd.Series) -> int:
    return int(np.flatnonzero(wrong)[0]) + 1


def _where(data: pd.DataFrame, wrong: pd.Series) -> str:
    first = data[wrong].iloc[0]
    return f"{called('Shop', first['shop'])}, {called('batch', first['batch'])} (row {_row(wrong)} of those used)"
