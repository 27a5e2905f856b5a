"""`sharpstats tester DIR`: what the tester's numbers are worth."""

from __future__ import annotations

import argparse

from sharpstats.cli.shared import DONE, add_json, show, show_json, width

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
  sharpstats tester my-tester --json > tester.json

exit codes:
  0  done, whatever the tester turned out to be worth
  2  could not run: a mistake in the plan or the files, or nothing that can be answered

next:
  sharpstats publish my-tester       the same as a notebook and a web page for others
  tester_study = "../my-tester"      in a trial.toml holds its margins against this study"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("folder", metavar="DIR", help="the folder of the tester study, or its tester.toml")
    add_json(parser, "print what results.json of a report holds")


def run(options: argparse.Namespace) -> int:
    """Examine the study and show what was found."""
    from sharpstats.cli.waiting import waiting
    from sharpstats.tester.study import open_tester

    with waiting(f"examining {options.folder}"):
        examination = open_tester(options.folder).examine()
        if options.json:
            from sharpstats.publish.manifest import results

            content = results(examination)
        else:
            from sharpstats.words.display import as_text

            text = as_text(examination, width())
    if options.json:
        show_json(content)
    else:
        show(text)
    return DONE
