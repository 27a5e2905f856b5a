"""Cuts in the order in which they were made, with the edge and the hand taken out of each reading.

What is left of a reading says how far it lies off its like: the mean of the cuts by the same operator
on the same edge. Taking means out costs degrees of freedom, and ties cuts that share a mean to one
another; both are kept with the series, so that nothing after it takes the cuts for independent.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg

from sharpstats.errors import FitError
from sharpstats.notes import Note
from sharpstats.tester.overrange import without_over_range
from sharpstats.tester.scale import on_scale
from sharpstats.trial.plan import Scale

Floats = NDArray[np.float64]

LIKE = ("load", "direction", "edge", "operator", "tester")
"""Cuts, or readings under a load, that have these in common are alike but for chance and drift."""
FEWEST = 10
"""Readings below which a series says nothing of drift; common practice, no source."""


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Series:
    """Deviations of cuts from their like, in the order of the cuts.

    Attributes
    ----------
    cuts : DataFrame
        One row a cut, in order: `turn`, `reading` and the labels that were recorded.
    deviations : ndarray of shape (n,)
        On the study's scale, each with the standard deviation of a single cut; the readings
        themselves where all cuts are alike.
    basis : ndarray of shape (n, p)
        Orthonormal columns of what was taken out; none (p = 0) where all cuts are alike.
    taken_out : tuple of str
        Columns whose effects were taken out, jointly or one by one.
    notes : tuple of Note
    """

    cuts: pd.DataFrame
    deviations: Floats
    basis: Floats = field(repr=False)
    taken_out: tuple[str, ...]
    notes: tuple[Note, ...]

    @property
    def df(self) -> float:
        """Degrees of freedom of the values about their centre."""
        return float(len(self.deviations) - max(self.basis.shape[1], 1))

    @property
    def own(self) -> Floats:
        """Standard deviation that taking means out leaves of each cut, (n,)."""
        return np.sqrt(1 - np.square(self.basis).sum(axis=1))

    @property
    def neighbours(self) -> Floats:
        """Standard deviation of each difference of neighbours, for cuts of standard deviation 1, (n - 1,)."""
        shared = (self.basis[1:] * self.basis[:-1]).sum(axis=1)
        return np.sqrt(2 * (1 + shared / (self.own[1:] * self.own[:-1])))

    def steady(self, noise: Floats) -> Floats:
        """Turn independent noise of shape (draws, n) into series of a steady tester on this layout."""
        return (noise - (noise @ self.basis) @ self.basis.T) / self.own


def cut_series(readings: pd.DataFrame, scale: Scale) -> Series:
    """Put cuts in their order and take out what edge, operator and tester add.

    Parameters
    ----------
    readings : DataFrame
        One row a cut: `reading`, `turn`, and where recorded `edge`, `operator`, `tester` and other
        labels. Without `edge` (a check mass, one reference edge) all cuts are alike.
    scale : {"log", "as read"}

    Returns
    -------
    Series

    Raises
    ------
    FitError
        If the order is unknown, cuts are too few, or all are equal.

    Notes
    -----
    The mean of each operator on each edge is taken out where most cuts have a second one like them;
    else the effects of edge and operator one by one. A deviation r_i with leverage h_i is divided
    by √(1 − h_i), so that each keeps the spread of a single cut.

    Examples
    --------
    >>> table = pd.DataFrame({"reading": [5.0, 7.0, 6.1, 7.9] * 3, "edge": ["a", "b"] * 6, "turn": range(12)})
    >>> found = cut_series(table, "as read")
    >>> found.df, found.deviations[:2].round(3)
    (10.0, array([-0.602, -0.493]))
    """
    _check_order(readings)
    used, notes = without_over_range(readings)
    used = used.sort_values("turn", kind="stable").reset_index(drop=True)
    likes = [name for name in LIKE if name in used and used[name].nunique() > 1]
    cells = used.groupby(likes, observed=True, sort=False).ngroup() if likes else pd.Series(0, index=used.index)
    sizes = cells.map(cells.value_counts())
    jointly = len(likes) < 2 or (sizes > 1).mean() >= 0.5
    marks = [cells] if jointly else [used[name] for name in likes]
    alone = _alone(marks, sizes, jointly)
    if alone.any():
        many = "1 reading has" if alone.sum() == 1 else f"{int(alone.sum())} readings have"
        text = f"{many} no other of the same {' and '.join(likes)} to be held against"
        notes = (*notes, Note("no-like", f"{text}: left out here."))
        used, marks = used[~alone].reset_index(drop=True), [mark[~alone] for mark in marks]
    _check_enough(len(used), int(alone.sum()))
    values = on_scale(used, scale)
    if np.ptp(values) == 0:
        raise FitError("All readings are equal, so there is no spread to judge a drift by. Does the tester's "
                       "display move at all, and what step does it round to?")  # fmt: skip
    basis = _basis(marks) if likes else np.zeros((len(used), 0))
    series = Series(cuts=used, deviations=values, basis=basis, taken_out=tuple(likes), notes=notes)
    if not likes:
        return series
    _check_left(series)
    left = Series(cuts=used, deviations=series.steady(values - values.mean()), basis=basis, taken_out=tuple(likes),
                  notes=notes)  # fmt: skip
    if np.abs(left.deviations).max() <= 1e-12 * np.abs(values).max():
        raise FitError(f"All readings of the same {', '.join(likes)} are equal, so there is no spread to judge a "
                       "drift by. Ask what step the tester rounds to.")  # fmt: skip
    return left


def _check_order(readings: pd.DataFrame) -> None:
    if "turn" not in readings or readings["turn"].isna().any():
        raise FitError(
            "Nothing says in which order the readings were taken, so nobody can tell whether the tester drifts. Number "
            "them in the column `run` as they are taken, or note the time of each in `taken_at`."
        )
    if readings["turn"].duplicated().any():
        place = readings.loc[readings["turn"].duplicated(), "turn"].iloc[0]
        raise FitError(f"Two readings have the same place ({place:g}) in the order. Give each its own.")


def _check_enough(readings: int, alone: int) -> None:
    if readings < FEWEST:
        left = f" that have another of their like ({alone} have none)" if alone else ""
        raise FitError(
            f"{readings} reading(s) in order{left} can show no drift: {FEWEST} are the fewest that are looked at, and "
            "about 30 tell something. Read one check mass or one reference edge again and again, noting the order."
        )


def _check_left(series: Series) -> None:
    if series.df < FEWEST - 1:
        raise FitError(
            f"With the means of {', '.join(series.taken_out)} taken out, {series.df:g} degree(s) of freedom are "
            f"left of {len(series.deviations)} readings: too few to see a drift. Take more of each."
        )


def _alone(marks: list[pd.Series], sizes: pd.Series, jointly: bool) -> NDArray[np.bool_]:
    """Cuts that are the only one of their cell, edge, operator or tester."""
    if jointly:
        return (sizes == 1).to_numpy()
    return np.any([mark.map(mark.value_counts()).to_numpy() == 1 for mark in marks], axis=0)


def _basis(marks: list[pd.Series]) -> Floats:
    """Orthonormal columns that span the levels of all marks."""
    coded = [pd.factorize(mark)[0] for mark in marks]
    columns = [np.eye(codes.max() + 1)[codes] for codes in coded]
    if len(columns) == 1:
        return columns[0] / np.sqrt(columns[0].sum(axis=0))
    basis: Floats = linalg.orth(np.hstack(columns), rcond=1e-9)
    return basis
