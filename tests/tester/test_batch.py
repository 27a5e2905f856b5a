"""One batch: h and k as published and by their definition; what it cannot tell is said."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from reference.stored import stored_table

from sharpstats.tester.batch import Batch, batch_notes, judge_batch


def material(name: str, value: str = "value_corrected") -> Batch:
    table = stored_table("interlab/e691_glucose")
    cells = table[table["material"] == name].groupby("lab")[value].agg(["size", "mean", "var"])
    return judge_batch(name, [f"{lab:.0f}" for lab in cells.index], cells["size"], cells["mean"], cells["var"])


def codes(batch: Batch, shops: str = "ABC") -> list[str]:
    return [note.code for note in batch_notes(batch, shops)]


class TestGlucose:
    """ASTM E691: h and k of laboratory 4, material C: 1.59 and 1.02; with 148.30 as tabulated 2.14 and 2.41."""

    def test_h_and_k(self) -> None:
        found = material("C")
        assert (f"{found.h[3]:.2f}", f"{found.k[3]:.2f}") == ("1.59", "1.02")
        tabulated = material("C", "value")
        assert (f"{tabulated.h[3]:.2f}", f"{tabulated.k[3]:.2f}") == ("2.14", "2.41")

    def test_limits(self) -> None:
        found = material("A")
        assert f"{found.h_critical(0.005):.2f} {found.k_critical(0.005):.2f}" == "2.15 2.06"

    def test_who_is_over_them(self) -> None:
        """E691 marks k of laboratory 2 on material E (2.33) and, as tabulated, of laboratory 4 on material C."""
        over = {(name, shop) for name in "ABCDE" for found in [material(name)] for shop, k, h in
                zip(found.shops, found.k, found.h, strict=True)
                if k > found.k_critical(0.005) or abs(h) > found.h_critical(0.005)}  # fmt: skip
        assert over == {("E", "2")}


class TestDefinition:
    def test_h_sums_to_zero_and_k_squares_to_p(self) -> None:
        for name in "ABCDE":
            found = material(name)
            assert found.h.sum() == pytest.approx(0, abs=1e-9)
            assert (found.h**2).sum() == pytest.approx(7, rel=1e-9)
            assert (found.k**2).sum() == pytest.approx(8, rel=1e-9)

    def test_beyond_the_limit_is_p_below_its_level(self) -> None:
        for name in "ABCDE":
            found = material(name)
            for alpha in (0.3, 0.05, 0.01):
                assert ((found.h_p < alpha) == (np.abs(found.h) > found.h_critical(alpha))).all()
                assert ((found.k_p < alpha) == (found.k > found.k_critical(alpha))).all()

    def test_outlying_cells_leave_the_kept_precision(self) -> None:
        found = judge_batch("x", list("abcdef"), [2] * 6, [10, 10.5, 9.5, 10.2, 9.8, 30], [1.0] * 6)
        assert found.outlying == ("f",) and found.kept is not None and found.kept.shops == 5
        assert found.whole.shops == 6
        others = judge_batch("x", list("abcde"), [2] * 5, [10, 10.5, 9.5, 10.2, 9.8], [1.0] * 5)
        assert found.kept == others.whole

    def test_cuts_alike_but_for_the_last_bits(self) -> None:
        found = judge_batch("x", list("abc"), [2] * 3, [100.0, 100.0, 100.0], [1e-25, 0.0, 1e-26])
        assert (found.sds == 0).all() and np.isnan(found.h).all() and np.isnan(found.k).all()
        assert found.looks == ()


class TestNotes:
    def test_nothing_to_say(self) -> None:
        assert codes(judge_batch("x", "ABC", [2] * 3, [1, 3, 5], [0.5] * 3)) == []

    @pytest.mark.parametrize(
        ("n", "means", "variances", "expected"),
        [
            ([2, 2], [1, 2], [0.1, 0.2], ["lost-cells", "two-shops"]),
            ([2], [1], [0.1], ["lost-cells", "one-shop"]),
            ([1, 1, 1], [1, 2, 4], [np.nan] * 3, ["one-cut"]),
            ([2, 2, 2], [1, 2, 4], [0, 0, 0.3], ["no-spread"]),
            ([2, 2, 2], [4, 4, 4], [0.1, 0.1, 0.3], ["like-means"]),
            ([2, 3, 1], [1, 2, 4], [0.1, 0.1, np.nan], ["unequal-cells"]),
            ([2, 2, 2], [1, 1.2, 1.4], [0.9, 0.8, 0.7], ["negative-between"]),
            ([2, 2, 2], [1, 1.001, 1.0005], [0.9, 0.8, 0.7], ["means-too-close"]),
        ],
    )
    def test_each_is_told(self, n: list[int], means: list[float], variances: list[float], expected: list[str]) -> None:
        assert codes(judge_batch("x", "ABC"[: len(n)], n, means, variances)) == expected

    def test_two_shops_have_no_h(self) -> None:
        found = judge_batch("x", "AB", [2, 2], [1, 2], [0.1, 0.2])
        assert np.isnan(found.h).all() and np.isnan(found.h_critical(0.05))
        assert np.isfinite(found.k).all()

    def test_one_cut_has_no_k(self) -> None:
        found = judge_batch("x", "ABC", [1, 1, 1], [1, 2, 4], [np.nan] * 3)
        assert np.isnan(found.k).all() and np.isnan(found.k_critical(0.05))
        assert np.isfinite(found.h).all()
