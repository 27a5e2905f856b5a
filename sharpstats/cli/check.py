"""`sharpstats check DIR`: whether plan and readings are in order."""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from sharpstats.cli.shared import DONE, PROBLEMS, add_folder, add_json, add_large, opened, show, show_json

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from sharpstats.errors import PlanError
    from sharpstats.trial.trial import Trial

NAME = "check"
SUMMARY = "see whether plan and readings are in order"
ABOUT = """\
Read the plan and every reading, and say what was repaired in order to read it, which rows are set aside
and why, what to be careful about, and what differs from the frozen plan. Nothing is fitted, and no
file is changed."""
MORE = """\
example:
  sharpstats check my-trial
  sharpstats check my-trial --json > check.json

exit codes:
  0  in order; rows that you set aside yourself and cuts not yet made are in order too
  1  problems: mistakes in the plan, rows set aside by a rule, or differences from the frozen plan
  2  could not run: no such folder, or a file that cannot be read

next:
  mend the file and check again, or go on: sharpstats judge my-trial"""

FORMAT = "sharpstats-check/1"
LISTED = 20
NOT_CUT = "no-reading"
IN_ORDER = ("by-hand", NOT_CUT)
"""Codes of rows that are set aside without being a problem."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    add_folder(parser)
    add_json(parser, "print everything as JSON, every row set aside among it")
    add_large(parser)


def run(options: argparse.Namespace) -> int:
    """Check the trial and show what was found."""
    from sharpstats.cli.waiting import waiting
    from sharpstats.errors import PlanError

    try:
        with waiting(f"reading {options.folder}"):
            trial = opened(options)
    except PlanError as error:
        return _report_plan(error, options)
    if options.json:
        show_json(_as_data(trial))
    else:
        show("\n".join(_lines(trial, options.folder)))
    return PROBLEMS if _has_problems(trial) else DONE


def _report_plan(error: PlanError, options: argparse.Namespace) -> int:
    """Show the mistakes of a plan: for this command they are what it was asked to find."""
    if options.json:
        from sharpstats.publish.manifest import plain

        show_json({"format": FORMAT, "problems": plain(error.problems) or [{"says": str(error)}]})
    else:
        show(f"The plan has mistakes; the readings were not looked at.\n{error}")
    return PROBLEMS


def _has_problems(trial: Trial) -> bool:
    by_rule = ~trial.set_aside["code"].isin(IN_ORDER)
    return bool(by_rule.any()) or bool(trial.differences)


def _as_data(trial: Trial) -> dict[str, Any]:
    from sharpstats.publish.manifest import plain

    return {
        "format": FORMAT,
        "problems": [],
        "plan_sha256": trial.plan_sha256,
        "data_sha256": trial.data_sha256,
        "counts": plain(trial.counts),
        "set_aside": plain(trial.set_aside.to_dict("records")),
        "repairs": plain(trial.repairs),
        "cautions": plain(trial.cautions),
        "differences": list(trial.differences),
    }


def _lines(trial: Trial, folder: str) -> Iterator[str]:
    yield from _summary(trial)
    yield from _list("repaired in order to read the files", trial.repairs)
    yield from _not_yet_cut(trial)
    yield from _list("set aside", list(_rows(trial)))
    yield from _list("to be careful about", trial.cautions)
    yield from _list("different from the frozen plan", trial.differences)
    yield ""
    if _has_problems(trial):
        yield "There are problems, see above. Mend them, or go on: rows set aside stay out of the arithmetic."
    if trial.counts["used"]:
        yield f"Next: sharpstats judge {folder}"
    else:
        yield f"Next: fill in the readings, then check again: sharpstats check {folder}"


def _not_yet_cut(trial: Trial) -> Iterator[str]:
    """Tell of rows without a reading in one line: on a fresh run sheet that is all of them."""
    waiting = trial.set_aside[trial.set_aside["code"] == NOT_CUT]
    if len(waiting):
        first = waiting.iloc[0]
        yield ""
        yield f"not yet cut ({len(waiting)}): rows without a reading, the first in {first['file']}, row {first['row']}"


def _summary(trial: Trial) -> Iterator[str]:
    counts = trial.counts
    yield trial.plan.title
    yield f"  rows    {counts['read']} read: {counts['used']} used, {counts['set_aside']} set aside"
    yield (
        f"  edges   {counts['edges']} to compare, {counts['control_edges']} control edges; "
        f"cuts over the tester's range: {counts['over_range']}"
    )
    frozen = trial.frozen
    yield "  plan    " + (
        "in order, not frozen: nothing shows that it was there before the readings" if frozen is None
        else f"in order, frozen at {frozen.frozen_at}"
    )  # fmt: skip


def _list(heading: str, items: Any) -> Iterator[str]:
    if not items:
        return
    yield ""
    yield f"{heading} ({len(items)}):"
    for item in items[:LISTED]:
        yield f"  {item}"
    if len(items) > LISTED:
        yield f"  ... and {len(items) - LISTED} more; --json lists them all"


def _rows(trial: Trial) -> Iterator[str]:
    for row in trial.set_aside[trial.set_aside["code"] != NOT_CUT].to_dict("records"):
        place = f"{row['file']}, row {row['row']}" + (f", {row['column']}" if row["column"] else "")
        value = f" ({row['value']!r})" if row["value"] else ""
        yield f"{place}{value}: {row['reason']}"
