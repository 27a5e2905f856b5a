"""Small trial folders for the tests of this layer."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from sharpstats.trial.check import Checked, check
from sharpstats.trial.plan import Plan
from sharpstats.trial.read import read_table
from sharpstats.trial.table import TextTable

PLAN = """\
title = "Slate or film?"
[factors]
medium = ["roofing slate", "lapping film"]
"""

MakeFolder = Callable[..., Path]
ReadText = Callable[..., TextTable]
CheckText = Callable[..., Checked]


@pytest.fixture
def make_folder(tmp_path: Path) -> MakeFolder:
    """Write a trial folder: the text or bytes of its readings, and its plan."""

    def make(readings: str | bytes, plan: str = PLAN, name: str = "readings.csv") -> Path:
        data = readings.encode() if isinstance(readings, str) else readings
        (tmp_path / name).write_bytes(data)
        (tmp_path / "trial.toml").write_text(plan, encoding="utf-8")
        return tmp_path

    return make


@pytest.fixture
def read_text(tmp_path: Path) -> ReadText:
    """Write a file and read it as a table of text."""

    def read(data: str | bytes, name: str = "readings.csv", known: tuple[str, ...] = ()) -> TextTable:
        path = tmp_path / name
        path.write_bytes(data.encode() if isinstance(data, str) else data)
        return read_table(path, known)

    return read


@pytest.fixture
def check_text(read_text: ReadText) -> CheckText:
    """Check the text of a CSV file against a plan with the media "slate" and "film"."""

    def run(data: str | bytes, **plan: object) -> Checked:
        settings = {"title": "Slate or film?", "factors": {"medium": ("slate", "film")}} | plan
        return check(read_text(data), Plan(**settings))

    return run


@pytest.fixture
def frame() -> Callable[..., pd.DataFrame]:
    """Make a frame of text as reading gives it."""

    def make(**columns: list[str]) -> pd.DataFrame:
        table = pd.DataFrame(columns, dtype="str")
        table["file"] = pd.Series("readings.csv", index=table.index, dtype="str")
        table["row"] = range(2, len(table) + 2)
        return table

    return make
