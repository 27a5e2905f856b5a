"""`sharpstats tester DIR`: what the tester's numbers are worth."""

from __future__ import annotations

import argparse

from sharpstats.cli.shared import DONE, show, width

NAME = "tester"
SUMMARY = "see what the tester's numbers are worth"
ABOUT = """\
Examine a study of the tester itself: how far two cuts on one edge differ by chance, how far two people
differ, whether the tester drifts, what it reads under known masses, how finely it reads, and the
smallest difference between two edges that so many cuts can show. What the study has no readings for
is said. No file is changed."""
MORE = """\
example:
  sharpstats new --tester my-tester
  sharpstats check my-tester
  sharpstats tester my-tester

exit codes:
  0  done, whatever the tester turned out to be worth
  2  could not run: a mistake in the plan or the files, or nothing that can be answered

next:
  sharpstats publish my-tester       the same as a notebook and a web page for others
  tester_study = "../my-tester"      in a trial.toml holds its margins against this study"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("folder", metavar="DIR", help="the folder of the tester study, or its tester.toml")


def run(options: argparse.Namespace) -> int:
    """Examine the study and show what was found."""
    from sharpstats.cli.waiting import waiting
    from sharpstats.tester.study import open_tester

    with waiting(f"examining {options.folder}"):
        text = _text(open_tester(options.folder).examine())
    show(text)
    return DONE


def _text(examination: object) -> str:
    from sharpstats.words.display import as_text

    return as_text(examination, width())
