"""`trial.toml` to `Plan`. Every mistake is told by file, line, key and mend, all of them at once."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import Any

from sharpstats.errors import PlanError, Problem
from sharpstats.trial.claimkeys import compares, read_claims
from sharpstats.trial.claimvalues import Ground
from sharpstats.trial.item import Item, Key, read_table
from sharpstats.trial.lines import key_lines
from sharpstats.trial.plan import Plan, Scale
from sharpstats.trial.plankeys import (
    SIMPLE_KEYS,
    read_factors,
    read_layout,
    read_levels,
    read_publishing,
    unknown_in_plan,
)
from sharpstats.trial.readingfiles import STUDY_KEY, read_files
from sharpstats.trial.spelling import shortened
from sharpstats.units import ForceUnit

PLAN_FILE = "trial.toml"
DESCRIPTOR = "datapackage.json"

# The tables of a plan, and what stands for one that is left out.
_SECTIONS: dict[str, Any] = {"factors": {}, "layout": {}, "levels": None, "publishing": {}, "claim": []}

# What tomllib says, and what it mostly means for somebody who writes a plan.
_SYNTAX_MENDS = {
    "Cannot overwrite": "Each key may stand once in its table: take one out.",
    "Cannot declare": "Each [table] may stand once: put its keys together; claims have two brackets, [[claim]].",
    "Expected '='": "Write key = value; a key with spaces in it needs quotes.",
    "Expected ']": "Close the brackets: [table] or [[claim]].",
    "Illegal character": "Close the quotes on the same line.",
    "Invalid value": 'Put text into quotes: "15 %". true, false and numbers have none.',
    "Unclosed array": "Close the list with ].",
    "Unclosed inline table": "Close the table with }.",
    "Unterminated string": "Close the quotes.",
}
_SYNTAX_MEND = "Write key = value; text stands in quotes. `sharpstats new DIR` writes an example to compare with."


def read_plan(path: str | Path) -> Plan:
    r"""Read the plan of a trial.

    Parameters
    ----------
    path : str or Path
        The file `trial.toml`.

    Returns
    -------
    Plan

    Raises
    ------
    PlanError
        If the file cannot be read or anything in it is wrong. `problems` lists every mistake
        with its line, and the message says them all.

    Examples
    --------
    >>> import tempfile
    >>> folder = tempfile.TemporaryDirectory()
    >>> path = Path(folder.name) / "trial.toml"
    >>> _ = path.write_text('title = "A or B?"\n[factors]\nmedium = ["A", "B"]\n', encoding="utf-8")
    >>> read_plan(path).factors["medium"]
    ('A', 'B')
    >>> folder.cleanup()
    """
    path = Path(path)
    return parse_plan(plan_text(path), file=path.name, folder=path.parent)


def plan_text(path: str | Path, *, example: str = "sharpstats new DIR") -> str:
    """Return the text of a plan: UTF-8, without byte-order mark, lines ended by a newline.

    Parameters
    ----------
    path : str or Path
    example : str
        The command that writes an example of such a plan.

    Raises
    ------
    PlanError
        If there is no such file, or it cannot be read, or it is not UTF-8.
    """
    path = Path(path)
    try:
        data = path.read_bytes()
    except FileNotFoundError as error:
        mend = f"`{example}` writes an example to begin with."
        raise _broken("no-plan", path.name, "There is no such plan.", mend) from error
    except OSError as error:
        raise _broken("unreadable", path.name, f"The plan cannot be read: {error.strerror}.") from error
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        mend = "Save it as UTF-8: in an editor, under the encodings of Save As."
        raise _broken("not-utf8", path.name, "The plan is not UTF-8 text.", mend, line=line) from error


def parse_plan(text: str, *, file: str = PLAN_FILE, folder: Path | None = None) -> Plan:
    r"""Make the plan from the text of `trial.toml`.

    Parameters
    ----------
    text : str
    file : str
        Name of the file, for messages.
    folder : Path, optional
        The trial folder: given, links in it are followed to see whether they leave it.

    Returns
    -------
    Plan

    Raises
    ------
    PlanError
        If anything is wrong, with every mistake in `problems`.

    Examples
    --------
    >>> parse_plan('title = "A or B?"\nunit = "kg"\n[factors]\nmedium = ["A", "B"]')
    Traceback (most recent call last):
    sharpstats.errors.PlanError: trial.toml, line 2, unit: `unit` must be "gf" or "N"; it is "kg". ...
    """
    root = toml_root(text, file)
    values = _values(root, folder)
    if root.problems:
        raise PlanError.gather(sorted(root.problems, key=lambda problem: problem.line or 0))
    return Plan(**values)


def toml_root(text: str, file: str) -> Item:
    """Return the whole of a TOML file as an item, with nothing wrong so far.

    Raises
    ------
    PlanError
        If the text is not TOML.
    """
    try:
        return Item(raw=tomllib.loads(text), file=file, lines=key_lines(text), problems=[])
    except RecursionError as error:
        raise _broken("syntax", file, "Lists or tables stand too deep inside each other.") from error
    except ValueError as error:  # TOMLDecodeError, or a number of absurd length
        raise _not_toml(text, file, str(error)) from error


def _not_toml(text: str, file: str, message: str) -> PlanError:
    rows = text.split("\n")
    place = re.search(r" \(at (?:line (\d+)|end of document).*\)$", message, re.DOTALL)
    line = int(place[1]) if place and place[1] else len(rows) if place else None
    what = shortened(message[: place.start()] if place else message)
    mend = next((mend for start, mend in _SYNTAX_MENDS.items() if what.startswith(start)), _SYNTAX_MEND)
    value = shortened(rows[line - 1].strip()) if line else ""
    return _broken("syntax", file, f"This is not TOML: {what}.", mend, line=line, value=value)


def _broken(code: str, file: str, says: str, mend: str = "", *, line: int | None = None, value: str = "") -> PlanError:
    return PlanError.gather([Problem(code=code, says=says, mend=mend, file=file, line=line, value=value)])


def _values(root: Item, folder: Path | None) -> dict[str, Any]:
    """Read every table, those first that others refer to."""
    values = _top(root, folder)
    unit: ForceUnit = values.get("unit", "gf")
    factors = section(root, "factors").attempt(partial(read_factors, fewest_media=_fewest_media(root)))
    layout = section(root, "layout").attempt_whole(partial(read_layout, factors=factors))
    levels = section(root, "levels").attempt_whole(partial(read_levels, unit=unit))
    scale: Scale | None = values.get("scale", None if "scale" in root.raw else "log")
    ground = Ground(factors=factors, layout=layout, scale=scale, unit=unit, levels=levels)
    return values | {
        "factors": MappingProxyType(dict(factors or {})),
        "layout": layout,
        "levels": levels,
        "publishing": section(root, "publishing").attempt_whole(read_publishing),
        "claims": section(root, "claim").attempt(partial(read_claims, ground=ground)),
    }


def _top(root: Item, folder: Path | None) -> dict[str, Any]:
    """Read the keys at the top of the file."""
    files = Key(name="readings", read=partial(read_files, folder=folder), example='"readings.csv"')
    keys = (*SIMPLE_KEYS, files, STUDY_KEY)
    known = (*(key.name for key in keys), *_SECTIONS)
    top = replace(root, raw={name: value for name, value in root.raw.items() if name not in _SECTIONS})
    values = read_table(top, keys, unknown=partial(unknown_in_plan, known=known))
    return {"files" if name == "readings" else name: value for name, value in values.items()}


def section(root: Item, name: str, sections: Mapping[str, Any] = _SECTIONS) -> Item:
    """Return a table or list of tables, or what stands for one that the file does not have."""
    return replace(root, raw=root.raw.get(name, sections[name]), path=(name,))


def _fewest_media(root: Item) -> int:
    claims = root.raw.get("claim")
    return 2 if isinstance(claims, list) and any(compares(claim) for claim in claims) else 1
