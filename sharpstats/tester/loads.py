"""Readings under known loads, checked: enough of them, in the unit that was meant, in order."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.errors import FitError
from sharpstats.notes import Note
from sharpstats.tester.overrange import over_range
from sharpstats.units import NEWTONS_PER_GF, ForceUnit

Floats = NDArray[np.float64]
SLIPS = {
    1000.0: "as if they were written in kg: write masses in grams and forces in the plan's unit",
    0.001: "as if they were written in mg, or the readings in kg: write masses in grams, readings in the plan's unit",
    1000 * NEWTONS_PER_GF: "as if the readings were in N and the loads in kg: give both in the plan's unit",
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
    over = over_range(masses)
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
    if not np.isfinite(used[["applied", "reading"]].to_numpy(float)).all() or (used["applied"] < 0).any():
        raise FitError("A load or a reading is missing, or a load is below zero. Write a number, or set the row aside.")
    loads = used["applied"].unique()
    if len(loads) < 2 or len(used) < 3:
        raise FitError(
            f"{len(used)} reading(s) under {len(loads)} load(s) are not enough: hang on at least two different masses, "
            "each several times."
        )
    loaded = used[used["applied"] > 0]
    ratios = (loaded["reading"] / loaded["applied"]).to_numpy()
    if slip := _slip(float(np.median(ratios))):
        raise FitError(slip)
    _complain_of_rows(ratios, loaded["applied"].to_numpy())
    line = np.polyfit(used["applied"], used["deviation"], 1)
    scatter = used["deviation"] - np.polyval(line, used["applied"])
    if np.ptp(used["reading"]) == 0:
        raise FitError(
            f"The tester shows {used['reading'].iloc[0]:g} {unit} under every load, so it does not feel them at all. "
            "See whether the masses hang on what is weighed, and whether a peak value is held on the display."
        )
    if np.abs(scatter).max() <= 1e-9 * used["reading"].abs().max():
        raise FitError(
            f"The readings lie on a line (reading = {round(line[1], 6) + 0.0:.4g} {unit} + {1 + line[0]:.5g} x load) "
            "without any scatter, which no tester does: its step is too coarse to show it, or they were worked out and "
            "not read. Read to a finer step, or hang on loads that are no whole steps."
        )


def _slip(ratio: float) -> str:
    """Say which slip of the unit a ratio of reading to load points at; empty where at none."""
    for slip, mend in SLIPS.items():
        if slip / NEAR < ratio < slip * NEAR:
            return f"The tester reads {_plain(ratio)} times the loads, {mend}. Nothing was converted."
    return ""


def _plain(ratio: float) -> str:
    return f"{float(f'{ratio:.3g}'):,g}"


def load_cautions(masses: pd.DataFrame) -> Iterator[Note]:
    """Point out, before anything is worked out, loads that look as if they were in another unit.

    Parameters
    ----------
    masses : DataFrame
        `applied` and `reading`.
    """
    loaded = masses[masses["applied"] > 0]
    if len(loaded) and (slip := _slip(float((loaded["reading"] / loaded["applied"]).median()))):
        yield Note("unit-unlikely", slip)


def _complain_of_rows(ratios: Floats, loads: Floats) -> None:
    """Refuse where some loads slipped and others did not."""
    for slip, mend in SLIPS.items():
        slipped = (ratios > slip / NEAR) & (ratios < slip * NEAR)
        others = ~np.isin(loads, loads[slipped])
        if not slipped.any() or not others.any() or not 1 / FAR < np.median(ratios[others]) < FAR:
            continue
        meant = loads[slipped] * slip  # an offset makes large ratios too, but under loads that are very small anyway
        if ((meant > loads[others].min() / 3) & (meant < 3 * loads[others].max())).any():
            raise FitError(
                f"Under {len(set(loads[slipped]))} of {len(set(loads))} loads the tester reads about {_plain(slip)} "
                f"times the load, {mend}. Nothing was converted."
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
    same = used[used["applied"].isin(sizes[sizes > 1].index)].groupby("applied")["reading"].nunique() == 1
    if same.mean() > 0.5 and not same.all():
        notes.append(Note("repeats-mostly-equal", f"Under {int(same.sum())} of {len(same)} loads every repeat reads "
                          "the same: rounding hides the scatter, so intervals are narrower than what is known, and a "
                          "bias may be off by half a step besides."))  # fmt: skip
    if len(same) and same.all():
        notes.append(Note("repeats-equal", "Every repeat reads the same: rounding hides the scatter, and intervals for "
                          "single loads cannot be given. Ask for the step."))  # fmt: skip
    ratio = float(np.median(used.loc[used["applied"] > 0, "reading"] / used.loc[used["applied"] > 0, "applied"]))
    if not 1 / FAR < ratio < FAR:
        notes.append(Note("far-off", f"The tester reads {ratio:.3g} times the loads. Make sure that masses, gravity "
                          "and unit are what they should be."))  # fmt: skip
    return notes
