"""One row for each edge of the comparison: what the cautions look at."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sharpstats.trial.checking import Checking
from sharpstats.trial.labels import Flags, Labels, encode
from sharpstats.trial.spelling import quoted


@dataclass(frozen=True, slots=True, eq=False)
class EdgeTable:
    """Edges of the comparison (no control edges) that have a used reading.

    Attributes
    ----------
    checking : Checking
    rows : ndarray of int, shape (edges,)
        First used row of each edge, in the order of the files.
    cuts : ndarray of int, shape (edges,)
        Number of used cuts.
    controls : int
        Number of control edges, which are not among the rows.
    """

    checking: Checking
    rows: NDArray[np.int64]
    cuts: NDArray[np.int64]
    controls: int
    _labels: dict[str, Labels] = field(default_factory=dict)

    @classmethod
    def of(cls, checking: Checking) -> EdgeTable:
        """Find the edges among the rows that are used."""
        edge, role = checking.labels["edge"], checking.labels["role"]
        used = np.flatnonzero(checking.asides.kept)
        first = np.full(len(edge.texts), -1, dtype=np.int64)
        first[edge.codes[used][::-1]] = used[::-1]
        rows = np.sort(first[first >= 0])
        control = role.rows_where([text == "control" for text in role.texts])[rows]
        cuts = np.bincount(edge.codes[used], minlength=len(edge.texts))
        return cls(checking, rows[~control], cuts[edge.codes[rows[~control]]], int(control.sum()))

    def labels(self, name: str) -> Labels:
        """Return a column of labels, one for each edge; blank throughout if no file has it."""
        if name not in self._labels:
            self._labels[name] = self._find(name)
        return self._labels[name]

    def _find(self, name: str) -> Labels:
        checking = self.checking
        if name in checking.labels:
            whole = checking.labels[name]
            present, codes = np.unique(whole.codes[self.rows], return_inverse=True)
            return Labels(codes.astype(np.int64), tuple(whole.texts[i] for i in present))
        if checking.has(name):
            return encode(checking.frame[name].iloc[self.rows].str.strip())
        return Labels(np.zeros(len(self.rows), dtype=np.int64), ("",))

    def blank(self, name: str) -> Flags:
        """Tell which edges have nothing in a column."""
        labels = self.labels(name)
        return labels.rows_where([not text for text in labels.texts])

    def numbers(self, name: str) -> NDArray[np.float64]:
        """Return a column of numbers or moments, one for each edge; NaN where blank."""
        typed = self.checking.typed.get(name)
        if typed is None:
            return np.full(len(self.rows), np.nan)
        some = typed.iloc[self.rows]
        if some.dtype.kind == "M":
            moments = some.dt.tz_localize(None).to_numpy()
            return np.where(np.isnat(moments), np.nan, moments.astype("datetime64[us]").astype(np.int64))
        return some.to_numpy(dtype=float, na_value=np.nan)

    def named(self, which: Flags) -> str:
        """Name up to three of some edges."""
        edge, rows = self.checking.labels["edge"], self.rows[which]
        names = ", ".join(quoted(edge.texts[code]) for code in edge.codes[rows[:3]])
        return names + (f" and {len(rows) - 3:,} more" if len(rows) > 3 else "")
