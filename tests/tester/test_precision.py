"""s_r, s_L, s_R of a batch: published values, the formulas written out, mean squares, coverage."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

sys.path.insert(0, str(Path(__file__).parents[1]))

from reference.stored import stored_json, stored_table

from sharpstats.tester.amounts import LIMIT_FACTOR
from sharpstats.tester.precision import Precision, precision


def of(cells: pd.DataFrame, value: str = "value") -> Precision:
    found = cells.groupby("lab")[value].agg(["size", "mean", "var"])
    return precision(found["size"], found["mean"], found["var"])


class TestPublished:
    @pytest.mark.parametrize("material", "ABCDE")
    def test_glucose_in_serum(self, material: str) -> None:
        """ASTM E691: all printed digits of s_r and s_R; 148.30 is read as 138.30 (README of the references)."""
        table, printed = stored_table("interlab/e691_glucose"), stored_json("interlab/e691_glucose")["published"]
        found, row = of(table[table["material"] == material], "value_corrected"), printed[material]
        assert found.within is not None and found.across is not None
        assert (f"{found.within.sd:.4f}", f"{found.across.sd:.4f}") == (row["s_r"], row["s_R"])
        assert found.mean == pytest.approx(float(row["mean"]), abs=2e-4)  # not all are printed rounded
        for sd, name in ((found.within.sd, "r_2.8"), (found.across.sd, "R_2.8")):
            # material C: 4.3216 is printed 4.33 and 6.0150 as 6.02
            assert LIMIT_FACTOR * sd == pytest.approx(float(row[name]), abs=0.0085 if material == "C" else 0.0051)
        assert found.negative == (material == "A")

    @pytest.mark.parametrize("example", ["sulfur", "creosote"])
    def test_iso_annex_b(self, example: str) -> None:
        """All printed digits; sulfur has 3 to 5 results a cell."""
        table, printed = stored_table(f"interlab/iso5725_{example}"), stored_json("interlab/iso5725_annex_b")[example]
        if example == "creosote":
            gone = (table["lab"] == 1) | ((table["lab"] == 6) & (table["level"] == 5))
            table = table[~gone]
        for level, cells in table.groupby("level"):
            found, place = of(cells), int(level) - 1
            assert found.within is not None and found.across is not None
            for value, name in ((found.mean, "mean"), (found.within.sd, "s_r"), (found.across.sd, "s_R")):
                text = printed[name][place]
                assert f"{value:.{len(text.partition('.')[2])}f}" == text, (level, name)


class TestDefinition:
    def test_equal_cells_are_mean_squares(self) -> None:
        y = np.random.default_rng(1).normal(5, 1, size=(7, 4)) + np.arange(7)[:, None] / 3
        found = precision([4] * 7, y.mean(axis=1), y.var(axis=1, ddof=1), level=0.9)
        within, apart = y.var(axis=1, ddof=1).mean(), 4 * y.mean(axis=1).var(ddof=1)
        assert found.within is not None and found.between is not None and found.across is not None
        assert found.within.sd**2 == pytest.approx(within, rel=1e-12)
        assert found.between.sd**2 == pytest.approx((apart - within) / 4, rel=1e-12)
        assert found.across.sd**2 == pytest.approx(within + (apart - within) / 4, rel=1e-12)
        limits = np.sqrt(21 * within / stats.chi2.ppf([0.95, 0.05], 21))
        assert (found.within.low, found.within.high) == pytest.approx(limits, rel=1e-9)

    def test_unequal_cells_by_the_general_formula(self) -> None:
        cells = [np.array([3.0, 4.0]), np.array([5.0, 6.5, 7.0, 6.0]), np.array([2.0]), np.array([4.0, 4.5, 5.5])]
        n, y = np.array([2, 4, 1, 3]), np.array([cell.mean() for cell in cells])
        within = sum(((cell - cell.mean()) ** 2).sum() for cell in cells) / 6
        apart = sum(len(cell) * (cell.mean() - np.concatenate(cells).mean()) ** 2 for cell in cells) / 3
        size = (10 - (n**2).sum() / 10) / 3
        variances = [cell.var(ddof=1) if len(cell) > 1 else np.nan for cell in cells]
        found = precision(n, y, variances)
        assert found.within is not None and found.between is not None and found.across is not None
        assert not found.equal
        assert found.within.sd == pytest.approx(np.sqrt(within))
        assert found.between.sd == pytest.approx(np.sqrt((apart - within) / size))
        assert found.across.sd == pytest.approx(np.sqrt(within + (apart - within) / size))

    def test_means_closer_than_chance(self) -> None:
        found = precision([2, 2, 2], [10.0, 10.9, 10.2], [1.0, 2.0, 3.0])
        assert found.within is not None and found.between is not None and found.across is not None
        assert found.negative and found.between.sd == 0
        assert found.across.sd == pytest.approx(found.within.sd)
        assert found.between.high > 0

    def test_means_too_close_for_independent_cuts(self) -> None:
        """Below the 2.5 % point of F even the upper limit is at zero."""
        found = precision([2] * 6, [10.0, 10.01, 10.0, 10.01, 10.0, 10.01], [2.0] * 6)
        assert found.between is not None and found.between.high == 0

    def test_one_cut_in_each_shop(self) -> None:
        found = precision([1, 1, 1, 1], [1.0, 2.0, 4.0, 3.0], [np.nan] * 4)
        assert found.within is None and found.between is None and found.across is not None
        assert found.across.sd == pytest.approx(np.std([1, 2, 4, 3], ddof=1))
        assert found.across.df == 3

    def test_one_shop(self) -> None:
        found = precision([3], [1.0], [4.0])
        assert found.within is not None and found.within.sd == 2
        assert found.between is None and found.across is None

    def test_no_spread_anywhere(self) -> None:
        found = precision([2, 2], [5.0, 5.0], [0.0, 0.0])
        assert found.across is not None
        assert (found.across.sd, found.across.low, found.across.high) == (0, 0, 0)

    def test_wrong_arguments(self) -> None:
        with pytest.raises(ValueError, match="must name one shop"):
            precision([], [], [])
        with pytest.raises(ValueError, match="`level` must lie between 0 and 1, got 95"):
            precision([2, 2], [1, 2], [1, 1], level=95)


counts = st.lists(st.integers(1, 6), min_size=2, max_size=9).filter(lambda n: max(n) > 1)


@given(counts, st.randoms(use_true_random=False), st.floats(0.01, 100), st.floats(-20, 20))
def test_order_unit_and_shift(n: list[int], random: object, by: float, shift: float) -> None:
    rng = np.random.default_rng(sum(n))
    y, s = rng.normal(size=len(n)), rng.chisquare(3, size=len(n))
    places = np.arange(len(n))
    random.shuffle(places)  # type: ignore[attr-defined]
    one, other = precision(n, y, s), precision(np.array(n)[places], by * y[places] + shift, by**2 * s[places])
    for name in ("within", "between", "across"):
        a, b = getattr(one, name), getattr(other, name)
        expected = [by * a.sd, by * a.low, by * a.high]
        assert [b.sd, b.low, b.high] == pytest.approx(expected, rel=1e-6, abs=1e-6 * by)
        assert a.low <= a.sd <= a.high


LAYOUTS = ([2] * 6, [3] * 8, [2] * 15, [2, 3, 3, 4, 5, 3], [2, 2, 2, 8, 8, 8], [1, 1, 2, 2, 6])


def covered(n: list[int], between: float, trials: int, seed: int) -> dict[str, float]:
    """Share of 95 % intervals that hold the truth, normal readings with s_r = 1."""
    rng, size = np.random.default_rng(seed), np.array(n)
    y = rng.normal(0, np.sqrt(between**2 + 1 / size), size=(trials, size.size))
    s = np.where(size > 1, rng.chisquare(np.maximum(size - 1, 1), size=y.shape) / np.maximum(size - 1, 1), np.nan)
    truth = {"within": 1.0, "between": between, "across": np.hypot(1, between)}
    found = [precision(size, *one) for one in zip(y, s, strict=True)]
    return {name: float(np.mean([getattr(one, name).low <= true <= getattr(one, name).high for one in found]))
            for name, true in truth.items()}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("between", [0.0, 0.5, 1.0, 3.0])
@pytest.mark.parametrize("n", LAYOUTS, ids=str)
def test_coverage(n: list[int], between: float) -> None:
    """95 % intervals over 2,000 round robins; the slack is four standard errors."""
    trials = 2_000
    slack = 4 * np.sqrt(0.05 * 0.95 / trials)
    for name, share in covered(n, between, trials, seed=sum(n)).items():
        lowest = 0.95 if name == "within" else 0.94
        assert share > lowest - slack, (name, share)
