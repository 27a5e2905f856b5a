"""`sharpstats freeze DIR`: fix the plan before the first reading."""

from __future__ import annotations

import argparse

from sharpstats.cli.shared import DONE, add_folder, add_json, show, show_json, trial_folder

NAME = "freeze"
SUMMARY = "fix the plan, so that a report can say what changed since"
ABOUT = """\
Store the plan as it is now, with its fingerprint (SHA-256) and the date, in frozen.json. Do this before
the first reading: a claim and its margin count for more if they were fixed before anybody knew the
answer. Whatever is changed in the plan afterwards is listed by check and in the report. Where the plan
names a study of the tester, a margin that is smaller than what that tester can show is pointed out."""
MORE = """\
example:
  sharpstats freeze my-trial
  sharpstats freeze my-trial --amend "blade 3 broke; blade 5 takes its place"

exit codes:
  0  frozen
  2  could not: a mistake in the plan, or the plan is frozen already (use --amend)

next:
  fill in readings.csv at the bench, then: sharpstats check my-trial"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_folder(parser)
    parser.add_argument("--amend", metavar="REASON", help="freeze a changed plan anew, and keep why")
    add_json(parser, "print what frozen.json holds")


def run(options: argparse.Namespace) -> int:
    """Freeze the plan and say its fingerprint."""
    from datetime import UTC, datetime

    from sharpstats.publish.plain import plain
    from sharpstats.trial.freeze import freeze_plan

    folder = trial_folder(options.folder)
    freeze = freeze_plan(
        folder, datetime.now(UTC), amend=options.amend is not None, reason=options.amend or ""
    )
    if options.json:
        show_json(plain(freeze))
    else:
        show(f"The plan is frozen.\n  at           {freeze.frozen_at}\n  fingerprint  {freeze.plan_sha256}")
        for line in _small_margins(folder):
            show(line)
        show(f"Next: fill in the readings, then: sharpstats check {folder}")
    return DONE


def _small_margins(folder: str) -> tuple[str, ...]:
    """Point out margins that the tester study of the plan says are small, while they can still be amended."""
    from pathlib import Path

    from sharpstats.trial.toml import PLAN_FILE, read_plan

    plan = read_plan(Path(folder) / PLAN_FILE)
    if not plan.tester_study:
        return ()
    from sharpstats.claims.resolving import planned_resolution
    from sharpstats.errors import SharpstatsError
    from sharpstats.words.resolving import warnings

    try:
        found = planned_resolution(Path(folder), plan)
    except SharpstatsError as error:
        return (f"The tester study cannot be used: {error}",)
    small = () if found is None else warnings(found)
    mend = f'As long as nothing is read, a change is no shame: sharpstats freeze {folder} --amend "a larger margin"'
    return (*small, mend) if small else ()
