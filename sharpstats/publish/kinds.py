"""The kinds of folder that can be published, and which of them a folder, a plan or a report is."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from sharpstats.errors import TrialError
from sharpstats.publish.publication import RESULTS, Opened, Publication
from sharpstats.publish.tester import TESTER
from sharpstats.publish.trial import TRIAL

KINDS = (TRIAL, TESTER)


def kind_of_folder(path: Path) -> tuple[Publication, Path]:
    """Return what a folder, or the plan in it, can be published as, and the folder.

    Raises
    ------
    TrialError
        If there is no such folder, or no plan in it, or more than one.

    Examples
    --------
    >>> kind_of_folder(Path("no such folder"))
    Traceback (most recent call last):
    sharpstats.errors.TrialError: There is no folder no such folder. Name a trial folder, or make one ...
    """
    if path.is_file():
        return _kind_of_plan_file(path), path.parent
    if not path.is_dir():
        raise TrialError(f"There is no folder {path}. Name a trial folder, or make one with: sharpstats new {path}")
    found = [kind for kind in KINDS if (path / kind.plan_file).is_file()]
    if not found:
        raise TrialError(
            f"{path} has no {TRIAL.plan_file}, so it is not a trial folder, and no {TESTER.plan_file}, so it is not "
            f"the folder of a tester study. Make one with: sharpstats new {path}, or sharpstats new --tester {path}"
        )
    if len(found) > 1:
        raise TrialError(
            f"{path} has both {TRIAL.plan_file} and {TESTER.plan_file}. Name the one that you want published, for "
            f"example {path / TESTER.plan_file}, or give the tester study a folder of its own."
        )
    return found[0], path


def _kind_of_plan_file(path: Path) -> Publication:
    for kind in KINDS:
        if path.name == kind.plan_file:
            return kind
    raise TrialError(f"{path} is no plan. Name a folder, or the {' or '.join(kind.plan_file for kind in KINDS)} in it.")


def kind_of_opened(opened: Opened) -> Publication:
    """Return what an opened folder can be published as."""
    return next(kind for kind in KINDS if isinstance(opened.plan, kind.plan))


def kind_of_report(folder: Path) -> Publication | None:
    """Return what a report was published as, by what its results.json says; None for any other folder.

    Examples
    --------
    >>> kind_of_report(Path("no such folder"))
    """
    try:
        said = json.loads((folder / RESULTS).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    form = str(said.get("format", "")) if isinstance(said, dict) else ""
    return next(_marked(form), None)


def _marked(form: str) -> Iterator[Publication]:
    return (kind for kind in KINDS if form.startswith(kind.mark))
