"""Cuts over the tester's range: which they are, and what to leave out where a bound is of no use."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.notes import Note


def over_range(readings: pd.DataFrame) -> NDArray[np.bool_]:
    """Return for each reading whether it is over the range; none is where that was not recorded.

    Examples
    --------
    >>> over_range(pd.DataFrame({"reading": [90.0, 95.0]}))
    array([False, False])
    """
    if "over_range" not in readings:
        return np.zeros(len(readings), dtype=bool)
    return readings["over_range"].to_numpy(dtype=bool)


def without_over_range(readings: pd.DataFrame) -> tuple[pd.DataFrame, tuple[Note, ...]]:
    """Leave out every edge with a cut over the range, and say so.

    Parameters
    ----------
    readings : DataFrame
        With `over_range`, if that was recorded.

    Returns
    -------
    readings : DataFrame
    notes : tuple of Note

    Examples
    --------
    >>> table = pd.DataFrame({"edge": ["a", "a", "b"], "reading": [1.0, 2.0, 3.0], "over_range": [False, True, False]})
    >>> kept, notes = without_over_range(table)
    >>> len(kept), notes[0].code
    (1, 'over-range-left-out')
    """
    over = over_range(readings)
    if not over.any():
        return readings, ()
    thing = next((name for name in ("edge", "load") if name in readings), None)
    out = over if thing is None else readings[thing].isin(readings.loc[over, thing]).to_numpy()
    text = (
        f"{int(over.sum())} reading(s) went over the range, so nobody knows how far they lie off. All {int(out.sum())} "
        f"of the same {thing or 'kind'} are left out here, since what is left of it would lean to one side."
    )
    return readings[~out], (Note("over-range-left-out", text),)
