"""Pictures of a round robin: what was drawn, where, and said."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes

from sharpstats.figures.tester.consistency import consistency_picture
from sharpstats.figures.tester.roundrobin import round_robin_picture, row_names
from sharpstats.tester.roundrobin import RoundRobin, round_robin


def invented(shops: int = 8, cuts: int = 3) -> pd.DataFrame:
    rng = np.random.default_rng(3)
    rows = [(f"shop {i + 1}", batch, level * np.exp(rng.normal(bias, 0.06)))
            for i, bias in enumerate(rng.normal(0, 0.05, shops))
            for batch, level in (("film", 90.0), ("stone", 160.0), ("old", 420.0)) for _ in range(cuts)]  # fmt: skip
    table = pd.DataFrame(rows, columns=["shop", "batch", "reading"])
    table.loc[(table["shop"] == "shop 3") & (table["batch"] == "old"), "reading"] *= 1.9
    return table


FOUND = round_robin(invented())


def points(axes: Axes, label: str) -> np.ndarray:
    found = [np.column_stack(line.get_data()) for line in axes.get_lines() if line.get_label() == label]
    return np.concatenate(found) if found else np.empty((0, 2))


class TestCuts:
    picture = round_robin_picture(FOUND)
    axes = picture.figure.axes[1]

    def test_every_cut_is_drawn_as_its_difference_from_the_batch(self) -> None:
        logs = FOUND.data.assign(y=np.log(FOUND.data["reading"]))
        expected = 100 * np.expm1(logs["y"] - logs.groupby("batch")["y"].transform("mean"))
        assert sorted(points(self.axes, "cuts")[:, 0]) == pytest.approx(sorted(expected))

    def test_a_row_for_each_shop_of_each_batch(self) -> None:
        means = self.picture.data[self.picture.data["part"] == "mean"]
        assert means["y"].nunique() == len(means) == 24
        cuts = self.picture.data[self.picture.data["part"] == "cut"]
        rows = means.set_index(["batch", "shop"])["y"]
        assert all(row.y == rows[(row.batch, row.shop)] for row in cuts.itertuples())
        texts = [text.get_text() for text in self.axes.texts]
        assert texts.count("shop 8") == 3 and "Batch old: mean 438\u00a0gf" in texts

    def test_bands(self) -> None:
        data = self.picture.data
        for part in ("within", "across"):
            band = data[(data["part"] == part) & (data["batch"] == "stone")].iloc[0]
            sd = getattr(FOUND.batches[1].whole, part).sd
            expected = (100 * math.expm1(-1.96 * sd), 100 * math.expm1(1.96 * sd))
            assert (band["low"], band["high"]) == pytest.approx(expected)
        drawn = [collection.get_label() for collection in self.axes.collections]
        assert drawn.count("across") == 3 and "within" in drawn

    def test_outliers_are_hollow_and_said(self) -> None:
        assert len(points(self.axes, "outliers")) == 1 and len(points(self.axes, "means")) == 23
        assert "Called outliers: shop 3 on batch old" in self.picture.alt
        assert self.axes.get_xlabel() == "difference from the mean of all cuts of the batch, %"

    def test_as_read_in_newtons(self) -> None:
        picture = round_robin_picture(round_robin(invented(), scale="as read", unit="N"))
        assert picture.figure.axes[1].get_xlabel().endswith(", N")

    def test_labels_that_look_alike_when_cut_get_their_number(self) -> None:
        table = invented()
        found = round_robin(table.assign(shop="the old workshop in the valley " + table["shop"]))
        names = row_names(found, 1.0)
        assert len(set(names.values())) == 8 and names[found.shops[7]].startswith("8: the")
        assert row_names(FOUND, 1.0)["shop 8"] == "shop 8"


class TestHAndK:
    picture: Any = consistency_picture(FOUND)

    def test_each_mark_is_an_h_or_a_k(self) -> None:
        h, k = self.picture.figure.axes[1:]
        assert sorted(points(h, "marks")[:, 0]) == pytest.approx(sorted(FOUND.cells["h"]))
        assert sorted(points(k, "marks")[:, 0]) == pytest.approx(sorted(FOUND.cells["k"]))
        assert (h.get_xlabel(), k.get_xlabel()) == ("SDs of the means", "SD, divided by that of all shops")

    def test_limits_are_labelled_with_their_level(self) -> None:
        h, k = self.picture.figure.axes[1:]
        for axes, critical, times in ((h, FOUND.batches[0].h_critical, 2), (k, FOUND.batches[0].k_critical, 1)):
            for alpha, percent in ((0.05, "5"), (0.01, "1")):
                lines = [line.get_xdata()[0] for line in axes.get_lines() if line.get_label() == f"limit {percent}"]
                assert max(lines) == pytest.approx(critical(alpha)) and len(lines) == times
                assert [text.get_text() for text in axes.texts].count(f"{percent}\u00a0%") == times

    def test_what_is_beyond_is_ringed_and_said(self) -> None:
        h, k = self.picture.figure.axes[1:]
        far = FOUND.cells[(FOUND.cells["h_p"] < 0.01)]
        assert points(h, "beyond")[:, 0] == pytest.approx(far["h"].to_numpy())
        assert f"h of shop 3 on batch old, {far['h'].iloc[0]:.2f}" in self.picture.alt
        assert len(points(k, "beyond")) == (FOUND.cells["k_p"] < 0.01).sum()

    def test_marks_of_a_shop_stay_in_its_row(self) -> None:
        marks = self.picture.data[self.picture.data["part"] == "mark"]
        rows = marks["y"] // 0.34
        assert (marks["shop"] == [FOUND.shops[int(row)] for row in rows]).all()

    def test_other_numbers_of_cuts_are_said(self) -> None:
        table = invented()
        picture: Any = consistency_picture(round_robin(table.drop(index=table.index[0])))
        texts = [" ".join(text.get_text().replace("\n", " ") for text in one.figure.texts)
                 for one in (picture, self.picture)]  # fmt: skip
        assert ["lines are those of most" in text for text in texts] == [True, False]

    def test_two_shops_have_k_only_and_one_cut_neither(self) -> None:
        picture = consistency_picture(round_robin(invented(shops=2)))
        assert picture is not None and len(picture.figure.axes) == 2
        assert consistency_picture(round_robin(invented(shops=2, cuts=1))) is None


@pytest.mark.parametrize(("shops", "cuts"), [(2, 1), (3, 2), (20, 1)])
def test_few_and_many_can_be_drawn(shops: int, cuts: int) -> None:
    table = invented(shops=shops, cuts=cuts)
    found: RoundRobin = round_robin(table)
    for picture in (round_robin_picture(found), consistency_picture(found)):
        if picture is not None:
            assert picture.svg_text.startswith("<?xml")


def test_hostile_labels_are_letters() -> None:
    table = invented()
    table["shop"] = table["shop"].replace("shop 3", "<script>$x^2$\u202e</script>")
    for picture in (round_robin_picture(round_robin(table)), consistency_picture(round_robin(table))):
        assert picture is not None and "<script" not in picture.svg_text
