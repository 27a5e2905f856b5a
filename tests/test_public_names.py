"""The public face: these names and no others, each where it says it is."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

import sharpstats

PUBLIC = {
    "ClaimError",
    "Finding",
    "Findings",
    "FitError",
    "Interval",
    "MixedFit",
    "Note",
    "Plan",
    "PlanError",
    "PublishError",
    "Quantity",
    "SharpstatsError",
    "TesterStudy",
    "Trial",
    "TrialError",
    "TrialFit",
    "__version__",
    "anova",
    "fit_mixed",
    "freeze_plan",
    "open_large",
    "open_tester",
    "open_trial",
    "read_plan",
    "show_versions",
}


def test_the_public_names_are_these() -> None:
    assert set(sharpstats.__all__) == PUBLIC
    assert len(sharpstats.__all__) == len(PUBLIC)
    assert dir(sharpstats) == sorted(PUBLIC)


@pytest.mark.parametrize("name", sorted(PUBLIC - {"__version__"}))
def test_a_public_name_has_its_home_and_its_docstring(name: str) -> None:
    value = getattr(sharpstats, name)
    assert value.__name__ == name
    assert value.__module__.startswith("sharpstats.")
    assert value.__doc__
    assert getattr(sharpstats, name) is value


def test_no_public_name_is_hidden_by_a_package_or_module() -> None:
    """Importing `sharpstats.x` sets the attribute x: a public name x would then be the module."""
    parts = {path.stem for path in Path(sharpstats.__file__).parent.iterdir()}
    assert PUBLIC & parts == set()


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="module 'sharpstats' has no attribute 'fit_mixd'"):
        sharpstats.fit_mixd  # noqa: B018


def test_the_version_is_the_one_of_the_distribution() -> None:
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["version"] == sharpstats.__version__


def test_the_opening_says_how_to_start() -> None:
    assert sharpstats.__doc__
    for word in ("sharpstats new", "trial.toml", "open_trial", "shown", "contradicted", "open"):
        assert word in sharpstats.__doc__
