"""A hostile trial, judged once; findings made by hand."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import sharpstats as ss
from sharpstats.claims.finding import Finding, Findings, Part
from sharpstats.model.trialfit import TrialFit
from sharpstats.trial.plan import Gap, Keener, Level, NoWorse, Reaches, Same, Steadier
from sharpstats.units import Quantity

sys.path.insert(0, str(Path(__file__).parents[1]))  # for hostile.py and reference/, whatever the import mode

from reference.layouts import as_readings, crossed, made_trial

NUMBERS: dict[str, dict[str, Any]] = {
    "same": {"bound_low": -13.0435, "bound_high": 15.0},
    "no worse": {"bound_low": None, "bound_high": 15.0},
    "keener": {"bound_low": None, "bound_high": 0.0},
    "gap": {"bound_low": -13.0435, "bound_high": 15.0, "parts": (
        Part(at="learner", estimate=12.0, low=4.0, high=20.0, edges={"slate": 8, "plate": 8},
             cuts={"slate": 40, "plate": 40}),
        Part(at="practised", estimate=2.0, low=-5.0, high=10.0, edges={"slate": 8, "plate": 8},
             cuts={"slate": 40, "plate": 40}))},
    "steadier": {"bound_low": None, "bound_high": 0.0, "df": math.nan, "se": math.nan},
    "reaches": {"bound_low": None, "bound_high": 150.0, "unit": "gf", "se": math.nan, "real": None,
                "edges": {"slate": 16}, "cuts": {"slate": 80}},
}  # fmt: skip


def declared(kind: str, **keys: Any) -> Any:
    """A claim of a kind, about slate and plate."""
    common = {"id": "claim", "says": "Slate is as good as the plate", "medium": "slate"}
    made: dict[str, Callable[..., Any]] = {
        "same": lambda **k: Same(**{"than": "plate", "margin": Quantity(15.0, "%"), **k}),
        "no worse": lambda **k: NoWorse(**{"than": "plate", "margin": Quantity(15.0, "%"), **k}),
        "keener": lambda **k: Keener(**{"than": "plate", "by": Quantity(0.0, "%"), **k}),
        "gap": lambda **k: Gap(**{"than": "plate", "across": "operator", "levels": ("learner", "practised"),
                                  "margin": Quantity(15.0, "%"), **k}),
        "steadier": lambda **k: Steadier(**{"than": "plate", "by": Quantity(0.0, "%"), **k}),
        "reaches": lambda **k: Reaches(**{
            "level": Level(name="fine work", reading=Quantity(150.0, "gf")), "share": 0.9, **k}),
    }  # fmt: skip
    return made[kind](**common, **keys)


def a_finding(
    kind: str, finding: str, estimate: float, low: float, high: float, *, claim: Any = None, **changes: Any
) -> Finding:
    """A finding made by hand."""
    values: dict[str, Any] = {
        "declared": claim or declared(kind), "finding": finding, "scale": "log", "unit": "%", "estimate": estimate,
        "low": low, "high": high, "level": 0.9, "df": 11.3, "p": 0.01, "p_adjusted": 0.01, "estimate_on_scale": 0.04,
        "se": 0.03, "real": False, "edges": {"slate": 16, "plate": 16}, "cuts": {"slate": 80, "plate": 80},
    } | NUMBERS[kind] | changes  # fmt: skip
    return Finding(**values)


@pytest.fixture(scope="session")
def balanced(tmp_path_factory: pytest.TempPathFactory) -> TrialFit:
    """Every blade with every medium, two edges each, three cuts on each edge."""
    table = as_readings(crossed(np.random.default_rng(1)))
    found: TrialFit = made_trial(tmp_path_factory.mktemp("balanced") / "trial", table).fit()
    return found


@pytest.fixture(scope="session")
def make_finding() -> Callable[..., Finding]:
    """The function that makes a finding by hand."""
    return a_finding


@pytest.fixture(scope="session")
def make_claim() -> Callable[..., Any]:
    """The function that makes a claim of a kind."""
    return declared


@pytest.fixture(scope="session")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Findings:
    """The findings of a trial whose labels try to be more than labels."""
    from hostile import write_hostile_trial

    found: Findings = ss.open_trial(write_hostile_trial(tmp_path_factory.mktemp("words"))).judge()
    return found
