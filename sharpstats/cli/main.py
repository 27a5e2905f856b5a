"""The command line as a whole: which commands there are, and how each of them may end.

Nothing heavy is imported here or at the top of a command, so that `--help` answers at once.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence

from sharpstats.cli import check, freeze, judge, new, publish, tester
from sharpstats.cli.shared import COULD_NOT, DONE, INTERRUPTED, NO_BREAK, NOBODY_READS, harmless, width

COMMANDS = (new, tester, check, freeze, judge, publish)

ABOUT = """\
Find out whether what you say about sharpening is true.

A trial is a folder: trial.toml is the plan with its claims, written before the first reading;
readings.csv has one row for each cut of an edge tester. Every claim ends as shown, contradicted
or open. Open does not mean "no difference": it means that these readings cannot tell."""

MORE = """\
first of all, is the tester to be trusted?
  sharpstats new --tester my-tester   write an example study of it, and edit it
  sharpstats tester my-tester     see what its numbers are worth

then, in this order:
  sharpstats new my-trial         write an example plan and run sheet, and edit them
  sharpstats freeze my-trial      fix the plan before the first reading
  sharpstats check my-trial       see whether plan and readings are in order
  sharpstats judge my-trial       see what is shown, contradicted, open
  sharpstats publish my-trial     write the notebook, web page, figures and data

exit codes:
  0  done; a contradicted claim is a result like any other
  1  done, but check found problems
  2  could not run: a mistake in the command, the plan or the files

"sharpstats COMMAND --help" tells more about each."""


def parser() -> argparse.ArgumentParser:
    """Build the parser of the whole command line.

    Examples
    --------
    >>> parser().parse_args(["check", "my-trial"]).folder
    'my-trial'
    """
    whole = argparse.ArgumentParser(
        prog="sharpstats", description=ABOUT, epilog=MORE, formatter_class=_formatter, allow_abbrev=False
    )
    whole.add_argument("--version", action="store_true", help="print the version and exit")
    commands = whole.add_subparsers(dest="command", metavar="COMMAND", title="commands")
    for command in COMMANDS:
        one = commands.add_parser(
            command.NAME, help=command.SUMMARY, description=command.ABOUT, epilog=command.MORE,
            formatter_class=_formatter, allow_abbrev=False,
        )  # fmt: skip
        command.add_arguments(one)
        one.add_argument("--traceback", action="store_true", help="on an error, show where in the code it arose")
        one.set_defaults(run=command.run)
    return whole


def _formatter(prog: str) -> argparse.HelpFormatter:
    """Keep our own line breaks. The width is asked here because argparse would load shutil for it."""
    return argparse.RawDescriptionHelpFormatter(prog, width=width())


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code.

    Parameters
    ----------
    arguments : sequence of str, optional
        The words after ``sharpstats``; those of the process if left out.

    Returns
    -------
    int
        0 done, 1 problems found, 2 could not run, 130 stopped by Ctrl-C.
    """
    _speak_utf8()
    try:
        code = _run(arguments)
        sys.stdout.flush()
    except BrokenPipeError:  # the reader, `head` say, has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return NOBODY_READS
    return code


def _run(arguments: Sequence[str] | None) -> int:
    options = parser().parse_args(arguments)
    if options.version:
        return _version()
    if options.command is None:
        parser().print_help()
        return COULD_NOT
    try:
        code: int = options.run(options)
    except KeyboardInterrupt:
        print("\nsharpstats: stopped; nothing was left half done.", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        raise
    except Exception as error:  # noqa: BLE001  a person at a bench is not shown a bare traceback
        return _explain(error, options)
    return code


def _explain(error: Exception, options: argparse.Namespace) -> int:
    """Say what stopped the command, and whose fault it is."""
    from sharpstats.errors import SharpstatsError

    at = f"sharpstats {options.command} {options.folder}"
    if options.traceback:
        import traceback

        traceback.print_exception(error)
    if isinstance(error, SharpstatsError):
        print(harmless(f"{at}: {error}").replace(NO_BREAK, " "), file=sys.stderr)
    else:
        fault = f"{at}: a fault of sharpstats, not yours: {type(error).__name__}: {error}"
        print(harmless(fault), file=sys.stderr)
        print("Run the same command with --traceback and report what it prints.", file=sys.stderr)
    return COULD_NOT


def _version() -> int:
    from sharpstats import __version__

    print(f"sharpstats {__version__}")
    return DONE


def _speak_utf8() -> None:
    """Write UTF-8 where the locale knows only ASCII; elsewhere replace what it cannot write."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is None:
            continue
        ascii_only = (stream.encoding or "ascii").lower() in {"ascii", "us-ascii", "ansi_x3.4-1968"}
        reconfigure(encoding="utf-8" if ascii_only else None, errors="replace")
