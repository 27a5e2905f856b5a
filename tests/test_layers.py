"""Imports flow one way, heavy packages have one home, and the package itself loads none of them."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "sharpstats"
LAYERS = ["base", "trial", "model", "claims", "words figures", "publish", "cli"]
BASE = {"errors", "columns", "units", "interval", "notes", "late", "versions"}
HOMES = {
    "matplotlib": "figures", "seaborn": "figures", "statsmodels": "model",
    "nbformat": "publish", "nbclient": "publish", "nbconvert": "publish", "jupyter_client": "publish",
}  # fmt: skip
MODULES = [path for path in sorted(PACKAGE.rglob("*.py")) if path.parent != PACKAGE or path.stem in BASE]


def layer(part: str) -> int:
    """Place of a part of the package, counted from the left."""
    return next(place for place, parts in enumerate(LAYERS) if ("base" if part in BASE else part) in parts.split())


def imports(path: Path) -> Iterator[str]:
    """Every module that a file imports, wherever in the file it does so."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module == "sharpstats":
            yield from (f"sharpstats.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield "." * node.level + (node.module or "")


def name(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


@pytest.mark.parametrize("path", MODULES, ids=name)
def test_a_module_looks_only_to_the_left(path: Path) -> None:
    own = layer(name(path).removesuffix(".py").split("/")[0])
    ours = [module.split(".")[1] for module in imports(path) if module.startswith("sharpstats.")]
    parts = [part for part in ours if (PACKAGE / part).is_dir() or part in BASE]
    assert [part for part in parts if layer(part) > own] == []


@pytest.mark.parametrize("path", MODULES, ids=name)
def test_heavy_packages_stay_at_home(path: Path) -> None:
    home = name(path).split("/")[0]
    heavy = {module.split(".")[0] for module in imports(path)} & set(HOMES)
    assert {package for package in heavy if HOMES[package] != home} == set()


def test_every_folder_of_the_package_has_its_layer() -> None:
    folders = {path.name for path in PACKAGE.iterdir() if (path / "__init__.py").exists()}
    assert folders == {part for parts in LAYERS[1:] for part in parts.split()}


@pytest.mark.parametrize("line", ["import sharpstats", "from sharpstats.cli.main import parser; parser()"])
def test_neither_the_package_nor_its_help_loads_anything_heavy(line: str) -> None:
    heavy = sorted({*HOMES, "pandas", "numpy", "scipy"})
    code = f"{line}\nimport sys\nprint([name for name in {heavy} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
