"""What the rules of the check share: the rows, the plan, and what has been found so far."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.notes import Note
from sharpstats.trial.aside import Asides
from sharpstats.trial.labels import Flags, Labels, encode
from sharpstats.trial.plan import Plan
from sharpstats.trial.table import TextTable


@dataclass(frozen=True, slots=True, eq=False)
class Checking:
    """The state of one check.

    Attributes
    ----------
    table : TextTable
        The rows as text.
    plan : Plan
    asides : Asides
        Reasons against rows.
    labels : dict of str to Labels
        Columns of labels, cleaned.
    typed : dict of str to Series
        Columns as they go into the readings, where they are not simply the text.
    repairs, cautions : list of Note
        Each rule adds its own; only the containers change.
    """

    table: TextTable
    plan: Plan
    asides: Asides
    labels: dict[str, Labels] = field(default_factory=dict)
    typed: dict[str, pd.Series] = field(default_factory=dict)
    repairs: list[Note] = field(default_factory=list)
    cautions: list[Note] = field(default_factory=list)

    @classmethod
    def begin(cls, table: TextTable, plan: Plan) -> Checking:
        """Start with nothing found."""
        over_range = pd.Series(np.zeros(len(table.frame), dtype=bool))
        return cls(table, plan, Asides(table.frame), typed={"over_range": over_range})

    @property
    def frame(self) -> pd.DataFrame:
        """The rows as text."""
        return self.table.frame

    @property
    def over_range(self) -> Flags:
        """Tell which rows have a limit as their reading."""
        return self.typed["over_range"].to_numpy()

    def has(self, name: str) -> bool:
        """Tell whether the files have a column."""
        return name in self.table.names

    def encoded(self, name: str) -> Labels:
        """Return a column as labels, as written."""
        return encode(self.frame[name])

    def column(self, name: str) -> pd.Series:
        """Return a column as it goes into the readings: cleaned, typed, or as it came."""
        if name in self.labels:
            return self.labels[name].column()
        return self.typed[name] if name in self.typed else self.frame[name]

    def place(self, which: Flags | NDArray[np.int64]) -> str:
        """Name the first of some rows."""
        at = int(np.argmax(which)) if which.dtype == bool else int(which[0])
        return f"{self.frame['file'].iloc[at]}, row {self.frame['row'].iloc[at]}"

    def repaired(self, code: str, which: Flags, says: str) -> None:
        """Note a repair once, with count and first place.

        `says` completes "12 cell(s)".
        """
        count = int(which.sum())
        if count:
            self.repairs.append(Note(code, f"{count:,} cell(s) {says} (first: {self.place(which)})."))

    def caution(self, code: str, text: str) -> None:
        """Note a caution."""
        self.cautions.append(Note(code, text))
