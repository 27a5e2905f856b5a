"""What reading a file gives: a table of text that knows where each row came from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import pandas as pd

from sharpstats.columns import READINGS, Schema
from sharpstats.notes import Note
from sharpstats.units import ForceUnit

PLACE = ("file", "row")
RESERVED = (*PLACE, "over_range")
"""Columns that sharpstats adds itself; a file's own column of that name is renamed on reading."""

NoUnits: Mapping[str, Mapping[str, ForceUnit]] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True)
class Damage:
    """A row that could not be laid out under the header.

    Attributes
    ----------
    row : int
        Row in the file.
    file : str
        Name of the file.
    value : str
        The row as it stands in the file.
    reason : str
        What is wrong with it, as a sentence.
    """

    file: str
    row: int
    value: str
    reason: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TextTable:
    """Rows as text, with the file and row of each, and what was repaired to get them.

    Attributes
    ----------
    frame : DataFrame
        One row per row of the file that is not blank; every column of the file as text
        (blank: an empty text), then `file` (str) and `row` (int, counted from 1 in the file).
    repairs : tuple of Note
        What was repaired, each kind once, with count and first place.
    damage : tuple of Damage
        Rows that cannot be laid out under the header. They stay in `frame`.
    units : mapping
        For each file, the units that its header gives to columns.
    decimal_comma : bool
        Whether the way the file is separated says that its decimals are commas.
    schema : Schema
        The columns that such a file may have.
    """

    frame: pd.DataFrame
    repairs: tuple[Note, ...] = ()
    damage: tuple[Damage, ...] = ()
    units: Mapping[str, Mapping[str, ForceUnit]] = field(default_factory=lambda: NoUnits)
    decimal_comma: bool = False
    schema: Schema = READINGS

    @property
    def names(self) -> tuple[str, ...]:
        """Columns that stand in the file, in its order."""
        return tuple(name for name in self.frame.columns if name not in PLACE)


def join_tables(tables: Sequence[TextTable]) -> TextTable:
    """Put tables under one another; a column that one of them lacks is blank there.

    Examples
    --------
    >>> one = TextTable(frame=pd.DataFrame({"edge": ["e1"], "file": ["a.csv"], "row": [2]}))
    >>> two = TextTable(frame=pd.DataFrame({"note": ["hm"], "file": ["b.csv"], "row": [2]}))
    >>> join_tables([one, two]).frame
      edge note   file  row
    0   e1       a.csv    2
    1        hm  b.csv    2
    """
    if len(tables) == 1:
        return tables[0]
    names = list(dict.fromkeys(name for table in tables for name in table.names))
    frames = [table.frame.reindex(columns=[*names, *PLACE], fill_value="") for table in tables]
    return TextTable(
        frame=pd.concat(frames, ignore_index=True),
        repairs=tuple(note for table in tables for note in table.repairs),
        damage=tuple(damage for table in tables for damage in table.damage),
        units={file: units for table in tables for file, units in table.units.items()},
        decimal_comma=any(table.decimal_comma for table in tables),
        schema=tables[0].schema,
    )
