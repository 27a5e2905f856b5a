"""`publish`: from the folder of a trial or a tester study to a report folder, in one go or not at all."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from sharpstats.errors import PublishError
from sharpstats.publish.folder import building, refuse_foreign
from sharpstats.publish.kinds import kind_of_folder, kind_of_opened
from sharpstats.publish.publication import PAGE, Publication

if TYPE_CHECKING:
    from sharpstats.tester.study import TesterStudy
    from sharpstats.trial.trial import Trial

Known = tuple[str, str]
"""Fingerprints of plan and data."""

Progress = Callable[[str], None]

REPORT = "report"
PATIENCE = 1.0
"""Seconds of silence."""


def publish(
    opened: Trial | TesterStudy | str | Path, *, out: str | Path | None = None, progress: Progress | None = None
) -> Path:
    """Write the report of a trial or a tester study: notebook, web page, figures, results and data.

    The folder is read anew, so that the report holds what is there now. The report takes its place only
    when it is whole; a report that stands there stays until then.

    Parameters
    ----------
    opened : Trial, TesterStudy, str or Path
        The trial or study, its folder, or its ``trial.toml`` or ``tester.toml``.
    out : str or Path, optional
        Where the report shall stand; ``report`` in the folder if left out.
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
        If the folder cannot be read or what it holds cannot be judged.
    PublishError
        If the report cannot be written, or something that is no report stands in its place.
    """
    kind, source, known = _source(opened)
    target = Path(out) if out is not None else source / REPORT
    kind.read_plan(source / kind.plan_file)  # its mistakes are told before anything is started
    _refuse_the_source_itself(kind, source, target)
    refuse_foreign(target)
    with building(target) as build:
        from sharpstats.publish.kernel import run_to_end

        run_to_end(_write(kind, source, known, build, progress or now_and_then()))
    return target


def _source(opened: Trial | TesterStudy | str | Path) -> tuple[Publication, Path, Known | None]:
    """Return what is published, its folder and, for one that was opened before, the fingerprints it had then."""
    if isinstance(opened, str | Path):
        return *kind_of_folder(Path(opened)), None
    return kind_of_opened(opened), opened.folder, (opened.plan_sha256, opened.data_sha256)


def _refuse_the_source_itself(kind: Publication, source: Path, target: Path) -> None:
    if source.resolve().is_relative_to(target.resolve()):
        raise PublishError(
            f"The report cannot take the place of {target.name}: the {kind.noun} itself is in there. "
            "Choose another folder with --out."
        )


async def _write(kind: Publication, source: Path, known: Known | None, build: Path, tell: Progress) -> None:
    """Fill the folder `build`: the data, then the notebook that reads them, then the page made of it."""
    from sharpstats.publish.kernel import running

    tell("starting the notebook's kernel")
    async with running(build) as kernel:
        plan_file = source.resolve() / kind.plan_file
        prepared = kernel.begin(
            f"from sharpstats.publish.prepare import prepare\nprepare({str(plan_file)!r}, {known!r})"
        )
        # The kernel loads pandas and the like on its own processor meanwhile.
        from sharpstats.publish import html, notebook

        html.load()
        tell(f"reading the {kind.noun}")
        await kernel.finish(prepared)
        executed = notebook.build(kind, kind.read_plan(build / kind.plan_file))  # the copy that names nobody
        await notebook.execute(executed, kernel, tell)
    for warning in notebook.take_warnings(executed):
        tell(f"the notebook went on after a warning: {warning.strip()}")
    tell("writing the page")
    (build / kind.notebook).write_text(notebook.text(executed), encoding="utf-8")
    page = html.page(executed, kind, {path.name for path in build.iterdir()})
    (build / PAGE).write_text(page, encoding="utf-8")


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
