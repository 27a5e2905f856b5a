"""`sharpstats check DIR`: whether plan and readings are in order."""

from __future__ import annotations

import argparse

from sharpstats.cli.shared import DONE, PROBLEMS, add_folder, add_json, add_large, holds_study, show, show_json

TYPE_CHECKING = False
if TYPE_CHECKING:
    from sharpstats.errors import PlanError

NAME = "check"
SUMMARY = "see whether plan and readings are in order"
ABOUT = """\
Read the plan and every reading, of a trial or of a study of the tester, and say what was repaired in order
to read it, which rows are set aside and why, what to be careful about, and what differs from the frozen plan.
Where the plan of a trial names a tester study, say which margins are smaller than what that tester can show.
No file is changed."""
MORE = """\
example:
  sharpstats check my-trial
  sharpstats check my-trial --json > check.json
  sharpstats check my-tester

exit codes:
  0  in order; rows that you set aside yourself and cuts not yet made are in order too
  1  problems: mistakes in the plan, rows set aside by a rule, or differences from the frozen plan
  2  could not run: no such folder, or a file that cannot be read

next:
  mend the file and check again, or go on: sharpstats judge my-trial, sharpstats tester my-tester"""

FORMAT = "sharpstats-check/1"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_folder(parser, "the folder of a trial or tester study, or its trial.toml or tester.toml")
    add_json(parser, "print everything as JSON, every row set aside among it")
    add_large(parser)


def run(options: argparse.Namespace) -> int:
    """Check the trial or study and show what was found."""
    from sharpstats.cli.checked import of_study, of_trial
    from sharpstats.cli.waiting import waiting
    from sharpstats.errors import PlanError

    try:
        with waiting(f"reading {options.folder}"):
            report = of_study(options) if holds_study(options.folder) else of_trial(options)
    except PlanError as error:
        return _report_plan(error, options)
    if options.json:
        show_json(report.data())
    else:
        show("\n".join(report.lines(options.folder)))
    return PROBLEMS if report.has_problems else DONE


def _report_plan(error: PlanError, options: argparse.Namespace) -> int:
    """Show the mistakes of a plan: for this command they are what it was asked to find."""
    if options.json:
        from sharpstats.publish.plain import plain

        show_json({"format": FORMAT, "problems": plain(error.problems) or [{"says": str(error)}]})
    else:
        show(f"The plan has mistakes; the readings were not looked at.\n{error}")
    return PROBLEMS
