"""Versions as they are told in a report."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import numpy as np
import pytest

import sharpstats
from sharpstats import versions
from sharpstats.versions import PACKAGES, show_versions


def test_every_dependency_is_named() -> None:
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))
    dependencies = {re.split(r"[><=~!\[; ]", line)[0] for line in project["project"]["dependencies"]}
    assert dependencies - set(PACKAGES) == set()


def test_the_versions_are_those_that_run() -> None:
    found = versions.versions()
    assert found["sharpstats"] == sharpstats.__version__
    assert found["numpy"] == np.__version__


def test_a_missing_package_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(versions, "PACKAGES", ("no-such-package-here",))
    assert versions.versions()["no-such-package-here"] == "not installed"


def test_the_text_has_a_line_for_each() -> None:
    rows = dict(line.split(maxsplit=1) for line in show_versions().split("\n"))
    assert rows["numpy"] == np.__version__
    assert set(rows) == {*versions.versions(), "system", "machine"}
