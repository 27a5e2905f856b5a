"""What `sharpstats check` found, of a trial or of a tester study, as lines and as plain data."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sharpstats.cli.check import FORMAT
from sharpstats.cli.shared import opened
from sharpstats.tester.study import TesterStudy
from sharpstats.trial.trial import Trial

LISTED = 20
NOT_CUT = "no-reading"
IN_ORDER = ("by-hand", NOT_CUT)
"""Codes of rows that are set aside without being a problem."""


@dataclass(frozen=True, kw_only=True)
class Report:
    """What a check found.

    Attributes
    ----------
    one : Trial or TesterStudy
    summary : tuple of str
        Lines at the top.
    differences : tuple of str
        From the frozen plan.
    problems, small_margins : tuple of str
        With the tester study that a plan names: why it cannot be used, and margins that it says are small.
    next_step : str
        The command that comes next.
    """

    one: Trial | TesterStudy
    summary: tuple[str, ...]
    next_step: str
    differences: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    small_margins: tuple[str, ...] = ()

    @property
    def has_problems(self) -> bool:
        """Whether there is anything to mend."""
        by_rule = ~self.one.set_aside["code"].isin(IN_ORDER)
        return bool(by_rule.any()) or bool(self.differences) or bool(self.problems)

    def data(self) -> dict[str, Any]:
        """Return everything as plain data."""
        from sharpstats.publish.plain import plain

        one = self.one
        return {
            "format": FORMAT,
            "problems": [{"says": says} for says in self.problems],
            "plan_sha256": one.plan_sha256,
            "data_sha256": one.data_sha256,
            "counts": plain(one.counts),
            "set_aside": plain(one.set_aside.to_dict("records")),
            "repairs": plain(one.repairs),
            "cautions": plain(one.cautions),
            "small_margins": list(self.small_margins),
            "differences": list(self.differences),
        }

    def lines(self, folder: str) -> Iterator[str]:
        """Yield everything as lines of text."""
        yield from self.summary
        yield from _list("repaired in order to read the files", self.one.repairs)
        yield from _not_yet_cut(self.one)
        yield from _list("set aside", list(_rows(self.one)))
        yield from _list("to be careful about", self.one.cautions)
        yield from _list("the tester study cannot be used", self.problems)
        yield from _list("smaller than what the tester can show between two edges", self.small_margins)
        yield from _list("different from the frozen plan", self.differences)
        yield ""
        if self.has_problems:
            yield "There are problems, see above. Mend them, or go on: rows set aside stay out of the arithmetic."
        if self.one.counts["used"]:
            yield f"Next: sharpstats {self.next_step} {folder}"
        else:
            yield f"Next: fill in the readings, then check again: sharpstats check {folder}"


def of_trial(options: argparse.Namespace) -> Report:
    """Check a trial."""
    trial = opened(options)
    problems, small = _against_tester(trial)
    return Report(
        one=trial, summary=tuple(_summary(trial)), next_step="judge", differences=trial.differences,
        problems=problems, small_margins=small,
    )  # fmt: skip


def of_study(options: argparse.Namespace) -> Report:
    """Check a study of the tester."""
    from sharpstats.tester.study import open_tester

    study = open_tester(options.folder)
    return Report(one=study, summary=tuple(_study_summary(study)), next_step="tester")


def _against_tester(trial: Trial) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return what is wrong with the tester study that the plan names, and the margins that it says are small."""
    if not trial.plan.tester_study:
        return (), ()
    from sharpstats.claims.resolving import resolution
    from sharpstats.errors import SharpstatsError
    from sharpstats.words.resolving import warnings

    try:
        found = resolution(trial)
    except SharpstatsError as error:
        return (str(error),), ()
    return (), () if found is None else warnings(found)


def _not_yet_cut(one: Trial | TesterStudy) -> Iterator[str]:
    """Tell of rows without a reading in one line: on a fresh run sheet that is all of them."""
    waiting = one.set_aside[one.set_aside["code"] == NOT_CUT]
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


def _study_summary(study: TesterStudy) -> Iterator[str]:
    counts = study.counts
    yield study.plan.title
    yield f"  rows    {counts['read']} read: {counts['used']} used, {counts['set_aside']} set aside"
    yield (
        f"  cuts    {counts['cuts']} on {counts['edges']} edges, operators: {counts['operators']}; "
        f"over the tester's range: {counts['over_range']}"
    )
    yield f"  loads   {counts['loads']} readings under known loads"
    yield f"  shops   {counts['shops']}"


def _list(heading: str, items: Any) -> Iterator[str]:
    if not items:
        return
    yield ""
    yield f"{heading} ({len(items)}):"
    for item in items[:LISTED]:
        yield f"  {item}"
    if len(items) > LISTED:
        yield f"  ... and {len(items) - LISTED} more; --json lists them all"


def _rows(one: Trial | TesterStudy) -> Iterator[str]:
    for row in one.set_aside[one.set_aside["code"] != NOT_CUT].to_dict("records"):
        place = f"{row['file']}, row {row['row']}" + (f", {row['column']}" if row["column"] else "")
        value = f" ({row['value']!r})" if row["value"] else ""
        yield f"{place}{value}: {row['reason']}"
