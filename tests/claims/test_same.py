"""`same`: inside the margin either way."""

from __future__ import annotations

import math

import pytest

from sharpstats.claims.region import Region, reported
from sharpstats.claims.same import region
from sharpstats.trial.plan import Same
from sharpstats.units import Quantity


def claim(margin: Quantity) -> Same:
    return Same(id="a", says="", medium="film", than="stone", margin=margin)


def test_region_on_the_log_scale_is_a_ratio_either_way() -> None:
    found = region(claim(Quantity(25.0, "%")), "log")
    assert found == Region(-math.log1p(0.25), math.log1p(0.25))
    assert reported(found.low, "log") == pytest.approx(-20)  # 1 / 1.25


def test_region_on_the_scale_as_read() -> None:
    assert region(claim(Quantity(0.2, "N")), "as read") == Region(-0.2, 0.2)
