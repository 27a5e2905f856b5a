"""What the commands share: exit codes, common arguments, and how they write."""

from __future__ import annotations

import argparse
import os
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from sharpstats.trial.trial import Trial

DONE, PROBLEMS, COULD_NOT, INTERRUPTED, NOBODY_READS = 0, 1, 2, 130, 141
"""Exit codes: done; done but problems were found; could not run; Ctrl-C; the reader of a pipe left."""

NO_BREAK = "\u00a0"
"""The space between a number and its unit."""

NARROWEST, USUAL, WIDEST = 40, 100, 110


def add_folder(parser: argparse.ArgumentParser, what: str = "the trial folder, or its trial.toml") -> None:
    """Add the one argument that every command has."""
    parser.add_argument("folder", metavar="DIR", help=what)


def trial_folder(given: str) -> str:
    """Return the trial folder for a folder or its trial.toml.

    Examples
    --------
    >>> trial_folder("my-trial/trial.toml")
    'my-trial'
    """
    head, tail = os.path.split(given)
    return (head or ".") if tail == "trial.toml" else given


def add_json(parser: argparse.ArgumentParser, what: str) -> None:
    """Add `--json` to a command that reports."""
    parser.add_argument("--json", action="store_true", help=what)


def add_large(parser: argparse.ArgumentParser) -> None:
    """Add `--large` to a command that opens a trial."""
    parser.add_argument(
        "--large", action="store_true",
        help="add the readings up where they lie, in one Parquet or CSV file of plain numbers: for millions of cuts",
    )  # fmt: skip


def opened(options: argparse.Namespace) -> Trial:
    """Open the trial that the arguments name."""
    if options.large:
        from sharpstats.model.largetrial import open_large

        return open_large(options.folder)
    from sharpstats.trial.trial import open_trial

    return open_trial(options.folder)


def holds_study(given: str) -> bool:
    """Tell whether a folder is a tester study and no trial.

    Examples
    --------
    >>> holds_study("my-tester/tester.toml"), holds_study("no-such-folder")
    (True, False)
    """
    from pathlib import Path

    folder = Path(given)
    if folder.name in ("tester.toml", "trial.toml"):
        return folder.name == "tester.toml"
    return (folder / "tester.toml").is_file() and not (folder / "trial.toml").is_file()


def width() -> int:
    """Return the width for text: the terminal's within reason, or a usual one where there is none."""
    try:
        columns = os.get_terminal_size(sys.stdout.fileno()).columns
    except (OSError, ValueError):
        asked = os.environ.get("COLUMNS", "")
        columns = int(asked) if asked.isdigit() else USUAL
    return max(NARROWEST, min(columns or USUAL, WIDEST))


def harmless(text: str) -> str:
    r"""Return text without signs that would steer the terminal; a label may hold any.

    Examples
    --------
    >>> harmless("slate\x1b[2J\nfilm")
    'slate[2J\nfilm'
    >>> harmless("15\u00a0%")
    '15\xa0%'
    """
    # Python calls no space but the plain one printable, so a number would lose the one before its unit.
    return "".join(sign for sign in text if sign in f"\n\u200d{NO_BREAK}" or sign.isprintable())


def show(text: str) -> None:
    """Print text, each line wrapped to the width with its own indent kept."""
    from textwrap import fill

    room = width()
    for line in harmless(text).splitlines():
        indent = line[: len(line) - len(line.lstrip())]
        hanging = indent if len(indent) < room // 2 else ""
        wrapped = line if len(line) <= room else fill(
            line.strip(), room, initial_indent=hanging, subsequent_indent=hanging,
            break_long_words=False, break_on_hyphens=False,
        )  # fmt: skip
        print(wrapped.replace(NO_BREAK, " "))  # it has done its work, and not every terminal has it


def show_json(content: Any) -> None:
    """Print plain data as JSON, in ASCII so that no terminal or pipe can spoil it."""
    import json

    print(json.dumps(content, indent=2, allow_nan=False))
