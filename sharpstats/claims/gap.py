"""`gap`: the difference of the two media is the same at two levels of another factor, or is not."""

from __future__ import annotations

from sharpstats.claims.contrast import Place
from sharpstats.claims.region import Outside, Region, on_scale
from sharpstats.trial.plan import Gap, Scale


def region(claim: Gap, scale: Scale) -> Region:
    """Gaps that make the claim true: those within the margin, or those beyond it.

    On the log scale a gap is a ratio of ratios, and a margin of 15 % is 1.15 either way.

    Examples
    --------
    >>> from sharpstats.units import Quantity
    >>> asked = dict(id="a", says="", medium="x", than="y", across="steel", levels=("soft", "hard"))
    >>> region(Gap(**asked, margin=Quantity(25.0, "gf")), "as read")
    Region(low=-25.0, high=25.0)
    >>> region(Gap(**asked, margin=Quantity(25.0, "gf"), depends=True), "as read")
    Outside(low=-25.0, high=25.0)
    """
    margin = on_scale(claim.margin, scale)
    return (Outside if claim.depends else Region)(0.0 - margin, margin)


def places(claim: Gap) -> tuple[Place, Place]:
    """The two places whose differences are compared: the first minus the second.

    Examples
    --------
    >>> from sharpstats.units import Quantity
    >>> asked = dict(id="a", says="", medium="x", than="y", across="steel", levels=("soft", "hard"))
    >>> [(place.sign, dict(place.where)) for place in places(Gap(**asked, margin=Quantity(25.0, "gf")))]
    [(1.0, {'steel': 'soft'}), (-1.0, {'steel': 'hard'})]
    """
    first, second = ({**claim.where, claim.across: level} for level in claim.levels)
    return Place(first, 1.0, claim.levels[0]), Place(second, -1.0, claim.levels[1])
