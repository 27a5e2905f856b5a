"""`no worse`: below the margin."""

from __future__ import annotations

import math

from sharpstats.claims.noworse import region
from sharpstats.claims.region import Region
from sharpstats.trial.plan import NoWorse
from sharpstats.units import Quantity


def claim(margin: Quantity) -> NoWorse:
    return NoWorse(id="a", says="", medium="film", than="stone", margin=margin)


def test_region_has_no_lower_limit() -> None:
    assert region(claim(Quantity(15.0, "%")), "log") == Region(-math.inf, math.log1p(0.15))
    assert region(claim(Quantity(25.0, "gf")), "as read") == Region(-math.inf, 25.0)
