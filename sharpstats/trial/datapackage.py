"""The Frictionless Data Package of what is published: what each file and each column holds."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd

from sharpstats.columns import Column
from sharpstats.trial.guard import guard
from sharpstats.trial.numerals import PLAIN
from sharpstats.trial.plan import Publishing
from sharpstats.trial.published import WHOLE, Rows, public_table, write_csv
from sharpstats.trial.toml import DESCRIPTOR

SCHEMA_VERSION = "1"
INVENTED = "The readings are invented; nobody took them with an edge tester."
ASIDE = "Rows with a text in set_aside stay out of the arithmetic."
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


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Sheet:
    """A table of the package.

    Attributes
    ----------
    name, title : str
        Its file without `.csv`, and what is in it.
    rows : Rows
    keys : tuple of tuple of str
        Columns that may tell every row from the others; the first that do are its key.
    levels : mapping of str to sequence of str
        Columns of labels that the plan lays down, with the labels; none where it lays down only that they are labels.
    """

    name: str
    title: str
    rows: Rows
    keys: tuple[tuple[str, ...], ...]
    levels: Mapping[str, Sequence[str]] = field(default_factory=dict)

    @property
    def path(self) -> str:
        """Name of the file."""
        return f"{self.name}.csv"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Package:
    """What is published, and what is said of it.

    Attributes
    ----------
    noun : str
        What it is: a trial, a tester study.
    title, question : str
        As they may be published.
    publishing : Publishing
    keywords, sources : sequence of str
        What it is found by, and the files that it was made from.
    sheets : tuple of Sheet
    """

    noun: str
    title: str
    question: str
    publishing: Publishing
    keywords: Sequence[str]
    sources: Sequence[str]
    sheets: tuple[Sheet, ...]


def write_tables(package: Package, folder: Path) -> dict[str, pd.DataFrame]:
    """Write each table as CSV and return them as published, by name."""
    tables = {sheet.name: public_table(sheet.rows) for sheet in package.sheets}
    for sheet in package.sheets:
        write_csv(tables[sheet.name], folder / sheet.path)
    return tables


def write_descriptor(
    package: Package,
    folder: Path,
    tables: Mapping[str, pd.DataFrame],
    others: Sequence[str],
    created: datetime | None = None,
) -> None:
    """Describe tables and other files that stand in a folder already."""
    resources = [_stamped(folder, plain_resource(name)) for name in others]
    described = describe(package, tables, resources, created)
    tabular = len(package.sheets)
    described["resources"][:tabular] = [_stamped(folder, one) for one in described["resources"][:tabular]]
    text = json.dumps(described, ensure_ascii=False, indent=2, allow_nan=False)
    (folder / DESCRIPTOR).write_text(f"{text}\n", encoding="utf-8")


def describe(
    package: Package,
    tables: Mapping[str, pd.DataFrame],
    resources: Sequence[Mapping[str, Any]] = (),
    created: datetime | None = None,
) -> dict[str, Any]:
    """Return the descriptor of the published data, as plain data for JSON.

    Parameters
    ----------
    package : Package
    tables : mapping of str to DataFrame
        The published tables, by name.
    resources : sequence of mappings
        Further files of the package, described as resources.
    created : datetime, optional
        When the package was made; left out: now.
    """
    publishing = package.publishing
    moment = (created or datetime.now(UTC)).astimezone(UTC)
    described: dict[str, Any] = {
        "name": _slug(package.title) or package.noun.replace(" ", "-"),
        "title": package.title,
        "description": " ".join(filter(None, (package.question, INVENTED if publishing.invented else ""))),
        "created": moment.strftime("%Y-%m-%dT%H:%M:%SZ"),
        "schema_version": SCHEMA_VERSION,
        "invented": publishing.invented,
        "keywords": list(package.keywords),
        "licenses": _licenses(publishing.license),
        "contributors": [{"title": publishing.author, "role": "author"}] if publishing.author else [],
        "sources": [{"title": file} for file in package.sources],
        "resources": [
            *(_table_resource(package, sheet, tables[sheet.name]) for sheet in package.sheets),
            *map(dict, resources),
        ],
    }
    return {key: value for key, value in described.items() if value not in ("", [])}


def _table_resource(package: Package, sheet: Sheet, table: pd.DataFrame) -> dict[str, Any]:
    """Describe a published table: how the file is written, and each column of it."""
    fields = [_field(package, sheet, table[name]) for name in table.columns]
    schema: dict[str, Any] = {"fields": fields, "missingValues": [""]}
    key = next((key for key in sheet.keys if _is_key(table, list(key))), None)
    if key is not None:
        schema["primaryKey"] = list(key)
    hidden = [f'{name.capitalize()}s are called "{name} 1" and so on.' for name in sheet.rows.hidden if name in table]
    return {
        "name": sheet.name,
        "path": sheet.path,
        "profile": "tabular-data-resource",
        "title": sheet.title,
        "description": " ".join((ASIDE, *hidden, GUARDED)),
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"delimiter": ",", "quoteChar": '"', "doubleQuote": True, "lineTerminator": "\r\n"},
        "schema": schema,
    }


def plain_resource(name: str) -> dict[str, Any]:
    """Describe a file beside the tables."""
    suffix = Path(name).suffix
    return {
        "name": _slug(Path(name).stem) or "file",
        "path": name,
        "format": suffix.removeprefix("."),
        "mediatype": _MEDIA.get(suffix, "application/octet-stream"),
    }


def _field(package: Package, sheet: Sheet, cells: pd.Series) -> dict[str, Any]:
    name = str(cells.name)
    column = sheet.rows.column(name)
    filled = cells[cells != ""]
    kind = _type(column if name not in sheet.levels else None, filled)
    described: dict[str, Any] = {"name": guard(name), **kind}
    if column is not None:
        unit = sheet.rows.unit if column.unit == "trial" else column.unit
        described |= {"title": name.replace("_", " "), "description": column.sentence}
        described |= {"unit": unit} if unit else {}
    elif sheet.levels.get(name):
        described["description"] = f"A factor of this {package.noun}."
    else:
        described["description"] = f"A column of this {package.noun}'s own."
    constraints = _constraints(sheet, column, cells, filled, described["type"])
    return described | ({"constraints": constraints} if constraints else {})


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


def _constraints(sheet: Sheet, column: Column | None, cells: pd.Series, filled: pd.Series, kind: str) -> dict[str, Any]:
    """Return the rules that hold for every published row, those set aside included."""
    constraints: dict[str, Any] = {}
    if len(filled) == len(cells) and len(cells):
        constraints["required"] = True
    levels = sheet.levels.get(str(cells.name)) or (() if column is None else column.choices)
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
    return plain[:80].strip("-")


def _stamped(folder: Path, resource: Mapping[str, Any]) -> dict[str, Any]:
    data = (folder / resource["path"]).read_bytes()
    return {**resource, "bytes": len(data), "hash": f"sha256:{hashlib.sha256(data).hexdigest()}"}
