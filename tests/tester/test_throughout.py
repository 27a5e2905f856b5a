"""A shop at the same end on every batch: found where chance is rare, at the rate that is stated."""

from __future__ import annotations

import numpy as np
import pytest

from sharpstats.tester.batch import Batch, judge_batch
from sharpstats.tester.throughout import throughout


def batches(means: np.ndarray) -> list[Batch]:
    """One batch a row, one shop a column; NaN where a shop did not read it."""
    found = []
    for name, row in enumerate(means):
        there = np.flatnonzero(~np.isnan(row))
        found.append(judge_batch(f"b{name}", [f"s{i}" for i in there], [1] * there.size, row[there],
                                 [np.nan] * there.size))  # fmt: skip
    return found


def test_highest_and_lowest_by_name() -> None:
    means = np.random.default_rng(1).normal(size=(4, 6)) + np.array([9, 0, 0, 0, 0, -9])
    assert [(one.shop, one.end, one.batches) for one in throughout(batches(means))] == [
        ("s0", "highest", 4), ("s5", "lowest", 4)
    ]  # fmt: skip
    assert throughout(batches(means))[0].p == pytest.approx(2 * 6 / 6**4)
    turned = throughout(batches(-means))
    assert [(one.shop, one.end) for one in turned] == [("s0", "lowest"), ("s5", "highest")]


def test_too_few_batches_prove_nothing() -> None:
    means = np.random.default_rng(1).normal(size=(2, 6)) + np.array([9, 0, 0, 0, 0, -9])
    assert throughout(batches(means)) == ()  # one in three pairs of batches has such a shop


def test_a_tie_or_one_other_place_is_enough() -> None:
    means = np.tile([9.0, 9.0, 1.0, 2.0, 0.0], (5, 1))
    means[3, 4] = 5.0
    assert throughout(batches(means)) == ()


def test_only_batches_that_were_read_by_three_count() -> None:
    means = np.array([[9, 1, 2, 3.0, 4]] * 4 + [[0, 1, np.nan, np.nan, np.nan]])
    assert [(one.shop, one.batches) for one in throughout(batches(means)) if one.end == "highest"] == [("s0", 4)]


def test_stated_rate() -> None:
    """Seven shops, three batches: p is 4.1 %, and in 6,000 rounds some shop is at an end that often."""
    rng = np.random.default_rng(4)
    seen = 0
    for _ in range(6_000):
        y = rng.normal(size=(3, 7))
        seen += len(set(y.argmax(axis=1))) == 1 or len(set(y.argmin(axis=1))) == 1
    p = 2 * 7 / 7**3
    assert abs(seen / 6_000 - p) < 4 * np.sqrt(p / 6_000)
    told = throughout(batches(np.tile(np.arange(7.0), (3, 1))))
    assert [one.p for one in told] == pytest.approx([p, p])
