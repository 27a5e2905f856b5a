"""The data of a tester study as they are published: plan, tables and their description, without names."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from sharpstats.tester.pseudonyms import SHOP, hidden_plan, hidden_text, public_names, sentence_names
from sharpstats.tester.study import TesterStudy
from sharpstats.tester.toml import TESTER_FILE
from sharpstats.trial.datapackage import Package, Sheet, write_descriptor, write_tables
from sharpstats.trial.pseudonyms import OPERATOR, Names
from sharpstats.trial.published import Rows
from sharpstats.trial.toml import DESCRIPTOR, plan_text

KEYWORDS = ("sharpening", "cut force", "edge tester", "repeatability", "reproducibility")
TITLES = {
    "readings": "Cuts on edges, one row for each cut",
    "masses": "Readings under known loads, one row each",
    "shops": "Cuts in several shops, one row for each cut",
}
KEYS = {
    "readings": (("edge", "cut"), ("edge", "operator", "cut"), ("run",)),
    "masses": (("run",),),
    "shops": (("shop", "batch", "cut"),),
}
VAGUE = {
    OPERATOR: "The operator is missing.",
    SHOP: "The shop is missing.",
    "cut": "The cut is not numbered from 1 upwards, or stands in more than one row.",
}
"""What is said against a cell where the reason might quote a name."""


def write_study(study: TesterStudy, folder: Path | str, created: datetime | None = None) -> tuple[str, ...]:
    """Write the data to publish into a folder: plan, tables and the descriptor.

    The folder is that of a tester study again: opened, it gives the same used readings.

    Parameters
    ----------
    study : TesterStudy
    folder : path
        An existing folder.
    created : datetime, optional
        When the package was made; left out: now.

    Returns
    -------
    tuple of str
        Names of the files written.
    """
    folder = Path(folder)
    names = public_names(_tables(study), study.plan.publishing)
    package = _package(study, names)
    _copy_plan(study.folder / TESTER_FILE, folder / TESTER_FILE, sentence_names(names))
    write_descriptor(package, folder, write_tables(package, folder), (TESTER_FILE,), created)
    return (*(sheet.path for sheet in package.sheets), TESTER_FILE, DESCRIPTOR)


def _copy_plan(source: Path, target: Path, names: Names) -> None:
    """Copy the plan as it is where nobody is named in it, and else without the names."""
    text = plan_text(source)
    public = hidden_text(text, names)
    if public != text:
        target.write_text(public, encoding="utf-8", newline="\n")
    elif source.resolve() != target.resolve():
        shutil.copyfile(source, target)


def _package(study: TesterStudy, names: Mapping[str, Names]) -> Package:
    plan = hidden_plan(study.plan, sentence_names(names))
    sheets = tuple(
        Sheet(name=name, title=TITLES[name], rows=replace(rows, hidden=names, vague=VAGUE), keys=KEYS[name])
        for name, rows in _tables(study).items()
    )
    return Package(
        noun="tester study", title=plan.title, question=plan.question, publishing=plan.publishing, keywords=KEYWORDS,
        sources=tuple(file for text in study.texts.values() for file in text.units), sheets=sheets,
    )  # fmt: skip


def _tables(study: TesterStudy) -> dict[str, Rows]:
    """Return the tables of a study as they stand in its folder."""
    return {name: _rows(study, name) for name in study.texts}


def _rows(study: TesterStudy, name: str) -> Rows:
    text, used = study.texts[name], getattr(study, name)
    if {"mass_g", "applied"} <= set(text.names):  # the weight of a mass was worked out: it was not given
        used = used.assign(applied=used["applied"].where(used["mass_g"].isna()))
    aside = study.set_aside[study.set_aside["file"].isin(text.units)]
    return Rows(text=text, used=used, set_aside=aside, unit=study.plan.unit)
