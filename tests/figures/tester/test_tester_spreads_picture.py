"""Pictures of a tester's spread: what is drawn is what was found."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes

sys.path.insert(0, str(Path(__file__).parents[2] / "tester"))

from hostile import ALL
from invented import crossed

from sharpstats.figures.picture import Picture
from sharpstats.figures.tester.cells import MOST_HEIGHT, cells_picture
from sharpstats.figures.tester.smallest import ABOVE, smallest_picture
from sharpstats.figures.tester.spreads import BEYOND, spreads_picture
from sharpstats.tester.smallest import smallest_difference
from sharpstats.tester.spreads import Spreads, find_spreads
from sharpstats.words.numbers import NBSP


@pytest.fixture(scope="module")
def kept() -> Spreads:
    return find_spreads(crossed(11), scale="log", pool_above=1)


@pytest.fixture(scope="module")
def over() -> Spreads:
    table = crossed(7)
    limit = float(table["reading"].quantile(0.97))
    flags = (table["reading"] > limit).to_numpy()
    return find_spreads(table.assign(over_range=flags, reading=table["reading"].clip(upper=limit)), scale="log")


def points(axes: Axes, label: str) -> np.ndarray:
    return np.concatenate([np.column_stack(line.get_data()) for line in axes.get_lines() if line.get_label() == label])


def texts(picture: Picture) -> list[str]:
    return [text.get_text() for axes in picture.figure.axes for text in axes.texts]


class TestSpreads:
    def test_draws_every_part_and_sum_in_percent(self, kept: Spreads) -> None:
        picture = spreads_picture(kept)
        axes, data = picture.figure.axes[0], picture.data
        np.testing.assert_allclose(data["sd"], 100 * np.expm1(kept.sds.estimate))
        np.testing.assert_allclose(points(axes, "sd")[:, 0], data["sd"])
        np.testing.assert_allclose(points(axes, "interval")[::2, 0], data["low"])
        ends = np.minimum(data["high"], axes.get_xlim()[1])
        np.testing.assert_allclose(points(axes, "interval")[1::2, 0], ends)
        assert axes.get_xlabel() == "standard deviation, %"

    def test_the_likelihood_stands_below_each_part(self, kept: Spreads) -> None:
        picture = spreads_picture(kept)
        reml = points(picture.figure.axes[0], "reml")
        np.testing.assert_allclose(reml[:, 0], 100 * np.expm1(kept.by_likelihood["sd"]))
        assert picture.data["reml"].notna().tolist() == [True] * 4 + [False] * 3

    def test_the_level_is_said(self, kept: Spreads) -> None:
        assert any(f"thick: 95{NBSP}% interval" in text.get_text() for text in spreads_picture(kept).figure.texts)

    def test_an_endless_interval_ends_in_an_arrow(self) -> None:
        found = find_spreads(crossed(1, operators=2, edges=3, cuts=2, edge=0.01), scale="as read", unit="N")
        picture = spreads_picture(found)
        axes = picture.figure.axes[0]
        assert axes.get_xlabel() == "standard deviation, N"
        assert axes.get_xlim()[1] == pytest.approx(1.06 * BEYOND * picture.data["sd"].max())
        assert (points(axes, "interval goes on")[:, 0] == axes.get_xlim()[1]).all()

    def test_one_part_alone(self) -> None:
        table = crossed(operators=1, cuts=1, edges=12, edge=0)
        picture = spreads_picture(find_spreads(table, scale="log", layout="like edges"))
        assert len(picture.data) == 1
        assert "sums of parts" not in texts(picture)

    def test_the_alternative_text_holds_the_numbers(self, kept: Spreads) -> None:
        alt = spreads_picture(kept).alt
        assert alt.startswith("Two cuts on the same edge by the same operator differ by less than")
        assert "one cut and the next (repeatability) " in alt


class TestCells:
    def test_draws_every_reading(self, kept: Spreads) -> None:
        picture = cells_picture(kept)
        axes = picture.figure.axes[-1]
        drawn = points(axes, "cuts")
        np.testing.assert_allclose(np.sort(drawn[:, 0]), np.sort(kept.readings["reading"]))
        assert picture.data.groupby("y").size().tolist() == [4] * 24
        assert axes.get_xlabel() == "reading, gf (log axis); lower is keener"
        assert {"p0", "p1", "p2", "e0", "e7"} <= set(texts(picture))

    def test_edges_stand_from_keenest_to_dullest(self, kept: Spreads) -> None:
        data = cells_picture(kept).data
        logs = np.log(data["reading"]).groupby(data["edge"]).mean().sort_values().index.tolist()
        assert data.groupby("edge")["y"].mean().sort_values().index.tolist() == logs

    def test_a_bar_is_the_geometric_mean_of_a_cell(self, kept: Spreads) -> None:
        picture = cells_picture(kept)
        means = np.exp(np.log(picture.data["reading"]).groupby(picture.data["y"]).mean())
        np.testing.assert_allclose(points(picture.figure.axes[-1], "means")[:, 0], means)

    def test_cuts_over_the_range_are_arrows(self, over: Spreads) -> None:
        picture = cells_picture(over)
        count = int(over.readings["over_range"].sum())
        assert len(points(picture.figure.axes[-1], "cuts over the range")) == count
        assert f"{count}{NBSP}cuts over the tester's range, drawn as arrows" in picture.alt

    def test_one_operator_needs_no_key(self) -> None:
        picture = cells_picture(find_spreads(crossed(operators=1).drop(columns="operator"), scale="as read"))
        assert len(picture.figure.axes) == 1
        assert " by " not in picture.alt.split(",")[0]

    def test_a_large_study_keeps_its_height(self) -> None:
        picture = cells_picture(find_spreads(crossed(operators=14, edges=30, cuts=2), scale="log"))
        assert picture.figure.get_size_inches()[1] < MOST_HEIGHT + 2
        assert "…" in texts(picture)

    def test_labels_are_only_labels(self) -> None:
        table = crossed(edges=min(8, len(ALL)))
        names = dict(zip(table["edge"].unique(), ALL, strict=False))
        table = table.assign(edge=table["edge"].map(names), operator=table["operator"].map(
            dict(zip(table["operator"].unique(), ALL, strict=False))))  # fmt: skip
        picture = cells_picture(find_spreads(table, scale="log"))
        assert picture.png_bytes.startswith(b"\x89PNG")
        assert picture.svg_text.count("<script") == 0


class TestSmallest:
    def test_draws_every_way(self, kept: Spreads) -> None:
        found = smallest_difference(kept)
        picture = smallest_picture(found)
        axes = picture.figure.axes[-1]
        np.testing.assert_allclose(points(axes, "smallest")[:, 1], 100 * np.expm1(found.smallest.ravel()))
        np.testing.assert_allclose(points(axes, "found")[:, 1], 100 * np.expm1(found.found.ravel()))
        assert axes.get_ylabel() == "difference, %"
        assert axes.get_xlabel() == "cuts on each of the two edges"
        assert {"one operator cuts both edges", "each edge has its own operator"} <= set(texts(picture))

    def test_what_is_wanted_is_a_line(self, kept: Spreads) -> None:
        picture = smallest_picture(smallest_difference(kept), float(np.log(1.5)))
        (line,) = (line for line in picture.figure.axes[-1].get_lines() if line.get_label() == "wanted")
        assert np.asarray(line.get_ydata()) == pytest.approx([50.0, 50.0])
        assert picture.figure.axes[-1].get_ylim()[1] == pytest.approx(ABOVE * 50)
        assert f"wanted difference of 50{NBSP}%" in picture.alt

    def test_one_number_of_cuts(self) -> None:
        found = find_spreads(crossed(operators=1), scale="as read", unit="N")
        picture = smallest_picture(smallest_difference(found, [3]))
        assert picture.figure.axes[-1].get_ylabel() == "difference, N"
        assert isinstance(picture.data, pd.DataFrame) and len(picture.data) == 1
        assert picture.png_bytes
