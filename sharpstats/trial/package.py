"""The Frictionless Data Package of a published trial: what each file and each column holds."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd

from sharpstats.columns import Column, readings_column
from sharpstats.trial.freeze import FROZEN_FILE, write_freeze
from sharpstats.trial.guard import guard
from sharpstats.trial.numerals import PLAIN
from sharpstats.trial.pseudonyms import Names, hidden_freeze, hidden_plan, hidden_text, public_names
from sharpstats.trial.published import WHOLE, anonymous, published_table, write_csv
from sharpstats.trial.toml import PLAN_FILE, plan_text
from sharpstats.trial.trial import DESCRIPTOR, PUBLISHED, Trial

SCHEMA_VERSION = "1"
INVENTED = "The readings are invented; nobody took them with an edge tester."
GUARDED = (
    "A text that begins with = + - @, a tab or a line break has an apostrophe in front, so that spreadsheet "
    "programs do not run it; take one apostrophe away to have the text as it was."
)
_MEDIA = {".csv": "text/csv", ".json": "application/json", ".toml": "application/toml"}
_LICENSES = {
    "CC-BY-4.0": "https://creativecommons.org/licenses/by/4.0/",
    "CC-BY-SA-4.0": "https://creativecommons.org/licenses/by-sa/4.0/",
    "CC0-1.0": "https://creativecommons.org/publicdomain/zero/1.0/",
}
_MOMENTS = {
    r"^\d{4}-\d\d-\d\dT\d\d:\d\d$": "%Y-%m-%dT%H:%M",
    r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d$": "%Y-%m-%dT%H:%M:%S",
}


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
    folder = Path(folder)
    table = published_table(trial)
    write_csv(table, folder / PUBLISHED)
    others = [name for name in (PLAN_FILE, "media.csv", FROZEN_FILE) if (trial.folder / name).is_file()]
    names = public_names(trial.plan, trial.frozen)
    for name in others:
        if (trial.folder / name).resolve() != (folder / name).resolve():
            _copy(trial, name, folder, names)
    resources = [_stamped(folder, plain_resource(name)) for name in others]
    package = descriptor(trial, resources, table=table, created=created)
    package["resources"][0] = _stamped(folder, package["resources"][0])
    text = json.dumps(package, ensure_ascii=False, indent=2, allow_nan=False)
    (folder / DESCRIPTOR).write_text(f"{text}\n", encoding="utf-8")
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
    trial: Trial,
    resources: Sequence[Mapping[str, Any]] = (),
    *,
    table: pd.DataFrame | None = None,
    created: datetime | None = None,
) -> dict[str, Any]:
    """Return the descriptor of the published data, as plain data for JSON.

    Parameters
    ----------
    trial : Trial
    resources : sequence of mappings
        Further files of the package, described as resources.
    table : DataFrame, optional
        The published table, where it is at hand.
    created : datetime, optional
        When the package was made; left out: now.
    """
    plan = hidden_plan(trial.plan, public_names(trial.plan, trial.frozen))
    table = published_table(trial) if table is None else table
    moment = (created or datetime.now(UTC)).astimezone(UTC)
    package: dict[str, Any] = {
        "name": _slug(plan.title),
        "title": plan.title,
        "description": " ".join(filter(None, (plan.question, INVENTED if plan.publishing.invented else ""))),
        "created": moment.strftime("%Y-%m-%dT%H:%M:%SZ"),
        "schema_version": SCHEMA_VERSION,
        "invented": plan.publishing.invented,
        "keywords": ["sharpening", "cut force", "edge tester"],
        "licenses": _licenses(plan.publishing.license),
        "contributors": [{"title": plan.publishing.author, "role": "author"}] if plan.publishing.author else [],
        "sources": [{"title": file} for file in plan.files or trial.text.units],
        "resources": [table_resource(trial, table), *map(dict, resources)],
    }
    return {key: value for key, value in package.items() if value not in ("", [])}


def table_resource(trial: Trial, table: pd.DataFrame) -> dict[str, Any]:
    """Describe the published table: how the file is written, and each column of it."""
    schema: dict[str, Any] = {"fields": [_field(trial, table[name]) for name in table.columns], "missingValues": [""]}
    if _is_key(table, ["edge", "cut"]):
        schema["primaryKey"] = ["edge", "cut"]
    people = 'Operators are called "operator 1" and so on. ' if anonymous(trial) and "operator" in table else ""
    return {
        "name": "readings",
        "path": PUBLISHED,
        "profile": "tabular-data-resource",
        "title": "Readings, one row for each cut",
        "description": f"Rows with a text in set_aside stay out of the arithmetic. {people}{GUARDED}",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"delimiter": ",", "quoteChar": '"', "doubleQuote": True, "lineTerminator": "\r\n"},
        "schema": schema,
    }


def plain_resource(name: str) -> dict[str, Any]:
    """Describe a file beside the table."""
    suffix = Path(name).suffix
    return {
        "name": _slug(Path(name).stem),
        "path": name,
        "format": suffix.removeprefix("."),
        "mediatype": _MEDIA.get(suffix, "application/octet-stream"),
    }


def _field(trial: Trial, cells: pd.Series) -> dict[str, Any]:
    name = str(cells.name)
    column = readings_column(name)
    filled = cells[cells != ""]
    field: dict[str, Any] = {"name": guard(name), **_type(column if name not in _labels(trial) else None, filled)}
    if column is not None:
        unit = trial.plan.unit if column.unit == "trial" else column.unit
        field |= {"title": name.replace("_", " "), "description": column.sentence} | ({"unit": unit} if unit else {})
    elif name in trial.plan.factors:
        field["description"] = "A factor of this trial."
    else:
        field["description"] = "A column of this trial's own."
    constraints = _constraints(trial, column, cells, filled, field["type"])
    return field | ({"constraints": constraints} if constraints else {})


def _labels(trial: Trial) -> set[str]:
    return {*trial.plan.factors, *trial.plan.layout.blocks}


def _type(column: Column | None, filled: pd.Series) -> dict[str, str]:
    """Return the narrowest type that every cell keeps to; rows set aside may hold any text."""
    kind = "text" if column is None else column.kind
    if kind == "integer" and filled.str.match(WHOLE).all():
        return {"type": "integer"}
    if kind in ("integer", "number", "reading") and filled.str.match(PLAIN).all():
        return {"type": "number"}
    if kind == "moment" and len(filled):
        for pattern, form in _MOMENTS.items():
            if filled.str.match(pattern).all():
                return {"type": "datetime", "format": form}
    return {"type": "string"}


def _constraints(trial: Trial, column: Column | None, cells: pd.Series, filled: pd.Series, kind: str) -> dict[str, Any]:
    """Return the rules that hold for every published row, those set aside included."""
    constraints: dict[str, Any] = {}
    if len(filled) == len(cells) and len(cells):
        constraints["required"] = True
    levels = trial.plan.factors.get(str(cells.name), () if column is None else column.choices)
    if levels and filled.isin(levels).all():
        constraints["enum"] = [guard(level) for level in levels]
    minimum = None if column is None or kind not in ("integer", "number") else column.minimum
    if minimum is not None and (filled.astype(float) >= minimum).all():
        constraints["minimum"] = int(minimum)
    return constraints


def _is_key(table: pd.DataFrame, names: list[str]) -> bool:
    if not set(names) <= set(table.columns):
        return False
    key = table[names]
    return not (key == "").any(axis=None) and not key.duplicated().any()


def _licenses(name: str) -> list[dict[str, str]]:
    if not name.strip():
        return []
    license = {"name": re.sub(r"[^-A-Za-z0-9._]+", "-", name).strip("-") or "other", "title": name}
    return [license | ({"path": _LICENSES[name]} if name in _LICENSES else {})]


def _slug(text: str) -> str:
    plain = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")
    return plain[:80].strip("-") or "trial"


def _stamped(folder: Path, resource: Mapping[str, Any]) -> dict[str, Any]:
    data = (folder / resource["path"]).read_bytes()
    return {**resource, "bytes": len(data), "hash": f"sha256:{hashlib.sha256(data).hexdigest()}"}


__all__ = ["descriptor", "published_table", "write_csv", "write_package"]
