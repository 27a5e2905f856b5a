"""How many more edges would probably settle an open claim.

The simple answer: the difference and the spread are taken as they were found, and settled
means shown or contradicted with a chance of four in five. The trial is taken to grow as a
whole, with new blocks that hold as many edges each as the old ones, so that the variance of a
difference falls as one over the number of edges. More edges in the same blocks would tell
less, since what a block does to a medium stays in every one of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from scipy import special, stats

from sharpstats.claims.region import Region

CHANCE = 0.8
MOST = 1000


def fewest(settled: Callable[[int], float], now: int) -> int | None:
    """Smallest number of edges to add so that the chance is reached.

    Parameters
    ----------
    settled : callable
        Edges for each medium in all -> chance that the claim is settled.
    now : int
        Edges there are.

    Returns
    -------
    int or None
        None for more than 1,000.

    Examples
    --------
    >>> fewest(lambda edges: 1 - 2.0 ** (-edges / 10), 10)
    14
    """
    if settled(now + MOST) < CHANCE:
        return None
    low, high = 0, MOST
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if settled(now + middle) >= CHANCE else (middle, high)
    return high


def chance_of_region(region: Region, estimate: float, se: float, df: float, rate: float) -> float:
    """Chance that a new trial shows or contradicts a region if the truth is `estimate`.

    Examples
    --------
    >>> round(chance_of_region(Region(-math.inf, 0.0), -1.0, 0.4, 20, 0.05), 3)
    0.781
    """
    reach = float(stats.t.isf(rate, df)) * se

    def below(limit: float) -> float:
        return float(special.ndtr((limit - estimate) / se))

    shown = max(below(region.high - reach) - below(region.low + reach), 0.0)
    return shown + below(region.low - reach) + 1 - below(region.high + reach)


def more_for_region(region: Region, estimate: float, se: float, df: float, rate: float, now: int) -> int | None:
    """Edges to add for each medium until a comparison is probably settled."""

    def settled(edges: int) -> float:
        grown = edges / now
        return chance_of_region(region, estimate, se / math.sqrt(grown), df * grown, rate)

    return fewest(settled, now)
