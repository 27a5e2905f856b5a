"""Copies of the demo trial that a test may write to."""

from __future__ import annotations

import shutil
from pathlib import Path


def copy_of(demo: Path, place: Path) -> Path:
    """Copy the demo trial to `place/trial`, with the tester study that its plan names beside it; no reports."""
    without_reports = shutil.ignore_patterns("report")
    study = demo.parent / "tester-study"
    shutil.copytree(study, place / study.name, ignore=without_reports, dirs_exist_ok=True)
    return Path(shutil.copytree(demo, place / "trial", ignore=without_reports))
