"""What is drawn of last digits: shares, what to expect, counts, and a panel for each operator."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes

from sharpstats.figures.tester.rounding import rounding_picture
from sharpstats.tester.rounding import Rounding, find_rounding


def found(step: float = 1.0, *, lazy: float = 0.9, unit_step: float = 1.0, sd: float = 12.0) -> Rounding:
    rng = np.random.default_rng(1)
    frame = pd.DataFrame({"edge": np.repeat(np.arange(10), 12), "operator": np.tile(["ann", "$bo$"], 60)})
    true = np.repeat(rng.normal(150, 20, 10), 12) + rng.normal(0, sd, 120)
    fives = (frame["operator"] == "ann") & (rng.random(120) < lazy)
    frame["reading"] = np.where(fives, 5 * step * np.rint(true / 5 / step), step * np.rint(true / step)) * unit_step
    return find_rounding(frame, unit="gf" if unit_step == 1 else "N")


def bars(axes: Axes) -> list[float]:
    drawn = [(bar.get_x(), bar.get_height()) for box in axes.containers for bar in box]
    return [height for _, height in sorted(drawn)]


def test_each_panel_draws_its_shares_and_counts() -> None:
    result = found()
    picture = rounding_picture(result)
    assert picture
    for axes, name in zip(picture.figure.axes, ("", "$bo$", "ann"), strict=True):
        rows = picture.data[picture.data["at"] == name]
        np.testing.assert_allclose(bars(axes), rows["seen"])
        assert rows["seen"].sum() == pytest.approx(100)
        assert [text.get_text() for text in axes.texts] == [str(cuts) for cuts in rows["cuts"]]
        lines = [line.get_ydata()[0] for line in axes.get_lines() if line.get_label() == "should"]
        np.testing.assert_allclose(lines, rows["should"])
        assert axes.get_ylabel() == "cuts, %"
    assert picture.figure.axes[-1].get_xlabel() == "last digits of the reading in gf"


def test_digits_that_occur_too_often_are_hatched() -> None:
    result = found()
    picture = rounding_picture(result)
    assert picture and result.digits
    hatched = [bar.get_x() + bar.get_width() / 2 for box in picture.figure.axes[0].containers for bar in box
               if bar.get_hatch()]  # fmt: skip
    assert sorted(np.rint(hatched).astype(int)) == sorted(result.digits.overused) == [0, 5]


def test_the_sentence_is_the_alternative_text() -> None:
    picture = rounding_picture(found())
    assert picture and picture.alt.startswith("Readings end in 0 or 5 in ")


def test_steps_of_ten_and_decimals_are_named() -> None:
    tens, decimals = rounding_picture(found(10.0, sd=60.0)), rounding_picture(found(unit_step=0.01))
    assert tens and decimals
    assert [text.get_text() for text in tens.figure.axes[0].get_xticklabels()][:2] == ["00", "10"]
    assert "at the place of 0.01\u00a0N" in decimals.figure.axes[-1].get_xlabel()


def test_nothing_is_drawn_where_digits_cannot_tell() -> None:
    assert rounding_picture(find_rounding([150.0, 155, 165], unit="gf")) is None


def test_hostile_names_are_letters() -> None:
    picture = rounding_picture(found())
    assert picture and picture.png_bytes.startswith(b"\x89PNG")
