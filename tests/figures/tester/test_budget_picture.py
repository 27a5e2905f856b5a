"""The picture of a budget: bars as long as what they stand for, the whole last, the sentence with the numbers."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.axes import Axes

from sharpstats.figures.tester.budget import budget_picture
from sharpstats.tester.budget import budget
from sharpstats.tester.contribution import Contribution

PARTS = [
    Contribution(name="operators", standard=3.0, df=4, cancels=True),
    Contribution(name="cuts", standard=8.0, unit="%", averages=True),
    Contribution(name="<b>filament</b> from a very long spool that was wound by hand", half_width=4.0),
]


def ends(axes: Axes, label: str) -> list[float]:
    return [float(one.get_paths()[0].vertices[:, 0].max()) for one in axes.collections if one.get_label() == label]


def test_bars_and_the_whole() -> None:
    found = budget(PARTS, reading=150.0, seed=None)
    picture = budget_picture(found)
    axes = picture.figure.axes[0]
    np.testing.assert_allclose(ends(axes, "part"), np.sort(found.parts)[::-1])
    np.testing.assert_allclose(ends(axes, "whole"), [found.combined])
    line = next(line for line in axes.get_lines() if line.get_label() == "expanded")
    np.testing.assert_allclose(line.get_xdata(), [found.combined, found.expanded])
    assert axes.get_xlabel() == "standard uncertainty, gf"
    assert axes.get_xlim()[1] > found.expanded
    assert list(picture.data["term"])[-1] == "the whole"
    assert "95\u00a0%" in axes.texts[-1].get_text()


def test_the_alternative_text_has_the_numbers() -> None:
    picture = budget_picture(budget(PARTS, reading=150.0, cuts=4, seed=None))
    assert "near 150\u00a0gf is uncertain by 14\u00a0gf either way (95\u00a0%)" in picture.alt
    assert (
        "cuts 6.00\u00a0gf, 72\u00a0% of the variance; operators 3.00\u00a0gf, 18\u00a0% of the variance" in picture.alt
    )


def test_what_cancels_is_not_drawn() -> None:
    picture = budget_picture(budget(PARTS, reading=150.0, difference=True, seed=None))
    assert "operators" not in list(picture.data["term"])
    assert len(ends(picture.figure.axes[0], "part")) == 2


@pytest.mark.parametrize("number", [1, 14])
def test_it_can_be_drawn_with_few_and_many(number: int) -> None:
    many = [Contribution(name=f"c{i}", standard=1.0 + i) for i in range(number)]
    picture = budget_picture(budget(many, seed=None, unit="N"))
    assert len(picture.figure.axes[0].texts) == number + 1
    assert picture.png_bytes[:4] == b"\x89PNG"
