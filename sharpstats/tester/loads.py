"""Readings under known loads, checked: enough of them, in the unit that was meant, in order."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sharpstats.errors import FitError
from sharpstats.notes import Note
from sharpstats.units import NEWTONS_PER_GF, ForceUnit

SLIPS = {
    1000.0: "as if they were written in kg: write them in grams",
    0.001: "as if they were written in mg: write them in grams",
    1 / NEWTONS_PER_GF: "as if the readings were in gf and the loads in N: give both in the plan's unit",
    NEWTONS_PER_GF: "as if the readings were in N and the loads in gf: give both in the plan's unit",
}
"""Readings divided by loads that point at a slip of the unit."""
NEAR = 1.3
"""A ratio within this factor of one of `SLIPS` is taken for it."""
FAR = 1.5
"""A tester that reads more than this many times too much or too little is pointed out."""


def checked_loads(masses: pd.DataFrame, unit: ForceUnit) -> tuple[pd.DataFrame, tuple[Note, ...]]:
    """Return the readings in order, with their deviations; and what there is to say of them.

    Parameters
    ----------
    masses : DataFrame
        `applied`, `reading` and where known `series`, `direction`, `run`, `over_range`.
    unit : {"gf", "N"}

    Returns
    -------
    used : DataFrame
        With `deviation` and `series` (a text) for every row, in the order of `run`.
    notes : tuple of Note

    Raises
    ------
    FitError
        If they cannot tell anything, or the unit is a slip.
    """
    over = masses["over_range"].to_numpy(bool) if "over_range" in masses else np.zeros(len(masses), dtype=bool)
    used = masses[~over]
    used = used.sort_values("run", kind="stable") if "run" in used and used["run"].notna().all() else used
    used = used.assign(deviation=used["reading"] - used["applied"], series=_series(used)).reset_index(drop=True)
    _complain(used, unit)
    return used, tuple(_remarks(used, int(over.sum())))


def _series(used: pd.DataFrame) -> pd.Series:
    if "series" not in used or used["series"].isna().all():
        return pd.Series("1", index=used.index)
    return used["series"].map(lambda value: "none" if pd.isna(value) else str(value))


def _complain(used: pd.DataFrame, unit: ForceUnit) -> None:
    loads = used["applied"].unique()
    if len(loads) < 2 or len(used) < 3:
        raise FitError(
            f"{len(used)} reading(s) under {len(loads)} load(s) are not enough: hang on at least two different masses, "
            "each several times."
        )
    ratio = float(np.median(used.loc[used["applied"] > 0, "reading"] / used.loc[used["applied"] > 0, "applied"]))
    for slip, mend in SLIPS.items():
        if slip / NEAR < ratio < slip * NEAR:
            raise FitError(f"The tester reads {ratio:.3g} times the loads, {mend}. Nothing was converted.")
    line = np.polyfit(used["applied"], used["deviation"], 1)
    scatter = used["deviation"] - np.polyval(line, used["applied"])
    if np.abs(scatter).max() <= 1e-9 * used["reading"].abs().max():
        raise FitError(
            f"The readings lie on a line without any scatter, which no tester does: its step is too coarse to show it, "
            f"or they were worked out and not read. Read to a finer step, in {unit}."
        )


def _remarks(used: pd.DataFrame, over: int) -> list[Note]:
    notes = []
    if over:
        notes.append(Note("over-range", f"{over} reading(s) over the tester's range tell no value and have no part in "
                          "this; load it less."))  # fmt: skip
    sizes = used.groupby("applied").size()
    if (sizes == 1).all():
        notes.append(Note("no-repeats", "No load was read more than once, so nothing separates chance from a bend of "
                          "the line, and no load has an interval of its own."))  # fmt: skip
    same = used[used["applied"].isin(sizes[sizes > 1].index)].groupby("applied")["reading"].nunique()
    if len(same) and (same == 1).all():
        notes.append(Note("repeats-equal", "Every repeat reads the same: rounding hides the scatter, and intervals for "
                          "single loads cannot be given. Ask for the step."))  # fmt: skip
    ratio = float(np.median(used.loc[used["applied"] > 0, "reading"] / used.loc[used["applied"] > 0, "applied"]))
    if not 1 / FAR < ratio < FAR:
        notes.append(Note("far-off", f"The tester reads {ratio:.3g} times the loads. Make sure that masses, gravity "
                          "and unit are what they should be."))  # fmt: skip
    return notes
