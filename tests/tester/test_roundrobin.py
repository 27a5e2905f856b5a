"""A whole round robin: published data, tables that only rearrange, and what must not alter a finding."""

from __future__ import annotations

import sys
from dataclasses import FrozenInstanceError
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parents[1]))

from reference.stored import stored_json, stored_table

from sharpstats.columns import RESULTS
from sharpstats.tester.roundrobin import ACROSS, ALL, WITHIN, WITHOUT, RoundRobin, round_robin
from sharpstats.units import NEWTONS_PER_GF

GLUCOSE = stored_table("interlab/e691_glucose").assign(
    shop=lambda t: t["lab"].map("shop {:.0f}".format),
    batch=lambda t: t["material"],
    reading=lambda t: t["value_corrected"],
)[["shop", "batch", "reading"]]


def invented(shops: int = 8, cuts: int = 3, seed: int = 3) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = [(f"shop {i + 1}", batch, cut, level * np.exp(rng.normal(bias, 0.06)))
            for i, bias in enumerate(rng.normal(0, 0.05, shops))
            for batch, level in (("film", 90.0), ("stone", 160.0), ("old", 420.0))
            for cut in range(1, cuts + 1)]  # fmt: skip
    return pd.DataFrame(rows, columns=["shop", "batch", "cut", "reading"])


class TestGlucose:
    found = round_robin(GLUCOSE, scale="as read")

    def test_published(self) -> None:
        table, printed = self.found.table, stored_json("interlab/e691_glucose")["published"]
        assert list(dict.fromkeys(table["batch"])) == list("ABCDE")
        for term, name in ((WITHIN, "s_r"), (ACROSS, "s_R")):
            rows = table[(table["term"] == term) & (table["at"] == ALL)]
            assert [f"{sd:.4f}" for sd in rows["sd"]] == [printed[batch][name] for batch in "ABCDE"]

    def test_a_shop_s_h_and_k_stand_in_its_row(self) -> None:
        cells = self.found.cells.set_index(["batch", "shop"])
        assert f"{cells.loc[('E', 'shop 2'), 'k']:.2f}" == "2.33"
        assert len(cells) == 40

    def test_spread_grows_with_the_level(self) -> None:
        within = self.found.within_by_level
        assert within is not None and within.relations[0].p < 0.01 < within.chosen.p


class TestResult:
    found = round_robin(invented())

    def test_frozen_and_not_to_be_unpacked(self) -> None:
        with pytest.raises(FrozenInstanceError):
            self.found.level = 0.9  # type: ignore[misc]
        with pytest.raises(TypeError, match="not iterable"):
            iter(self.found)  # type: ignore[call-overload]

    def test_columns_come_from_the_vocabulary(self) -> None:
        vocabulary = {column.name for column in RESULTS}
        for table in (self.found.table, self.found.cells, self.found.looks):
            assert set(table.columns) <= vocabulary and table.columns[0] == "term"

    def test_batches_from_keen_to_dull_and_shops_in_order(self) -> None:
        found = round_robin(invented(shops=11))
        assert [batch.name for batch in found.batches] == ["film", "stone", "old"]
        assert found.shops[-2:] == ("shop 10", "shop 11")
        assert found.batches[0].shops == found.shops

    def test_log_means_are_logs(self) -> None:
        film = self.found.data[self.found.data["batch"] == "film"]
        assert self.found.batches[0].whole.mean == pytest.approx(np.log(film["reading"]).mean())

    def test_with_and_without_what_is_outlying(self) -> None:
        table = invented()
        table.loc[(table["shop"] == "shop 3") & (table["batch"] == "old"), "reading"] *= 1.9
        found = round_robin(table)
        rows = found.table[(found.table["batch"] == "old") & (found.table["term"] == ACROSS)]
        assert list(rows["at"]) == [ALL, WITHOUT] and list(rows["shops"]) == [8, 7]
        assert rows["sd"].iloc[0] > 2 * rows["sd"].iloc[1]
        assert found.looks.query("mark == 'outlier'")["shop"].tolist() == ["shop 3"]
        assert found.cells.query("outlying")[["shop", "batch"]].to_numpy().tolist() == [["shop 3", "old"]]


class TestWhatIsSaid:
    def codes(self, table: pd.DataFrame) -> list[str]:
        return [note.code for note in round_robin(table).notes]

    def test_lost_cells_and_a_shop_with_one_batch(self) -> None:
        table = invented()
        table = table[(table["shop"] != "shop 8") | (table["batch"] == "film")]
        assert self.codes(table).count("lost-cells") == 1
        assert "one-batch-shop" in self.codes(table)

    def test_another_unit(self) -> None:
        table = invented()
        table.loc[table["shop"] == "shop 5", "reading"] *= NEWTONS_PER_GF
        found = round_robin(table)
        told = [note.text for note in found.notes if note.code == "unit-slip"]
        assert len(told) == 1 and told[0].startswith("Shop 5 reads about 1/99.5 of what")
        assert "between gf and N" in told[0] and "Nothing was changed" in told[0]

    def test_one_cut_everywhere_still_gives_the_spread_from_shop_to_shop(self) -> None:
        found = round_robin(invented(cuts=1))
        assert set(found.table["term"]) == {ACROSS}
        assert [note.code for note in found.notes] == ["one-cut"]
        assert found.notes[0].text.startswith("Batch film, stone, old: one cut in each shop")
        assert found.within_by_level is None and found.across_by_level is not None

    def test_cuts_over_the_range(self) -> None:
        table = invented().assign(over_range=lambda t: t["reading"] > 430)
        told = [note.text for note in round_robin(table).notes if note.code == "over-range"]
        over = int(table["over_range"].sum())
        assert over and told[0].startswith(f"Batch old: {over} of the cuts lie over the tester's range")

    def test_one_step_of_a_coarse_tester_condemns_nobody_and_ten_do(self) -> None:
        table = invented(cuts=1).assign(reading=150.0)
        table.loc[0, "reading"] = 155.0
        assert (round_robin(table).looks["mark"] == "accepted").all()
        table.loc[3, "reading"] = 200.0
        assert round_robin(table).cells.query("outlying")["shop"].tolist() == ["shop 2"]

    def test_no_spread_at_all(self) -> None:
        found = round_robin(invented().assign(reading=100.0))
        assert (found.table["sd"] == 0).all() and len(found.looks) == 0
        assert list(found.looks.columns)[:3] == ["term", "batch", "shop"]

    def test_two_shops(self) -> None:
        assert self.codes(invented(shops=2)).count("two-shops") == 1

    def test_a_batch_of_one_shop(self) -> None:
        own = pd.DataFrame({"shop": "shop 1", "batch": "own", "cut": [1, 2], "reading": [50, 55]})
        table = pd.concat([invented(), own])
        found = round_robin(table)
        assert "one-shop" in [note.code for note in found.notes]
        assert set(found.table[found.table["batch"] == "own"]["term"]) == {WITHIN}
        assert found.across_by_level is None


def numbers(found: RoundRobin) -> pd.DataFrame:
    return found.table.select_dtypes("number")


@settings(max_examples=4, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from(["log", "as read"]))
def test_row_order_and_names_alter_nothing(seed: int, scale: str) -> None:
    table = invented(seed=seed)
    found = round_robin(table, scale=scale)  # type: ignore[arg-type]
    mixed = table.sample(frac=1, random_state=seed)
    names = dict(zip(found.shops, [f"other {i}" for i in range(len(found.shops), 0, -1)], strict=True))
    other = round_robin(mixed.assign(shop=mixed["shop"].map(names)), scale=scale)  # type: ignore[arg-type]
    pd.testing.assert_frame_equal(numbers(found), numbers(other), rtol=1e-8, atol=1e-9)
    marked, again = (frame[frame["mark"] != "accepted"] for frame in (found.looks, other.looks))
    assert sorted(marked["statistic"]) == pytest.approx(sorted(again["statistic"]), rel=1e-7)
    for one, two in ((found.within_by_level, other.within_by_level), (found.across_by_level, other.across_by_level)):
        assert (one is None) == (two is None)
        if one is not None and two is not None:
            assert one.chosen.kind == two.chosen.kind


@settings(max_examples=4, deadline=None)
@given(st.integers(0, 10_000))
def test_newtons_say_the_same(seed: int) -> None:
    table = invented(seed=seed)
    newtons = table.assign(reading=table["reading"] * NEWTONS_PER_GF)
    one, two = round_robin(table), round_robin(newtons, unit="N")
    pd.testing.assert_frame_equal(numbers(one), numbers(two), rtol=1e-6, atol=1e-9)
    one, two = round_robin(table, scale="as read"), round_robin(newtons, scale="as read", unit="N")
    np.testing.assert_allclose(two.table["sd"], one.table["sd"] * NEWTONS_PER_GF, rtol=1e-8, atol=1e-9)
    assert list(one.looks["mark"]) == list(two.looks["mark"])


def test_a_constant_added_to_one_batch_leaves_its_precision_as_read() -> None:
    table = invented()
    moved = table.assign(reading=table["reading"] + 1000 * (table["batch"] == "film"))
    one, two = (round_robin(each, scale="as read").table.set_index("batch") for each in (table, moved))
    for batch in ("film", "stone", "old"):
        pd.testing.assert_frame_equal(
            one.loc[[batch]].select_dtypes("number"), two.loc[[batch]].select_dtypes("number"), rtol=1e-8, atol=1e-9
        )


def test_wrong_level() -> None:
    with pytest.raises(ValueError, match="`level` must lie between 0 and 1, got 95"):
        round_robin(invented(), level=95)
