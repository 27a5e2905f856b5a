"""Every edge: what is drawn is what the fit holds."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from sharpstats.claims.finding import Findings
from sharpstats.figures.edges import edges_picture, second_factor
from sharpstats.figures.picture import Picture
from sharpstats.figures.style import GROUND


def main_axes(picture: Picture) -> Axes:
    return next(axes for axes in picture.figure.axes if axes.get_xlabel())


def lines(axes: Axes, label: str) -> list[Line2D]:
    return [line for line in axes.get_lines() if line.get_label() == label]


def drawn(axes: Axes, label: str) -> np.ndarray:
    """All points of the lines with a label, sorted."""
    points = np.concatenate([np.column_stack(line.get_data()) for line in lines(axes, label)])
    return points[np.lexsort(points.T)]


def of(data: pd.DataFrame, part: str) -> np.ndarray:
    points = data.loc[data["part"] == part, ["reading", "y"]].to_numpy(dtype=float)
    return points[np.lexsort(points.T)]


@pytest.fixture(scope="module")
def picture(judged: Findings) -> Picture:
    return edges_picture(judged.fit)


@pytest.mark.parametrize(("part", "label"), [("cut", "cuts"), ("edge", "edges"), ("mean", "mean")])
def test_data_are_what_is_drawn(picture: Picture, part: str, label: str) -> None:
    np.testing.assert_allclose(drawn(main_axes(picture), label), of(picture.data, part))


def test_every_cut_and_edge_of_the_comparison_is_there(picture: Picture, judged: Findings) -> None:
    data, fit = picture.data, judged.fit
    assert (data["part"] == "cut").sum() == len(fit.data)
    edges = data[data["part"] == "edge"].set_index("edge")["reading"]
    pd.testing.assert_series_equal(edges.sort_index(), fit.edges.set_index("edge")["reading"].sort_index())


def test_means_and_intervals_are_the_fits(picture: Picture, judged: Findings) -> None:
    means = picture.data[picture.data["part"] == "mean"].set_index(["medium", "at"])
    fitted = judged.fit.readings.set_index(["term", "at"])
    assert len(means) == 8
    for key in means.index:
        drawn_here = means.loc[key, ["reading", "low", "high"]].tolist()
        assert drawn_here == fitted.loc[key, ["estimate", "low", "high"]].tolist()
    intervals = [tuple(line.get_xdata()) for line in lines(main_axes(picture), "interval")]
    assert sorted(intervals) == sorted(zip(means["low"], means["high"], strict=True))


def test_edges_stand_apart_and_keenest_on_top(picture: Picture) -> None:
    edges = picture.data[picture.data["part"] == "edge"]
    for _, lane in edges.groupby(["medium", "at"]):
        assert lane.sort_values("y")["reading"].is_monotonic_increasing
        assert lane["y"].is_unique


def test_levels_in_sight_are_named_at_their_lines(picture: Picture, judged: Findings) -> None:
    axes = main_axes(picture)
    low, high = axes.get_xlim()
    levels = {level.reading.value: level.name for level in judged.trial.plan.levels if low < level.reading.value < high}
    assert levels
    assert sorted(line.get_xdata()[0] for line in lines(axes, "level")) == sorted(levels)
    texts = [text.get_text() for text in axes.texts]
    for reading, name in levels.items():
        assert f"{reading:g}\u00a0gf: {name}" in texts


def test_axis_interval_and_what_is_missing_are_said(picture: Picture, judged: Findings) -> None:
    assert main_axes(picture).get_xlabel() == "reading, gf (log axis); lower is keener"
    texts = " ".join(text.get_text() for axes in picture.figure.axes for text in axes.texts)
    assert "mean of the medium with its 95\u00a0% interval" in texts
    notes = " ".join(" ".join(text.get_text().split()) for text in picture.figure.texts)
    assert "over the tester's range" not in notes
    assert "Intervals of means hold the spread between blades" in notes


def test_cuts_over_the_range_are_arrows_at_their_limits(limited: Findings) -> None:
    picture, fit = edges_picture(limited.fit), limited.fit
    axes = main_axes(picture)
    arrows = [reading for line in lines(axes, "cuts over the range") for reading in line.get_xdata()]
    assert arrows == [185.0] * int(fit.edges["over_range"].sum())
    assert {line.get_marker() for line in lines(axes, "cuts over the range")} == {">"}
    hollow = sorted(reading for line in lines(axes, "edges with a cut over the range") for reading in line.get_xdata())
    assert hollow == sorted(fit.edges.loc[fit.edges["over_range"] > 0, "reading"])
    assert all(line.get_markerfacecolor() == GROUND for line in lines(axes, "edges with a cut over the range"))
    texts = " ".join(text.get_text() for axes in picture.figure.axes for text in axes.texts)
    assert "a cut over the tester's range" in texts
    notes = " ".join(" ".join(text.get_text().split()) for text in picture.figure.texts)
    assert "A hollow mark is an edge with a cut over the tester's range: where the fit puts its mean." in notes
    assert f"{len(arrows)}\u00a0cuts over the tester's range, drawn as arrows at the limit." in picture.alt


def test_shape_doubles_colour(picture: Picture, judged: Findings) -> None:
    looks = {(line.get_color(), line.get_marker()) for line in lines(main_axes(picture), "edges")}
    media = len(judged.trial.plan.factors["medium"])
    assert len(looks) == len({colour for colour, _ in looks}) == len({shape for _, shape in looks}) == media


def test_the_second_factor_splits_the_picture(picture: Picture, judged: Findings) -> None:
    assert second_factor(judged.fit) == "steel"
    texts = [text.get_text() for text in main_axes(picture).texts]
    assert texts.count("steel: plain carbon") == texts.count("steel: stainless") == 1
    assert texts.count("oilstone") == 2


def test_the_sentence_has_the_numbers(picture: Picture, judged: Findings) -> None:
    edges = judged.fit.data["edge"].nunique()
    assert picture.alt.startswith(f"{edges}\u00a0edges with {len(judged.fit.data)}\u00a0cuts")
    first = judged.fit.readings.set_index(["term", "at"]).loc[("oilstone", "plain carbon")]
    assert f"oilstone (plain carbon) {first['estimate']:.0f}\u00a0gf" in picture.alt


def test_a_tiny_trial_in_newtons_on_a_plain_axis(tiny: Findings) -> None:
    picture = edges_picture(tiny.fit)
    axes = main_axes(picture)
    assert (axes.get_xscale(), axes.get_xlabel()) == ("linear", "reading, N; lower is keener")
    assert second_factor(tiny.fit) == ""
    assert len(drawn(axes, "edges")) == 4
    assert "stone 1.57\u00a0N" in picture.alt


def test_hostile_labels_are_letters(hostile: Findings) -> None:
    picture = edges_picture(hostile.fit)
    assert "<script" not in picture.svg_text
    assert all(not text.get_parse_math() for axes in picture.figure.axes for text in axes.texts)
    assert len([text for text in main_axes(picture).texts if text.get_text().endswith("…")]) >= 1


def test_nothing_is_written_outside_the_sheet(picture: Picture, hostile: Findings, limited: Findings) -> None:
    for made in (picture, edges_picture(hostile.fit), edges_picture(limited.fit)):
        made.figure.draw_without_rendering()
        width, height = made.figure.bbox.size
        boxes = [text.get_window_extent() for axes in made.figure.axes for text in axes.texts]
        boxes += [text.get_window_extent() for text in made.figure.texts]
        assert min(min(box.x0, box.y0) for box in boxes) >= -1
        assert max(box.x1 for box in boxes) <= width + 1
        assert max(box.y1 for box in boxes) <= height + 1
