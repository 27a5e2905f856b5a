"""Rows set aside: who says so, about which cell, and why. Nothing is deleted."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.trial.labels import Flags

CODES = frozenset(
    {
        "by-hand", "ragged-row", "no-edge", "no-value", "unknown-level", "unknown-role", "two-values",
        "spreadsheet-error", "no-reading", "not-a-number", "not-finite", "under-range", "formula", "ambiguous-number",
        "unknown-unit", "not-positive", "negative", "bad-cut", "cut-read-twice", "row-twice",
    }
)  # fmt: skip
"""Every reason for which a row is set aside."""

_TAGGED = re.compile(r"^\[([a-z-]+)\] (.+)$", re.DOTALL)
COLUMNS = ("file", "row", "column", "value", "code", "reason")


@dataclass(frozen=True, slots=True, eq=False)
class _Entry:
    rows: NDArray[np.int64]
    column: str
    code: str
    reasons: str | NDArray[np.object_]
    cells: NDArray[np.object_] | None


class Asides:
    """Collects reasons while the rules run; each row may gather several.

    Parameters
    ----------
    frame : DataFrame
        The rows as text, with `file` and `row`.

    Attributes
    ----------
    kept : ndarray of bool, shape (rows,)
        Which rows nothing has been said against so far.
    """

    def __init__(self, frame: pd.DataFrame) -> None:
        self.frame = frame
        self.kept: Flags = np.ones(len(frame), dtype=bool)
        self._closed: Flags | None = None
        self._entries: list[_Entry] = []

    def add(
        self,
        which: Flags | NDArray[np.int64],
        column: str,
        code: str,
        reasons: str | Sequence[str] | NDArray[np.object_],
        values: Sequence[str] | None = None,
    ) -> None:
        """Set rows aside.

        Parameters
        ----------
        which : ndarray of bool or of int
            The rows, by flag or by place.
        column : str
            The column at fault.
        code : str
            Short fixed name of the rule.
        reasons : str or sequence of str
            One sentence for all, or one for each row.
        values : sequence of str, optional
            The offending texts where they are not simply the cells of that column.
        """
        rows = np.flatnonzero(which) if which.dtype == bool else which.astype(np.int64)
        texts = reasons if isinstance(reasons, str) else _objects(reasons)
        cells = None if values is None else _objects(values)
        if self._closed is not None:
            still = ~self._closed[rows]
            rows = rows[still]
            texts = texts if isinstance(texts, str) else texts[still]
            cells = None if cells is None else cells[still]
        if len(rows):
            self._entries.append(_Entry(rows, column, code, texts, cells))
            self.kept[rows] = False

    def close(self) -> None:
        """Gather no further reasons for the rows that are set aside by now."""
        self._closed = ~self.kept

    def table(self) -> pd.DataFrame:
        """Return one row for each row set aside, in the order of the file: the first reason leads.

        Examples
        --------
        >>> asides = Asides(pd.DataFrame({"reading": ["x", "1"], "file": "readings.csv", "row": [2, 3]}))
        >>> asides.add(np.array([True, False]), "reading", "not-a-number", 'The reading "x" is not a number.')
        >>> asides.table()[["row", "column", "value", "code"]]
           row   column value          code
        0    2  reading     x  not-a-number
        """
        if not self._entries:
            return self._empty()
        said = pd.concat([self._said(entry) for entry in self._entries], ignore_index=True)
        said = said.sort_values("at", kind="stable", ignore_index=True)
        first = said.drop_duplicates("at").reset_index(drop=True)
        if len(first) < len(said):
            first["reason"] = _joined(said)
        place = self.frame[["file", "row"]].iloc[first["at"].to_numpy()].reset_index(drop=True)
        return pd.concat([place, first.drop(columns="at")], axis=1)[list(COLUMNS)]

    def _said(self, entry: _Entry) -> pd.DataFrame:
        cells: object = "" if entry.cells is None else entry.cells
        if entry.cells is None and entry.column in self.frame:
            cells = self.frame[entry.column].to_numpy(dtype=object)[entry.rows]
        table = pd.DataFrame({"at": entry.rows})
        parts = {"column": entry.column, "value": cells, "code": entry.code, "reason": entry.reasons}
        for name, part in parts.items():
            table[name] = pd.Series(part, index=table.index, dtype="str")
        return table

    def _empty(self) -> pd.DataFrame:
        table = pd.DataFrame({name: pd.Series([], dtype="str") for name in COLUMNS})
        return table.astype({"row": "int64"})


def tagged(code: str, reason: str) -> str:
    """Return what the published table says in `set_aside`: the code in front of the reason.

    Examples
    --------
    >>> tagged("negative", 'The reading "-3" is negative.')
    '[negative] The reading "-3" is negative.'
    """
    return f"[{code}] {reason}"


def untagged(text: str) -> tuple[str, str]:
    """Return code and reason of a cell of `set_aside`; what people write there has the code ``by-hand``.

    Examples
    --------
    >>> untagged("[negative] The reading is negative."), untagged(" slipped ")
    (('negative', 'The reading is negative.'), ('by-hand', 'slipped'))
    """
    match = _TAGGED.match(text.strip())
    if match is not None and match.group(1) in CODES:
        return match.group(1), match.group(2)
    return "by-hand", text.strip()


def _objects(texts: Sequence[str] | NDArray[np.object_]) -> NDArray[np.object_]:
    return np.asarray(texts, dtype=object)


def _joined(said: pd.DataFrame) -> NDArray[np.object_]:
    """Join the reasons of each row; only rows with several are walked through."""
    at = said["at"].to_numpy()
    starts = np.flatnonzero(np.r_[True, at[1:] != at[:-1]])
    counts = np.diff(np.r_[starts, len(at)])
    reasons = said["reason"].to_numpy(dtype=object)
    joined = reasons[starts]
    for i in np.flatnonzero(counts > 1):
        joined[i] = "; ".join(dict.fromkeys(reasons[starts[i] : starts[i] + counts[i]]))
    return joined
