"""Cautions at the bench, and what a trial does not say."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from reference.layouts import as_readings, crossed, made_trial

from sharpstats.claims.finding import Findings
from sharpstats.model.trialfit import TrialFit
from sharpstats.trial.trial import open_trial
from sharpstats.words.cautions import limits, safety


@pytest.mark.parametrize(
    "matter",
    ["cut-resistant glove", "clamp the blade", "away from your body", "eyes at any powered wheel", "crystalline silica",
     "off the skin and out of the lungs", "Count the blades", "local rules"],
)  # fmt: skip
def test_each_danger_is_named(matter: str) -> None:
    assert sum(matter in point for point in safety().points) == 1


def test_what_the_demo_does_not_say(judged: Findings) -> None:
    points = limits(judged).points
    assert points[0] == "The readings are invented: they say nothing about anything real."
    assert points[1].startswith("The pieces, not their kinds: each medium (oilstone, diamond plate, ")
    blades = judged.fit.data["blade"].nunique()
    assert f"It holds for blades like the {blades} of this trial" in points[2]
    hands = judged.fit.data["operator"].nunique()
    assert f"({hands}\u00a0operators)" in points[3]
    assert points == limits(judged.fit).points


def made(folder: Path, operators: int, plan: str = "") -> TrialFit:
    """A trial with so many operators, who may be a factor of the plan."""
    table = as_readings(crossed(np.random.default_rng(1)))
    again = table.groupby(["blade", "medium"])["edge"].rank("dense").astype(int)
    table["operator"] = np.array(["anna", "ben"])[again % operators]
    trial = made_trial(folder / "trial", table, blocks=["blade", *([] if plan else ["operator"])])
    text = (trial.folder / "trial.toml").read_text(encoding="utf-8")
    (trial.folder / "trial.toml").write_text(text.replace("[factors]", f"[factors]\n{plan}"), encoding="utf-8")
    found: TrialFit = open_trial(trial.folder).fit()
    return found


def test_one_operator_does_not_stand_for_others(tmp_path: Path) -> None:
    points = limits(made(tmp_path, operators=1)).points
    assert "It holds for the one operator of this trial: nothing is known about other ones." in points
    assert not any("operators like" in point for point in points)


def test_a_level_that_was_planned_but_not_made_was_not_compared(tmp_path: Path) -> None:
    points = limits(made(tmp_path, operators=1, plan='operator = ["anna", "ben"]')).points
    assert "Nothing beyond what was compared: operator (anna)." in points


def test_many_media_are_not_all_named(hostile: Findings) -> None:
    pieces = next(point for point in limits(hostile).points if point.startswith("The pieces"))
    assert len(pieces) < 350
    assert any("the hands that made these edges, at their skill" in point for point in limits(hostile).points)
