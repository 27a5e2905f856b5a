from __future__ import annotations

import json
import warnings
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from sharpstats.trial.package import descriptor, write_package
from sharpstats.trial.trial import open_trial

PLAN = """\
title = "Slate or film? (Käsestein)"
question = "Which one?"
[factors]
medium = ["slate", "=film"]
[publishing]
author = "Village tool library"
"""
TEXT = """\
edge,cut,medium,strokes,role,taken_at,tool,reading,note
e1,1,slate,50,,2026-04-11T09:44,chisel,152,
e2,1,'=film,50,control,2026-04-11T09:45,chisel,148.5,<script>
"""
NOON = datetime(2026, 9, 25, 12, tzinfo=UTC)


def describe(make_folder, text: str = TEXT, plan: str = PLAN) -> dict[str, Any]:
    return descriptor(open_trial(make_folder(text, plan)), created=NOON)


def fields(package: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {field["name"]: field for field in package["resources"][0]["schema"]["fields"]}


def test_what_the_package_says_of_itself(make_folder):
    package = describe(make_folder)
    assert {key: value for key, value in package.items() if key not in ("resources", "keywords")} == {
        "name": "slate-or-film-k-sestein",
        "title": "Slate or film? (Käsestein)",
        "description": "Which one?",
        "created": "2026-09-25T12:00:00Z",
        "schema_version": "1",
        "invented": False,
        "licenses": [
            {"name": "CC-BY-4.0", "title": "CC-BY-4.0", "path": "https://creativecommons.org/licenses/by/4.0/"}
        ],
        "contributors": [{"title": "Village tool library", "role": "author"}],
        "sources": [{"title": "readings.csv"}],
    }


def test_columns_are_described(make_folder):
    described = fields(describe(make_folder))
    assert described["reading"] == {
        "name": "reading",
        "type": "number",
        "title": "reading",
        "description": "Force at which the tester's filament parted; lower is keener.",
        "unit": "gf",
        "constraints": {"required": True, "minimum": 0},
    }
    assert described["medium"]["constraints"] == {"required": True, "enum": ["slate", "'=film"]}
    assert described["role"]["constraints"] == {"required": True, "enum": ["trial", "control"]}
    assert (described["strokes"]["type"], described["cut"]["type"]) == ("integer", "integer")
    assert (described["taken_at"]["type"], described["taken_at"]["format"]) == ("datetime", "%Y-%m-%dT%H:%M")
    assert described["tool"] == {
        "name": "tool",
        "type": "string",
        "description": "A column of this trial's own.",
        "constraints": {"required": True},
    }


def test_edges_and_cuts_are_the_key_where_they_can_be(make_folder):
    assert describe(make_folder)["resources"][0]["schema"]["primaryKey"] == ["edge", "cut"]
    twice = TEXT + "e2,1,slate,50,,,chisel,160,\n"
    assert "primaryKey" not in describe(make_folder, twice)["resources"][0]["schema"]


def test_a_column_is_typed_by_all_its_rows_also_those_set_aside(make_folder):
    described = fields(describe(make_folder, TEXT + "e3,1,brick,many,,noon,x,>1500,\ne4,1,slate,5,,,x,-3,\n"))
    assert described["reading"]["type"] == "string"
    assert described["strokes"]["type"] == "string"
    assert described["taken_at"]["type"] == "string"
    assert "enum" not in described["medium"]["constraints"]


def test_a_negative_reading_takes_the_bound_away(make_folder):
    described = fields(describe(make_folder, TEXT + "e4,1,slate,5,,,x,-3,\n"))
    assert described["reading"]["type"] == "number"
    assert described["reading"]["constraints"] == {"required": True}


def test_a_factor_of_numbers_stays_text(make_folder):
    plan = PLAN.replace("[publishing]", 'strokes = ["50", "100"]\n[publishing]')
    assert fields(describe(make_folder, plan=plan))["strokes"]["type"] == "string"


def test_invented_readings_say_so(make_folder):
    package = describe(make_folder, plan=f"{PLAN}invented = true\n")
    assert package["invented"] is True
    assert package["description"] == "Which one? The readings are invented; nobody took them with an edge tester."


@pytest.mark.parametrize(
    ("license", "entry"),
    [
        ("MIT", {"name": "MIT", "title": "MIT"}),
        ("see LICENSE file", {"name": "see-LICENSE-file", "title": "see LICENSE file"}),
        ("©", {"name": "other", "title": "©"}),
    ],
)
def test_any_license_is_named(make_folder, license: str, entry: dict[str, str]):
    assert describe(make_folder, plan=f'{PLAN}license = "{license}"\n')["licenses"] == [entry]


def valid(folder: Path) -> list[list[Any]]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the validator's own
        from frictionless import Package

        report = Package(str(folder / "datapackage.json")).validate()
    return report.flatten(["rowNumber", "fieldName", "type", "note"])


def test_the_demo_is_a_valid_package(demo: Path, tmp_path: Path):
    files = write_package(open_trial(demo), tmp_path)
    assert files == ("readings.csv", "trial.toml", "media.csv", "datapackage.json")
    assert sorted(files) == sorted(path.name for path in tmp_path.iterdir())
    assert valid(tmp_path) == []


@pytest.mark.parametrize(
    "rows",
    [
        "",
        "e2,1,slate,50,,,x,160,double\n",
        "e3,1,brick,many,spare,noon,x,>1500,\n",
        ',,,,,,,,"one\ntwo"\n',
        "e4,1.0,slate,5.0,,2026-04-11,=x,-3,@x\n",
        "e5,1,slate,5,,,x,150,a,b,c\n",
        "e6,1,slate,,,,,,\n",
    ],
)
def test_damaged_readings_make_a_valid_package_too(make_folder, tmp_path_factory, rows: str):
    folder = tmp_path_factory.mktemp("published")
    write_package(open_trial(make_folder(TEXT + rows, PLAN)), folder)
    assert valid(folder) == []


def test_a_file_that_was_changed_afterwards_is_found_out(make_folder, tmp_path_factory):
    folder = tmp_path_factory.mktemp("published")
    write_package(open_trial(make_folder(TEXT, PLAN)), folder)
    table = folder / "readings.csv"
    table.write_bytes(table.read_bytes().replace(b"152", b"153"))
    assert [row[2] for row in valid(folder)] == ["hash-count"]


def test_the_descriptor_is_plain_json(make_folder, tmp_path_factory):
    folder = tmp_path_factory.mktemp("published")
    write_package(open_trial(make_folder(TEXT, PLAN)), folder, created=NOON)
    package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    assert [resource["path"] for resource in package["resources"]] == ["readings.csv", "trial.toml"]
    assert all(resource["hash"].startswith("sha256:") for resource in package["resources"])
