"""`keener`: the medium reads lower than the other one by at least so much."""

from __future__ import annotations

import math

from sharpstats.claims.region import Region, on_scale
from sharpstats.trial.plan import Keener, Scale


def region(claim: Keener, scale: Scale) -> Region:
    """Differences that make the claim true.

    "Keener by 20 %" means that the other medium reads at least 1.20 times as much: just what
    contradicts "the other is no worse by more than 20 %".

    Examples
    --------
    >>> from sharpstats.units import Quantity
    >>> region(Keener(id="a", says="", medium="x", than="y", by=Quantity(25.0, "gf")), "as read")
    Region(low=-inf, high=-25.0)
    """
    return Region(-math.inf, 0.0 - on_scale(claim.by, scale))
