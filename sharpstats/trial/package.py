"""The data of a trial as they are published: the plan, the readings, and what stands beside them."""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd

from sharpstats.trial.datapackage import Package, Sheet, describe, write_descriptor, write_tables
from sharpstats.trial.freeze import FROZEN_FILE, write_freeze
from sharpstats.trial.plan import Plan
from sharpstats.trial.pseudonyms import (
    OPERATOR,
    Names,
    hidden_freeze,
    hidden_plan,
    hidden_text,
    numbered,
    planned,
    public_names,
)
from sharpstats.trial.published import Rows, public_table
from sharpstats.trial.toml import DESCRIPTOR, PLAN_FILE, plan_text
from sharpstats.trial.trial import PUBLISHED, Trial

KEYWORDS = ("sharpening", "cut force", "edge tester")
VAGUE = {OPERATOR: "The operator is missing or unknown, or the edge has two."}


def write_package(trial: Trial, folder: Path | str, created: datetime | None = None) -> tuple[str, ...]:
    """Write the data to publish into a folder: plan, readings, what stands beside them, and the descriptor.

    The folder is a trial folder again: opened, it gives the same used readings.

    Parameters
    ----------
    trial : Trial
    folder : path
        An existing folder.
    created : datetime, optional
        When the package was made; left out: now.

    Returns
    -------
    tuple of str
        Names of the files written.
    """
    folder, package = Path(folder), _package(trial)
    tables = write_tables(package, folder)
    others = [name for name in (PLAN_FILE, "media.csv", FROZEN_FILE) if (trial.folder / name).is_file()]
    names = public_names(trial.plan, trial.frozen)
    for name in others:
        if (trial.folder / name).resolve() != (folder / name).resolve():
            _copy(trial, name, folder, names)
    write_descriptor(package, folder, tables, others, created)
    return (PUBLISHED, *others, DESCRIPTOR)


def _copy(trial: Trial, name: str, folder: Path, names: Names) -> None:
    """Copy a file that stands beside the readings; the plan, frozen or not, without the names of operators."""
    if names and name == PLAN_FILE:
        (folder / name).write_text(hidden_text(plan_text(trial.folder / name), names), encoding="utf-8", newline="\n")
    elif names and name == FROZEN_FILE and trial.frozen is not None:
        write_freeze(folder, hidden_freeze(trial.frozen, names))
    else:
        shutil.copyfile(trial.folder / name, folder / name)


def descriptor(
    trial: Trial, resources: Sequence[Mapping[str, Any]] = (), *, created: datetime | None = None
) -> dict[str, Any]:
    """Return the descriptor of the published data, as plain data for JSON.

    Parameters
    ----------
    trial : Trial
    resources : sequence of mappings
        Further files of the package, described as resources.
    created : datetime, optional
        When the package was made; left out: now.
    """
    package = _package(trial)
    return describe(package, {sheet.name: public_table(sheet.rows) for sheet in package.sheets}, resources, created)


def published_table(trial: Trial) -> pd.DataFrame:
    """Return every row of a trial as it is published.

    Operators are made anonymous ("operator 1", "operator 2", ... as the plan names them, then as they first
    occur), where the plan does not ask for names as written.
    """
    return public_table(_rows(trial))


def _package(trial: Trial) -> Package:
    plan = hidden_plan(trial.plan, public_names(trial.plan, trial.frozen))
    readings = Sheet(
        name="readings", title="Readings, one row for each cut", rows=_rows(trial), keys=(("edge", "cut"),),
        levels=_levels(trial.plan),
    )  # fmt: skip
    return Package(
        noun="trial", title=plan.title, question=plan.question, publishing=plan.publishing, keywords=KEYWORDS,
        sources=plan.files or tuple(trial.text.units), sheets=(readings,),
    )  # fmt: skip


def _levels(plan: Plan) -> dict[str, Sequence[str]]:
    """Return the labels of each factor; those of blocks are free."""
    return {**dict.fromkeys(plan.layout.blocks, ()), **plan.factors}


def _rows(trial: Trial) -> Rows:
    anonymous = trial.plan.publishing.operators == "pseudonyms"
    known = numbered(OPERATOR, planned(trial.plan, trial.frozen))
    return Rows(
        text=trial.text, used=trial.readings, set_aside=trial.set_aside, unit=trial.plan.unit,
        hidden={OPERATOR: known} if anonymous else {}, vague=VAGUE,
    )  # fmt: skip


__all__ = ["descriptor", "published_table", "write_package"]
