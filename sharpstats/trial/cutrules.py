"""Rules on cuts: each cut of an edge has a number, and one reading."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.trial.checking import Checking
from sharpstats.trial.labels import Flags, Labels
from sharpstats.trial.numerals import plain_numbers, read_numbers
from sharpstats.trial.spelling import quoted

HIGHEST = 1_000_000_000
"""A number of a cut above this is a slip."""


def check_cuts(checking: Checking, within: Labels | None = None) -> None:
    """Read the numbers of the cuts; number those that have none; set doubles aside.

    Parameters
    ----------
    checking : Checking
    within : Labels, optional
        What the cuts are numbered within; the edge if left out.

    Notes
    -----
    Where rows give the same cut of the same edge and all have the same reading, the first is kept: it is one
    cut entered twice. Where the readings differ, nobody can tell which one holds, and all are set aside.
    """
    edge = checking.labels["edge"] if within is None else within
    given, missing = given_cuts(checking)
    cut = _numbered(edge, given, missing)
    checking.typed["cut"] = pd.Series(cut)
    why = "were blank" if checking.has("cut") else "were missing, as no file has that column"
    named = missing & ~edge.rows_where([not text for text in edge.texts])
    checking.repaired("cuts-numbered", named, f"of cut {why}; cuts were numbered within their edge in file order")
    _set_doubles_aside(checking, edge, cut)


def given_cuts(checking: Checking) -> tuple[NDArray[np.int64], Flags]:
    """Return the numbers that stand in the files, and where none stands."""
    size = len(checking.frame)
    if not checking.has("cut"):
        return np.zeros(size, dtype=np.int64), np.ones(size, dtype=bool)
    plain = plain_numbers(checking.frame["cut"])
    if plain is not None and _whole(plain).all():
        return plain.astype(np.int64), np.zeros(size, dtype=bool)
    labels = checking.encoded("cut")
    numbers = read_numbers(labels.texts)
    sound = (numbers.problem == "") & (numbers.unit == "") & ~numbers.over
    sound[sound] = _whole(numbers.value[sound])
    blank = numbers.problem == "blank"
    wrong = labels.rows_where(~sound & ~blank)
    checking.asides.add(wrong, "cut", "bad-cut", "The number of a cut is a whole number from 1 upwards.")
    values = np.zeros(len(sound), dtype=np.int64)
    values[sound] = numbers.value[sound].astype(np.int64)
    return values[labels.codes], labels.rows_where(blank)


def _whole(values: NDArray[np.float64]) -> Flags:
    return (values >= 1) & (values <= HIGHEST) & (values % 1 == 0)


def _numbered(edge: Labels, given: NDArray[np.int64], missing: Flags) -> NDArray[np.int64]:
    """Number cuts without a number after the highest given one of their edge, in the order of the files."""
    if not missing.any():
        return given
    highest = np.zeros(len(edge.texts), dtype=np.int64)
    np.maximum.at(highest, edge.codes[~missing], given[~missing])
    edges = edge.codes[missing]
    cut = given.copy()
    cut[missing] = highest[edges] + pd.Series(edges).groupby(edges).cumcount().to_numpy() + 1
    return cut


def _set_doubles_aside(checking: Checking, edge: Labels, cut: NDArray[np.int64]) -> None:
    kept = checking.asides.kept
    rows = np.arange(len(kept)) if kept.all() else np.flatnonzero(kept)
    key = edge.codes[rows] * (int(cut.max(initial=0)) + 1) + cut[rows]
    doubled = _doubled(key)
    if not doubled.any():
        return
    rows = rows[doubled]
    some = pd.DataFrame({"key": key[doubled], "over": checking.over_range[rows]})
    some["reading"] = checking.typed["reading"].to_numpy()[rows]
    kinds = some.drop_duplicates()
    differ = some["key"].isin(kinds["key"][kinds["key"].duplicated()]).to_numpy()
    later = ~differ & some["key"].duplicated().to_numpy()
    _add(checking, rows[differ], cut, edge, "cut-read-twice",
         "stands in more than one row, with different readings. Keep the row that holds and set the others aside, "
         "or give them numbers of their own.")  # fmt: skip
    _add(checking, rows[later], cut, edge, "row-twice",
         "stands in an earlier row with the same reading; that row is used.")  # fmt: skip


def _doubled(key: NDArray[np.int64]) -> Flags:
    """Tell which keys occur more than once; by counting where they lie close together."""
    span = int(key.max(initial=-1)) + 1
    if span <= 4 * len(key):
        return np.bincount(key, minlength=span)[key] > 1
    return pd.Series(key).duplicated(keep=False).to_numpy()


def _add(
    checking: Checking, rows: NDArray[np.int64], cut: NDArray[np.int64], edge: Labels, code: str, says: str
) -> None:
    reasons = [f"Cut {cut[row]} of edge {quoted(edge.texts[edge.codes[row]])} {says}" for row in rows]
    checking.asides.add(rows, "cut", code, reasons, values=[str(cut[row]) for row in rows])
