"""Find the header among the first rows of a file, and the columns that it names."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from sharpstats.columns import READINGS, Schema
from sharpstats.errors import TrialError
from sharpstats.notes import Note
from sharpstats.trial.guard import unguard
from sharpstats.trial.spelling import closest, listed
from sharpstats.trial.table import RESERVED
from sharpstats.units import ForceUnit, parse_quantity

_GAPS = re.compile(r"[\s_\-.]+")
_BRACKETED = re.compile(r"^(.*?)[\s_]*[(\[]\s*(.+?)\s*[)\]]$", re.DOTALL)
_PLURALS = {"readings": "reading", "edges": "edge", "cuts": "cut", "notes": "note"}
_COUNTED = re.compile(r"^(edge|cut|run|blade)_(id|no|nr|number|name)$")
_WITH_UNIT = {("pressure", "N"): "pressure_n", ("position", "mm"): "position_mm", ("mass", "g"): "mass_g"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """The columns of a file.

    Attributes
    ----------
    names : tuple of str
        A name for each field, in the file's order; empty where the header is blank.
    units : mapping of str to str
        Unit of force that the header gives to a column.
    index : int
        Which of the rows looked at is the header, counted from 0.
    score : int
        How many known columns it names; those that are required weigh more.
    notes : tuple of Note
        What was repaired.
    """

    names: tuple[str, ...]
    units: Mapping[str, ForceUnit]
    index: int
    score: int
    notes: tuple[Note, ...]


def find_header(
    rows: Sequence[Sequence[str]], file: str, known: Collection[str] = (), schema: Schema = READINGS
) -> Header:
    """Find the row that names most of the known columns.

    Parameters
    ----------
    rows : sequence of rows of text
        The first rows of the file.
    file : str
        Name of the file, for messages.
    known : collection of str
        Columns of the plan, beside those that every such file may have.
    schema : Schema
        The columns that such a file may have.

    Examples
    --------
    >>> header = find_header([["Trial of May", ""], ["Edge", "Reading (gf)"]], "readings.csv")
    >>> header.names, header.index, dict(header.units)
    (('edge', 'reading'), 1, {'reading': 'gf'})
    """
    keys = {_key(name): name for name in (*known, *schema.names)}
    best = _nothing(rows)
    for index, row in enumerate(rows):
        for fields in (row, _filled_from_above(rows, index, keys, schema)):
            header = _read_names(fields, index, keys, schema)
            if header.score > best.score:
                best = header
    return _with_notes(best, rows, file, schema)


def complain_of_missing(names: Sequence[str], file: str, schema: Schema = READINGS) -> None:
    """Raise if a column is missing that every such file needs, or one stands twice.

    Raises
    ------
    TrialError
        Naming the columns that were found.

    Examples
    --------
    >>> complain_of_missing(["edge", "redding"], "readings.csv")
    Traceback (most recent call last):
    ...
    sharpstats.errors.TrialError: readings.csv has no column "reading"; its columns are "edge" and "redding". ...
    """
    twice = [name for name, times in Counter(names).items() if name and times > 1]
    if twice:
        raise TrialError(
            f"{file} has {_quoted(twice)} more than once in its header. Give each column a name of its own."
        )
    missing = [name for name in schema.required if name not in names]
    if missing:
        named = [name for name in names if name]
        found = f"its columns are {_quoted(named)}" if named else "its header is blank"
        mend = " ".join(_mend(name, names, schema) for name in missing)
        raise TrialError(f"{file} has no column {_quoted(missing)}; {found}. {mend}")


def _mend(name: str, names: Sequence[str], schema: Schema) -> str:
    near = closest(name, [other for other in names if other and other not in schema.names])
    if near:
        return f'If you mean "{near}", rename it to "{name}".'
    return f'Name the column that holds the {name} "{name}".'


def _quoted(names: Sequence[str]) -> str:
    more = f" (and {len(names) - 30} more)" if len(names) > 30 else ""
    return listed(names[:30], last="and") + more


def _nothing(rows: Sequence[Sequence[str]]) -> Header:
    """Take the first row that is not blank, where no row names a known column."""
    index = next((i for i, row in enumerate(rows) if any(cell.strip() for cell in row)), 0)
    names = tuple(cell.strip() for cell in rows[index]) if rows else ()
    return Header(names=names, units={}, index=index, score=0, notes=())


def _filled_from_above(
    rows: Sequence[Sequence[str]], index: int, keys: Mapping[str, str], schema: Schema
) -> Sequence[str]:
    """Give blank fields the name above them: a header merged over two rows."""
    row = rows[index]
    if not index or all(cell.strip() for cell in row):
        return row
    above = rows[index - 1]
    return [
        above[i] if not cell.strip() and i < len(above) and _match(above[i], keys, schema)[0] else cell
        for i, cell in enumerate(row)
    ]


def _read_names(fields: Sequence[str], index: int, keys: Mapping[str, str], schema: Schema) -> Header:
    own = {key for key in map(_key, fields) if key in keys}
    names: list[str] = []
    units: dict[str, ForceUnit] = {}
    aliases: list[tuple[str, str]] = []
    for cell in fields:
        key, (name, unit) = _key(cell), _match(cell, keys, schema)
        if name is None or (key not in keys and unit is None and _key(name) in own):
            names.append(unguard(cell.strip()))  # unknown, or an alias of a column that is there under its own name
            continue
        names.append(name)
        if unit is not None:
            units[name] = unit
        if cell != name:
            aliases.append((cell.strip(), name))
    found = set(names).intersection(keys.values())
    score = len(found) + 100 * len(found.intersection(schema.required))
    return Header(names=tuple(names), units=units, index=index, score=score, notes=_spelling_note(aliases))


def _key(cell: str) -> str:
    """Bring a name to the form in which names are compared."""
    return _GAPS.sub("_", unguard(cell.strip()).casefold()).strip("_")


def _match(cell: str, keys: Mapping[str, str], schema: Schema) -> tuple[str | None, ForceUnit | None]:
    """Return the known column that a header cell means, and the unit of force it names."""
    key = _key(cell)
    if key in keys:
        return keys[key], None
    if key in _PLURALS:
        return _PLURALS[key], None
    if counted := _COUNTED.match(key):
        return counted.group(1), None
    return _match_with_unit(cell, keys, schema)


def _match_with_unit(cell: str, keys: Mapping[str, str], schema: Schema) -> tuple[str | None, ForceUnit | None]:
    bracketed = _BRACKETED.match(cell.strip())
    if bracketed is None:
        return None, None
    key, unit = _key(bracketed.group(1)), bracketed.group(2)
    if (key, unit) in _WITH_UNIT:
        return _WITH_UNIT[key, unit], None
    name = keys.get(key) or _PLURALS.get(key)
    column = None if name is None else schema.column(name)
    if column is None:
        return None, None
    if column.unit == "trial":
        quantity = parse_quantity(f"1 {unit}")
        return (name, quantity.unit) if quantity is not None and quantity.unit != "%" else (None, None)
    return (name, None) if unit.casefold() == column.unit.casefold() and unit else (None, None)


def _spelling_note(aliases: Sequence[tuple[str, str]]) -> tuple[Note, ...]:
    if not aliases:
        return ()
    pairs = ", ".join(f'"{cell[:40]}" as {name}' for cell, name in aliases)
    return (Note("header-spelling", f"column names were read by their meaning: {pairs}."),)


def _with_notes(header: Header, rows: Sequence[Sequence[str]], file: str, schema: Schema) -> Header:
    notes = list(header.notes)
    above = sum(any(cell.strip() for cell in row) for row in rows[: header.index])
    if above:
        notes.insert(0, Note("title-rows", f"{above} row(s) above the header were passed over."))
    names = list(header.names)
    for i, name in enumerate(names):
        if name in (*RESERVED, *schema.added):
            names[i] = f"{name} (as read)"
            notes.append(Note("reserved-name", f'the column "{name}" is called "{names[i]}" here, as sharpstats '
                                               f"has a column {name} of its own."))  # fmt: skip
    notes = [Note(note.code, f"{file}: {note.text}") for note in notes]
    return Header(names=tuple(names), units=header.units, index=header.index, score=header.score, notes=tuple(notes))
