"""Layouts found, layouts contradicted, and what cannot be told apart."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from invented import crossed, nested

from sharpstats.errors import FitError
from sharpstats.tester.arrangement import can_tell_apart, find_arrangement


def names(table: pd.DataFrame, stated: str | None = None) -> list[str]:
    return [part.name for part in find_arrangement(table, stated).parts]


def codes_of(table: pd.DataFrame, stated: str | None = None) -> list[str]:
    return [note.code for note in find_arrangement(table, stated).notes]


class TestFound:
    def test_crossed(self) -> None:
        found = find_arrangement(crossed())
        assert found.kind == "crossed"
        assert [part.name for part in found.parts] == ["operator", "edge", "operator x edge"]
        assert [part.levels for part in found.parts] == [3, 8, 24]
        assert [note.code for note in found.notes] == ["few-levels"]

    def test_crossed_with_a_lost_cell_is_still_crossed(self) -> None:
        table = crossed().query("not (operator == 'p1' and edge == 'e3')")
        assert find_arrangement(table).kind == "crossed"

    def test_nested(self) -> None:
        found = find_arrangement(nested())
        assert (found.kind, names(nested())) == ("nested", ["operator", "edge"])
        assert "sits inside the spread between edges" in found.notes[0].text

    @pytest.mark.parametrize("table", [crossed(operators=1), crossed().drop(columns="operator")])
    def test_one_operator(self, table: pd.DataFrame) -> None:
        found = find_arrangement(table)
        assert (found.kind, names(table)) == ("one operator", ["edge"])
        assert found.notes[0].code == "one-operator"

    def test_like_edges_only_where_a_person_says_so(self) -> None:
        table = crossed(operators=1, cuts=1, edges=12)
        assert names(table, "like edges") == []
        assert codes_of(table, "like edges") == ["like-edges"]
        with pytest.raises(FitError, match='write layout = "like edges"'):
            find_arrangement(table)

    def test_few_levels_are_told_together(self) -> None:
        notes = {note.code: note.text for note in find_arrangement(crossed().assign(day=crossed()["cut"] % 2)).notes}
        assert notes["few-levels"].startswith("Only 3 operators and 2 days were tried, so")

    def test_one_edge_has_no_spread_between_edges(self) -> None:
        assert names(crossed(edges=1)) == ["operator"]


class TestContradicted:
    def test_crossed_but_nested(self) -> None:
        with pytest.raises(FitError, match='"crossed", but no edge was cut by more than one operator'):
            find_arrangement(nested(), "crossed")

    def test_nested_but_crossed(self) -> None:
        with pytest.raises(FitError, match="e0 was cut by more than one operator"):
            find_arrangement(crossed(), "nested")

    @pytest.mark.parametrize(
        ("table", "stated", "says"),
        [(crossed(), "one operator", "the readings have 3 operators"),
         (crossed(operators=1), "crossed", "the readings have one operator"),
         (crossed().drop(columns="operator"), "nested", "the readings have no operator recorded")],
    )  # fmt: skip
    def test_number_of_operators(self, table: pd.DataFrame, stated: str, says: str) -> None:
        with pytest.raises(FitError, match=says):
            find_arrangement(table, stated)

    def test_no_such_layout(self) -> None:
        with pytest.raises(ValueError, match="one of crossed, nested, one operator, like edges, got 'square'"):
            find_arrangement(crossed(), "square")


class TestTogether:
    def test_two_lots_on_two_days_are_said_and_not_guessed(self) -> None:
        table = crossed()
        day = np.where(table["cut"] < 3, "monday", "tuesday")
        table = table.assign(day=day, filament_lot=np.where(table["cut"] < 3, "L7", "L8"))
        assert names(table)[-1] == "day = filament lot"
        notes = {note.code: note.text for note in find_arrangement(table).notes}
        assert notes["always-together"] == (
            "Day and filament lot always changed together in this study. Their spread is one part, "
            '"day = filament lot"; nothing in these readings says which of them it belongs to.'
        )

    def test_names_of_levels_play_no_part(self) -> None:
        table = crossed()
        table = table.assign(day=table["operator"].map({"p0": "z", "p1": "a", "p2": "m"}))
        assert names(table)[0] == "operator = day"

    def test_each_edge_on_its_own_day_belongs_to_the_edges(self) -> None:
        table = crossed()
        found = find_arrangement(table.assign(day=table["edge"]))
        assert [part.of_edges for part in found.parts] == [False, True, False]

    def test_one_cut_in_a_cell_leaves_the_interaction_inside_repeatability(self) -> None:
        assert names(crossed(cuts=1)) == ["operator", "edge"]
        notes = {note.code: note.text for note in find_arrangement(crossed(cuts=1)).notes}
        assert notes["inside-repeatability"] == (
            "There is one cut for each edge by each operator, so the spread of operator x edge sits inside "
            "repeatability."
        )

    def test_nested_edges_cut_once_leave_their_spread_inside_repeatability(self) -> None:
        found = find_arrangement(nested(cuts=1))
        assert [part.name for part in found.parts] == ["operator"]
        assert "spread of edge sits inside repeatability" in found.notes[-1].text

    def test_a_day_that_only_changes_with_an_interaction_is_left_out_and_said(self) -> None:
        table = crossed(operators=2, edges=2)
        table = table.assign(day=np.where((table["operator"] == "p0") == (table["edge"] == "e0"), "a", "b"))
        assert names(table) == ["operator", "edge", "operator x edge"]
        assert "not-told-apart" in codes_of(table)

    def test_lots_within_days_are_two_parts(self) -> None:
        table = crossed(cuts=8)
        day = (table["cut"] - 1) // 4
        table = table.assign(day=day, filament_lot=(table["cut"] - 1) // 2)
        assert names(table)[-2:] == ["day", "filament lot"]

    def test_one_level_of_a_circumstance_is_no_part(self) -> None:
        assert "day" not in names(crossed().assign(day="monday"))

    def test_nothing_left_over(self) -> None:
        assert not can_tell_apart([np.array([0, 0, 1, 1]), np.array([0, 0, 1, 1])])
        assert can_tell_apart([])
