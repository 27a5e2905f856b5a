"""`no worse`: the medium is not duller than the other one by more than the margin."""

from __future__ import annotations

import math

from sharpstats.claims.region import Region, on_scale
from sharpstats.trial.plan import NoWorse, Scale


def region(claim: NoWorse, scale: Scale) -> Region:
    """Differences that make the claim true.

    Examples
    --------
    >>> from sharpstats.units import Quantity
    >>> region(NoWorse(id="a", says="", medium="x", than="y", margin=Quantity(25.0, "gf")), "as read")
    Region(low=-inf, high=25.0)
    """
    return Region(-math.inf, on_scale(claim.margin, scale))
