"""`publish`: from a trial folder to a report folder, in one go or not at all."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from sharpstats.errors import PublishError
from sharpstats.publish.folder import NOTEBOOK, PAGE, building, refuse_foreign
from sharpstats.trial.freeze import read_freeze
from sharpstats.trial.pseudonyms import hidden_plan, public_names
from sharpstats.trial.toml import PLAN_FILE, read_plan

if TYPE_CHECKING:
    from sharpstats.trial.plan import Plan
    from sharpstats.trial.trial import Trial

Progress = Callable[[str], None]

REPORT = "report"
PATIENCE = 1.0
"""Seconds of silence."""


def publish(
    trial: Trial | str | Path, *, out: str | Path | None = None, progress: Progress | None = None
) -> Path:
    """Write the report of a trial: notebook, web page, figures, results and data.

    The trial is read anew from its folder, so that the report holds what is there now. The report
    takes its place only when it is whole; a report that stands there stays until then.

    Parameters
    ----------
    trial : Trial, str or Path
        The trial, its folder, or its ``trial.toml``.
    out : str or Path, optional
        Where the report shall stand; ``report`` in the trial folder if left out.
    progress : callable, optional
        Called with a short text before each step. If left out, steps that come after the first
        second are written to the error stream.

    Returns
    -------
    Path
        The report folder.

    Raises
    ------
    PlanError, TrialError, FitError, ClaimError
        If the trial cannot be read or judged.
    PublishError
        If the report cannot be written, or something that is no report stands in its place.
    """
    source, known = _source(trial)
    target = Path(out) if out is not None else source / REPORT
    plan = _public_plan(source)  # its mistakes are told before anything is started
    _refuse_the_trial_itself(source, target)
    refuse_foreign(target)
    with building(target) as build:
        from sharpstats.publish.kernel import run_to_end

        run_to_end(_write(source, plan, known, build, progress or now_and_then()))
    return target


def _source(trial: Trial | str | Path) -> tuple[Path, tuple[str, str] | None]:
    """Return the trial folder and, for a trial that was opened before, the fingerprints it had then."""
    if isinstance(trial, str | Path):
        path = Path(trial)
        return (path.parent if path.is_file() else path), None
    return trial.folder, (trial.plan_sha256, trial.data_sha256)


def _public_plan(source: Path) -> Plan:
    if not (source / PLAN_FILE).is_file():
        from sharpstats.trial.trial import open_trial

        open_trial(source)  # it has the words for a folder that is no trial
    plan = read_plan(source / PLAN_FILE)
    return hidden_plan(plan, public_names(plan, read_freeze(source)))


def _refuse_the_trial_itself(source: Path, target: Path) -> None:
    if source.resolve().is_relative_to(target.resolve()):
        raise PublishError(
            f"The report cannot take the place of {target.name}: the trial itself is in there. "
            "Choose another folder with --out."
        )


async def _write(
    source: Path, plan: Plan, known: tuple[str, str] | None, build: Path, tell: Progress
) -> None:
    """Fill the folder `build`: the data, then the notebook that reads them, then the page made of it."""
    from sharpstats.publish.kernel import running

    tell("starting the notebook's kernel")
    async with running(build) as kernel:
        prepared = kernel.begin(
            f"from sharpstats.publish.prepare import prepare\nprepare({str(source.resolve())!r}, {known!r})"
        )
        # The kernel loads pandas and the like on its own processor meanwhile.
        from sharpstats.publish import html, notebook

        trial_notebook = notebook.build(plan)
        html.load()
        tell("reading the trial")
        await kernel.finish(prepared)
        await notebook.execute(trial_notebook, kernel, tell)
    for warning in notebook.take_warnings(trial_notebook):
        tell(f"the notebook went on after a warning: {warning.strip()}")
    tell("writing the page")
    (build / NOTEBOOK).write_text(notebook.text(trial_notebook), encoding="utf-8")
    (build / PAGE).write_text(html.page(trial_notebook), encoding="utf-8")


def now_and_then() -> Progress:
    """Make a progress function that writes to the error stream, once a second at most.

    Examples
    --------
    >>> now_and_then()("done within a second, so nothing is said")
    """
    last = time.monotonic()

    def tell(step: str) -> None:
        nonlocal last
        if time.monotonic() - last > PATIENCE:
            last = time.monotonic()
            sys.stderr.write(f"sharpstats: {step} ...\n")
            sys.stderr.flush()

    return tell
