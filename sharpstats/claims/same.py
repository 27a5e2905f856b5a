"""`same`: the two media differ by less than the margin, either way."""

from __future__ import annotations

from sharpstats.claims.region import Region, on_scale
from sharpstats.trial.plan import Same, Scale


def region(claim: Same, scale: Scale) -> Region:
    """Differences that make the claim true.

    Examples
    --------
    >>> from sharpstats.units import Quantity
    >>> region(Same(id="a", says="", medium="x", than="y", margin=Quantity(25.0, "gf")), "as read")
    Region(low=-25.0, high=25.0)
    """
    margin = on_scale(claim.margin, scale)
    return Region(-margin, margin)
