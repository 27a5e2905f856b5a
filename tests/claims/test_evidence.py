"""From two p values to an outcome."""

from __future__ import annotations

import math

import pytest

from sharpstats.claims.evidence import outcome


@pytest.mark.parametrize(
    ("p_shown", "p_contradicted", "expected"),
    [
        (0.05, 0.9, "shown"), (0.051, 0.9, "open"), (0.9, 0.05, "contradicted"), (0.9, 0.051, "open"),
        (math.nan, math.nan, "open"), (0.5, 0.5, "open"),
    ],
)  # fmt: skip
def test_outcome_at_five_percent(p_shown: float, p_contradicted: float, expected: str) -> None:
    assert outcome(p_shown, p_contradicted, 0.05) == expected
