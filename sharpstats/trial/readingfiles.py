"""The files a plan names for its readings: inside the trial folder, and of a kind that can be read."""

from __future__ import annotations

from functools import partial
from pathlib import Path, PureWindowsPath

from sharpstats.errors import PlanError
from sharpstats.trial.item import Item, folded, list_of, report_repeats
from sharpstats.trial.spelling import listed, quoted
from sharpstats.trial.values import any_text

ENDINGS: tuple[str, ...] = (".csv", ".xlsx", ".ods", ".parquet")
"""Endings of the files with readings; capitals do not count."""


def read_files(item: Item, *, folder: Path | None) -> tuple[str, ...]:
    """Read `readings`: one file, or a list of files.

    Parameters
    ----------
    item : Item
    folder : Path or None
        The trial folder, to follow links in it; None: only the names are looked at.

    Returns
    -------
    tuple of str
        Relative to the folder, with forward slashes.
    """
    read = partial(_file, folder=folder)
    if not isinstance(item.raw, list):
        return (read(item),)
    report_repeats(item.children(), "duplicate-file", "Name each file once.", same=folded)
    return list_of(read)(item)


def _file(item: Item, *, folder: Path | None) -> str:
    name = any_text(item)
    if not name or not name.isprintable():
        raise item.wrong("bad-file-name", f"{quoted(name)} is not the name of a file.", item.hint)
    # Read as a Windows path, "C:" and backslashes are seen for what they are on any system.
    path = PureWindowsPath(name)
    if path.drive or path.root or ".." in path.parts:
        raise _outside(item, f"{quoted(name)} points outside the trial folder.")
    if path.suffix.lower() not in ENDINGS:
        says = f"{quoted(name)} does not end in {listed(ENDINGS)}."
        raise item.wrong("unknown-ending", says, "Save the readings as one of these and name that file.")
    if folder is not None and not _inside(folder, path.as_posix()):
        raise _outside(item, f"{quoted(name)} is a link to a place outside the trial folder.")
    return path.as_posix()


def _outside(item: Item, says: str) -> PlanError:
    return item.wrong("outside-folder", says, "Put the file into the folder and name it from there.")


def _inside(folder: Path, name: str) -> bool:
    try:
        return (folder / name).resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError, ValueError):  # a link that leads round in a circle, a name too long
        return False
