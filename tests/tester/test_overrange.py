"""Cuts over the tester's range."""

from __future__ import annotations

import pandas as pd

from sharpstats.tester.overrange import over_range, without_over_range

TABLE = pd.DataFrame({"edge": list("aabb"), "reading": [1.0, 2.0, 3.0, 4.0], "over_range": [False, True, False, False]})


def test_flags() -> None:
    assert over_range(TABLE).tolist() == [False, True, False, False]
    assert not over_range(TABLE.drop(columns="over_range")).any()


def test_the_whole_edge_is_left_out_and_that_is_said() -> None:
    kept, notes = without_over_range(TABLE)
    assert kept["edge"].tolist() == ["b", "b"]
    assert "All 2 of the same edge are left out" in notes[0].text


def test_of_no_edge_only_the_cut_itself() -> None:
    kept, _ = without_over_range(TABLE.drop(columns="edge"))
    assert kept["reading"].tolist() == [1.0, 3.0, 4.0]


def test_nothing_to_leave_out_is_nothing_to_say() -> None:
    kept, notes = without_over_range(TABLE[2:])
    assert len(kept) == 2
    assert not notes
