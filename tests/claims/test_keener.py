"""`keener`: below zero by at least so much."""

from __future__ import annotations

import math

from sharpstats.claims.keener import region
from sharpstats.claims.noworse import region as no_worse
from sharpstats.claims.region import Region
from sharpstats.trial.plan import Keener, NoWorse
from sharpstats.units import Quantity


def claim(by: Quantity) -> Keener:
    return Keener(id="a", says="", medium="film", than="stone", by=by)


def test_region_ends_that_far_below_zero() -> None:
    assert region(claim(Quantity(20.0, "%")), "log") == Region(-math.inf, -math.log1p(0.2))
    assert region(claim(Quantity(25.0, "gf")), "as read") == Region(-math.inf, -25.0)


def test_keener_at_all_ends_at_plain_zero() -> None:
    found = region(claim(Quantity(0.0, "%")), "log")
    assert found == Region(-math.inf, 0.0)
    assert math.copysign(1, found.high) == 1


def test_keener_by_a_margin_is_all_that_the_reverse_no_worse_leaves_out() -> None:
    margin = Quantity(15.0, "%")
    other = NoWorse(id="b", says="", medium="stone", than="film", margin=margin)
    assert region(claim(margin), "log").high == -no_worse(other, "log").high
