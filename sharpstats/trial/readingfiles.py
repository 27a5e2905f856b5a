"""What a plan names beside it: the files with the readings, and the folder of a tester study.

Readings lie inside the trial folder. A tester study serves many trials, so it may lie elsewhere, but its
place is told from the trial folder, so that both can be moved together.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path, PureWindowsPath

from sharpstats.errors import PlanError
from sharpstats.trial.item import Item, Key, folded, list_of, report_repeats
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


def read_study_folder(item: Item) -> str:
    """Read `tester_study`: a folder, relative to that of the trial, with forward slashes."""
    name = any_text(item)
    path = PureWindowsPath(name)
    if not name or not name.isprintable() or path == PureWindowsPath():
        raise item.wrong("bad-folder-name", f"{quoted(name)} is not the name of another folder.", item.hint)
    if path.drive or path.root:
        mend = "Write where it lies from here, so that the two folders can be moved together."
        raise item.wrong("absolute-path", f"{quoted(name)} is a place on this computer alone.", f"{mend} {item.hint}")
    return path.as_posix()


STUDY_KEY = Key(name="tester_study", read=read_study_folder, example='"../my-tester"')


def _outside(item: Item, says: str) -> PlanError:
    return item.wrong("outside-folder", says, "Put the file into the folder and name it from there.")


def _inside(folder: Path, name: str) -> bool:
    try:
        return (folder / name).resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError, ValueError):  # a link that leads round in a circle, a name too long
        return False
