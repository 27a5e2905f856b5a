"""Each comparison reaches the digits that its other side has to give."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from reference.against_published import PARTS, Printed, comparisons, printed_tables

RECALLED_WRONGLY = {"tolerance_factors, one-sided": 3, "grubbs_single": 2, "control_chart_constants": 1}
"""Rows marked NO in the stored tables."""


@pytest.mark.parametrize("part", PARTS)
def test_digits(part: str) -> None:
    short = {}
    for one in comparisons(part):
        assert one.comparison.ours.shape == one.comparison.theirs.shape
        assert one.comparison.ours.size > 0
        if not one.comparison.digits > one.asked - 0.3:
            short[one.comparison.case, one.comparison.quantity] = one.comparison.digits
    assert short == {}


def test_printed_digits() -> None:
    tables = printed_tables()
    assert len(tables) == len({one.table for one in tables}) >= 10
    for one in tables:
        assert len(one.ours) == len(one.printed) > 0
    short = {one.table: len(one.ours) - one.agree for one in tables if one.agree < len(one.ours)}
    assert short == RECALLED_WRONGLY


def test_a_value_one_unit_off_does_not_agree() -> None:
    assert Printed("made up", "", [2.911, 3.0], ["2.911", "2.999"]).agree == 1
