"""Cautions at the bench, and what a trial does not say."""

from __future__ import annotations

import pytest

from sharpstats.claims.finding import Findings
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


def test_many_media_are_not_all_named(hostile: Findings) -> None:
    pieces = next(point for point in limits(hostile).points if point.startswith("The pieces"))
    assert len(pieces) < 350
    assert any("the hands that made these edges, at their skill" in point for point in limits(hostile).points)
