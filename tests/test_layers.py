"""The shape of the package: which module may import which, and what stays in its home.

Read from the source, so that an import inside a function counts too.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from sharpstats.late import DOORS

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "sharpstats"

# From left to right; a module may import its own package and whatever stands further left.
# Figures take their labels and numbers from the words, never the other way round.
LAYERS: tuple[frozenset[str], ...] = (
    frozenset({"errors", "columns", "units", "interval", "notes", "late", "versions"}),
    frozenset({"trial"}),
    frozenset({"layout", "model"}),
    frozenset({"tester"}),
    frozenset({"claims"}),
    frozenset({"repeats"}),
    frozenset({"words"}),
    frozenset({"figures"}),
    frozenset({"publish", "bench"}),
    frozenset({"cli"}),
    frozenset({"__main__"}),
)
BASE = LAYERS[0]
PLACE = {name: place for place, layer in enumerate(LAYERS) for name in layer}

# Beyond the layers: whoever sits at the bench cannot peek at the arithmetic.
FORBIDDEN = {("bench", "model")}

HOMES = {
    "duckdb": "model",
    "matplotlib": "figures",
    "seaborn": "figures",
    "jupyter_client": "publish",
    "nbclient": "publish",
    "nbconvert": "publish",
    "nbformat": "publish",
    "statsmodels": "model",
    "ipywidgets": "bench",
}

RANDOM = {"default_rng", "Generator", "SeedSequence"}

MODULES: dict[str, Path] = {
    ".".join(("sharpstats", *path.relative_to(PACKAGE).with_suffix("").parts)).removesuffix(".__init__"): path
    for path in sorted(PACKAGE.rglob("*.py"))
}


@cache
def tree(module: str) -> ast.Module:
    return ast.parse(MODULES[module].read_text(encoding="utf-8"), filename=module)


def part(module: str) -> str:
    """Return the package below sharpstats, or the module right in it: ``sharpstats.trial.toml`` -> trial."""
    return module.split(".")[1] if "." in module else ""


def imports(module: str) -> Iterator[tuple[str, int]]:
    """Give every module that a module imports anywhere, by its full name, with the line."""
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.Import):
            yield from ((name.name, node.lineno) for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            source = absolute(module, node)
            for name in node.names:
                whole = f"{source}.{name.name}"
                yield (whole if whole in MODULES else source), node.lineno


def absolute(module: str, node: ast.ImportFrom) -> str:
    if not node.level:
        return node.module or ""
    parts = module.split(".")
    kept = len(parts) - node.level + (MODULES[module].name == "__init__.py")
    return ".".join([*parts[:kept], *filter(None, [node.module])])


def allowed(importer: str, imported: str) -> bool:
    """Return whether a part may import another."""
    if importer == imported:
        return True
    if imported not in PLACE or (importer, imported) in FORBIDDEN:
        return False
    return PLACE[imported] < PLACE[importer] or {importer, imported} <= BASE


def test_every_module_has_its_layer() -> None:
    assert {part(module) for module in MODULES} - {""} <= set(PLACE)


@pytest.mark.parametrize(
    ("importer", "imported", "expected"),
    [
        ("model", "trial", True),
        ("trial", "trial", True),
        ("notes", "errors", True),
        ("trial", "model", False),
        ("errors", "trial", False),
        ("layout", "model", False),
        ("model", "layout", False),
        ("bench", "trial", True),
        ("bench", "model", False),
        ("figures", "cli", False),
        ("cli", "publish", True),
        ("cli", "nonsense", False),
    ],
)
def test_the_rule_itself(importer: str, imported: str, expected: bool) -> None:
    assert allowed(importer, imported) is expected


@pytest.mark.parametrize("module", [module for module in MODULES if module != "sharpstats"])
def test_imports_only_from_the_left(module: str) -> None:
    own = [(name, line) for name, line in imports(module) if name.startswith("sharpstats.")]
    wrong = [f"line {line}: {name}" for name, line in own if not allowed(part(module), part(name))]
    assert wrong == [], f"{module} imports from its right"


def test_nothing_comes_from_the_public_face_but_the_version() -> None:
    wrong = [
        f"{module}, line {node.lineno}"
        for module in MODULES
        for node in ast.walk(tree(module))
        if isinstance(node, ast.ImportFrom)
        and absolute(module, node) == "sharpstats"
        and {name.name for name in node.names if f"sharpstats.{name.name}" not in MODULES} - {"__version__"}
    ]
    assert wrong == [], "import from the module that has the name"


def test_the_doors_to_the_right_are_these() -> None:
    assert DOORS == {
        "fit": "sharpstats.model.trialfit:fit_trial",
        "examine": "sharpstats.tester.examine:examine",
        "judge": "sharpstats.claims.judge:judge_trial",
        "fragility": "sharpstats.claims.fragility:fragility",
        "publish": "sharpstats.publish.publish:publish",
        "html": "sharpstats.words.display:as_html",
        "text": "sharpstats.words.display:as_text",
    }


def test_imports_by_name_stand_only_where_they_are_meant() -> None:
    """A module's name as text would pass by the test of layers."""
    found = {
        module
        for module in MODULES
        for node in ast.walk(tree(module))
        if (isinstance(node, ast.Name) and node.id in ("import_module", "__import__"))
        or (isinstance(node, ast.Attribute) and node.attr == "import_module")
    }
    assert found <= {"sharpstats", "sharpstats.late", "sharpstats.cli.main"}


@pytest.mark.parametrize(("package", "home"), HOMES.items())
def test_a_heavy_package_stays_in_its_home(package: str, home: str) -> None:
    elsewhere = [
        f"{module}, line {line}"
        for module in MODULES
        for imported, line in imports(module)
        if imported.split(".")[0] == package and part(module) != home
    ]
    assert elsewhere == []


def test_randomness_comes_from_a_generator() -> None:
    wrong = [
        f"{module}, line {line}: {name}"
        for module in MODULES
        for name, line in uses_of_numpy_random(tree(module))
        if name not in RANDOM
    ]
    assert wrong == [], "use numpy.random.default_rng with a seed"


def uses_of_numpy_random(module: ast.Module) -> Iterator[tuple[str, int]]:
    for node in ast.walk(module):
        if isinstance(node, ast.Attribute) and ast.unparse(node.value) in ("np.random", "numpy.random"):
            yield node.attr, node.lineno
        elif isinstance(node, ast.ImportFrom) and node.module == "numpy.random":
            yield from ((name.name, node.lineno) for name in node.names)
        elif isinstance(node, ast.Import):
            yield from ((name.name, node.lineno) for name in node.names if name.name in ("numpy.random", "random"))


def test_uses_of_random_numbers_are_seen() -> None:
    source = "np.random.seed(1)\nfrom numpy.random import rand\nimport random\nrng = np.random.default_rng(1)"
    found = sorted(uses_of_numpy_random(ast.parse(source)), key=lambda use: use[1])
    assert found == [("seed", 1), ("rand", 2), ("random", 3), ("default_rng", 4)]


def dataclasses_in(module: ast.Module) -> Iterator[tuple[str, bool]]:
    """Give the name of each dataclass, and whether it is frozen."""
    for node in ast.walk(module):
        for decorator in node.decorator_list if isinstance(node, ast.ClassDef) else ():
            call = decorator if isinstance(decorator, ast.Call) else None
            name = ast.unparse(call.func if call else decorator)
            if name.split(".")[-1] == "dataclass":
                options = {option.arg: ast.unparse(option.value) for option in call.keywords} if call else {}
                yield node.name, options.get("frozen") == "True"


def test_every_dataclass_is_frozen() -> None:
    found = [(f"{module}.{name}", frozen) for module in MODULES for name, frozen in dataclasses_in(tree(module))]
    assert "sharpstats.trial.plan.Plan" in dict(found)
    thawed = [name for name, frozen in found if not frozen]
    assert not thawed, f"not frozen: {', '.join(thawed)}"


def test_a_dataclass_that_is_not_frozen_is_seen() -> None:
    heads = ("dataclass", "dataclasses.dataclass(slots=True)", "dataclass(frozen=False)", "dataclass(frozen=True)")
    source = "\n".join(f"@{head}\nclass A{number}: pass" for number, head in enumerate(heads))
    assert list(dataclasses_in(ast.parse(source))) == [("A0", False), ("A1", False), ("A2", False), ("A3", True)]


# --- in a fresh process --------------------------------------------------------------------------

ALONE = """
import importlib, sys, traceback
for name in {names!r}:
    for loaded in [key for key in sys.modules if key.split(".")[0] == "sharpstats"]:
        del sys.modules[loaded]
    try:
        importlib.import_module(name)
    except BaseException:
        print(name, traceback.format_exc())
"""


def python(source: str) -> str:
    """Run a program in a fresh process with warnings as errors, and return what it prints."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", source], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("layer", LAYERS, ids=lambda layer: " ".join(sorted(layer)))
def test_each_module_imports_alone(layer: frozenset[str]) -> None:
    """The package is forgotten before each module; only what others made stays loaded."""
    names = [module for module in MODULES if part(module) in layer and part(module) != "__main__"]
    trouble = python(ALONE.format(names=names))
    assert not trouble, trouble


LOADED = "{line}; import sys; print(*sorted({{name.split('.')[0] for name in sys.modules}} & {heavy!r}))"
HEAVY = {*HOMES, "numpy", "pandas", "scipy", "pyarrow", "IPython"}


HELP = "from sharpstats.cli.main import parser; parser().format_help()"
LIGHT = ["sharpstats", *(f"sharpstats.{name}" for name in ("trial.plan", "trial.toml", "trial.freeze", "cli.main"))]


@pytest.mark.parametrize("line", [*(f"import {module}" for module in LIGHT), HELP])
def test_loads_nothing_heavy(line: str) -> None:
    """The package, its plans, and the command line until a command runs."""
    assert python(LOADED.format(line=line, heavy=HEAVY)).split() == []


def test_what_is_heavy_is_seen() -> None:
    loaded = python(LOADED.format(line="import sharpstats.trial.check", heavy=HEAVY)).split()
    assert {"numpy", "pandas"} <= set(loaded)
