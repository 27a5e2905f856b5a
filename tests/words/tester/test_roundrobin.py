"""What a round robin says: plain sentences first, shops that stand apart, and what it cannot tell."""

from __future__ import annotations

import math
import re
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))

from reference.stored import stored_table

from sharpstats.tester.roundrobin import RoundRobin, round_robin
from sharpstats.words.display import as_html, as_text


def invented(shops: int = 8, cuts: int = 3, seed: int = 3) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = [(f"shop {i + 1}", batch, level * np.exp(rng.normal(bias, 0.06)))
            for i, bias in enumerate(rng.normal(0, 0.05, shops))
            for batch, level in (("film", 90.0), ("stone", 160.0), ("old", 420.0)) for _ in range(cuts)]  # fmt: skip
    return pd.DataFrame(rows, columns=["shop", "batch", "reading"])


def told(result: RoundRobin) -> str:
    return re.sub(r"\s+", " ", as_text(result).replace("\u00a0", " "))


def apart() -> pd.DataFrame:
    table = invented()
    table.loc[(table["shop"] == "shop 3") & (table["batch"] == "old"), "reading"] *= 1.9
    return table


class TestFirstSentences:
    def test_the_largest_difference_of_pairs(self) -> None:
        found = round_robin(invented())
        film = found.batches[0].whole
        assert film.within is not None and film.across is not None
        within, across = (round(100 * math.expm1(2.8 * sd)) for sd in (film.within.sd, film.across.sd))
        low, high = (round(100 * math.expm1(2.8 * sd)) for sd in (film.within.low, film.within.high))
        text = told(found)
        assert re.match(r"In 95 of 100 pairs two cuts in one shop differ by at most \d+ % to \d+ % and two cuts in two "
                        r"shops differ by at most \d+ % to \d+ %, depending on the batch\.", text)  # fmt: skip
        assert "8 shops read 3 batches: 72 cuts. Differences in % are counted from the lower" in text
        assert told(round_robin(invented().query("batch == 'film'"))).startswith("Batch film, which reads 88 gf")
        assert f"two cuts in one shop differ by at most {within} % (95 % interval: {low} % to {high} %) and" in text
        assert f"and two cuts in two shops by at most {across} %" in text

    def test_as_read_has_the_unit(self) -> None:
        text = told(round_robin(invented(), scale="as read", level=0.9))
        assert re.search(r"differ by at most \d+ gf \(90 % interval: \d+ gf to \d+ gf\)", text)
        assert "within a shop, gf" in text and "Differences in %" not in text

    def test_many_batches_are_told_by_range_and_table_alone(self) -> None:
        table = pd.concat([invented(seed=i).assign(batch=lambda t, i=i: t["batch"] + str(i)) for i in range(4)])
        text = told(round_robin(table))
        assert text.startswith("In 95 of 100 pairs two cuts in one shop") and "which reads" not in text


class TestShopsThatStandApart:
    def test_none(self) -> None:
        text = told(round_robin(invented(seed=4)))
        assert "No shop stands apart from the others" in text
        assert "Nothing was left out" not in text

    def test_an_outlier_is_a_question(self) -> None:
        text = told(round_robin(apart()))
        assert re.search(r"Batch old, shop 3: reads \d+ % higher than the others' mean \(p < 0.001, Grubbs, 8 shops\): "
                         "called a statistical outlier", text)  # fmt: skip
        assert "Nothing was left out. A statistical outlier is a question to the shop" in text
        assert "check masses" in text and "set_aside of shops.csv" in text and "cut-resistant glove" in text
        assert "The same without the cells called outliers" in text

    def test_a_straggler_is_kept(self) -> None:
        table = invented()
        cut = table[(table["shop"] == "shop 6") & (table["batch"] == "film")].index[0]
        table.loc[cut, "reading"] *= 1.5
        text = told(round_robin(table))
        assert re.search(r"shop 6: cuts scatter 3\.0 times as widely as those of the others .*a straggler, kept", text)
        assert "A straggler is kept" in text and "The same without" not in text

    def test_where_the_printed_table_says_otherwise(self) -> None:
        """ISO 5725-2, annex B.1, level 3: five cuts of laboratory 5 where most made three."""
        table = stored_table("interlab/iso5725_sulfur").query("level == 3")
        shops = pd.DataFrame({"shop": table["lab"].map("shop {:.0f}".format), "batch": "3", "reading": table["value"]})
        assert ("called a statistical outlier (straggler by the printed table, which is made for equal numbers of cuts)"
                in told(round_robin(shops, scale="as read")))  # fmt: skip

    def test_wide_numbers_fit_the_terminal(self) -> None:
        table = invented()
        table["reading"] *= 0.01
        table["batch"] = "batch of " + table["batch"]
        text = as_text(round_robin(table, scale="as read", unit="N"))
        assert "…" not in text and max(map(len, text.splitlines())) <= 100

    def test_a_shop_that_is_marked_again_and_again(self) -> None:
        table = invented()
        table.loc[table["shop"] == "shop 2", "reading"] *= 1.9
        assert "Shop 2 is marked in 3 of its 3 batches: look at the shop as a whole" in told(round_robin(table))


    def test_a_second_outlier_is_compared_with_those_that_are_left(self) -> None:
        table = apart()
        table.loc[(table["shop"] == "shop 5") & (table["batch"] == "old"), "reading"] /= 100
        old = round_robin(table).batches[-1]
        assert [look.mark for look in old.looks][1:] == ["outlier", "outlier"]
        left = [mean for shop, mean in zip(old.shops, old.means, strict=True) if shop not in ("shop 3", "shop 5")]
        higher = round(100 * math.expm1(old.means[2] - np.mean(left)))
        assert f"Batch old, shop 3: reads {higher} % higher than the others' mean" in told(round_robin(table))

    def test_always_highest(self) -> None:
        table = invented()
        table.loc[table["shop"] == "shop 2", "reading"] *= 1.9
        text = told(round_robin(table))
        assert "Shop 2 reads highest on all 3 batches. Chance alone" in text
        assert "likely to read higher whatever the edge" in text


class TestLevels:
    def test_constant(self) -> None:
        assert re.search("The spread within a shop is about the same at every level: SD [0-9.]+ %", told(
            round_robin(invented())))  # fmt: skip

    def test_in_proportion(self) -> None:
        text = told(round_robin(invented(shops=12, cuts=6), scale="as read"))
        assert re.search(r"The spread within a shop grows with the level: SD [0-9.]+ gf at \d+ gf, [0-9.]+ gf at \d+ "
                         r"gf \(SD = 0\.0\d+ × reading\)", text)  # fmt: skip


class TestFirstOfAll:
    def test_another_unit(self) -> None:
        table = invented()
        table.loc[table["shop"] == "shop 5", "reading"] *= 0.00980665
        text = told(round_robin(table))
        assert text.startswith("Shop 5 reads about 1/")
        assert text.count("Ask in which unit it read") == 1
        assert "two cuts in two shops differ by more than tenfold, depending" in text


class TestLittle:
    @pytest.mark.parametrize(("shops", "cuts"), [(2, 1), (2, 2), (3, 1)])
    def test_few(self, shops: int, cuts: int) -> None:
        found = round_robin(invented(shops=shops, cuts=cuts))
        text = told(found)
        for note in found.notes:
            assert re.sub(r"\s+", " ", note.text) in text
        assert "nan" not in text and "inf" not in text

    def test_shops_that_share_no_batch(self) -> None:
        table = pd.DataFrame({"shop": ["A", "B"], "batch": ["x", "y"], "reading": [3.0, 4.0]})
        text = told(round_robin(table))
        assert "a single cut, which tells nothing about spread" in text and "nan" not in text

    def test_no_spread(self) -> None:
        text = told(round_robin(invented().assign(reading=100.0)))
        assert "two cuts in one shop differ by less than the step of the readings shows" in text
        assert "two cuts in two shops by less than the step of the readings shows" in text
        assert "0 % to 0 %" not in text and "0 (0 to 0)" not in text
        assert "The step of the tester hides their spread" in text and "closer together than" not in text


def test_labels_are_letters_in_html() -> None:
    table = apart()
    table["shop"] = table["shop"].replace("shop 3", "<script>alert(1)</script>")
    page = as_html(round_robin(table))
    assert "<script" not in page and "&lt;script&gt;" in page
    assert "h (1 % at 2.06)" in page and "statistic (5 %, 1 %)" in page
