"""The picture of known loads: every reading in it, the line and its band, and the sentence."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sharpstats.figures.tester.masses import masses_picture
from sharpstats.tester.masses import Calibration, weigh


def calibration(directions: bool = True) -> Calibration:
    rng = np.random.default_rng(1)
    loads = np.tile([0.0, 100.0, 200.0, 300.0, 200.0, 100.0], 3)
    table = pd.DataFrame({"applied": loads, "reading": 1 + 1.02 * loads + rng.normal(0, 1, 18)})
    if directions:
        table["direction"] = ["", "up", "up", "up", "down", "down"] * 3
        table["series"] = np.repeat([1, 2, 3], 6)
    return weigh(table, unit="gf")


def test_every_reading_is_a_mark_of_its_own_kind() -> None:
    found = calibration()
    picture = masses_picture(found)
    assert len(picture.data) == len(found.readings)
    np.testing.assert_allclose(picture.data["deviation"], found.readings["reading"] - found.readings["applied"])
    lines = {line.get_label(): line for line in picture.figure.axes[0].lines}
    assert lines["on the way up"].get_marker() != lines["on the way down"].get_marker()
    assert sum(len(lines[name].get_xdata()) for name in ("on the way up", "on the way down", "no load, or not recorded")
               ) == len(found.readings)  # fmt: skip


def test_axes_have_units_and_the_band_holds_the_line() -> None:
    found = calibration()
    axes = masses_picture(found).figure.axes[0]
    assert axes.get_xlabel() == "load applied, gf"
    assert axes.get_ylabel() == "shown minus applied, gf"
    line = next(one for one in axes.lines if one.get_label() == "line")
    x, y = np.asarray(line.get_xdata(), dtype=float), np.asarray(line.get_ydata(), dtype=float)
    np.testing.assert_allclose(y, found.line.at(x) - x)
    assert axes.get_ylim()[0] < (found.line.band(x)[0] - x).min()


def test_the_sentence_is_the_alternative_text_and_marks_are_explained() -> None:
    picture = masses_picture(calibration())
    assert picture.alt.startswith("Farthest off, under 300")
    assert "95\u00a0% interval" in picture.alt
    assert masses_picture(calibration(directions=False)).figure.axes[0].lines[-1].get_marker() == "o"
