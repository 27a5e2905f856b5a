"""Counting the edges that read below a level: no word about how readings are distributed.

The exact binomial test (Clopper & Pearson 1934, Biometrika 26:404-413), and the order
statistics that belong to it as bounds of the reading. An edge with an over-range cut is not
below where its claim should be shown, and may be below where it should be contradicted, as
far as its other cuts allow.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from sharpstats.claims.evidence import outcome
from sharpstats.claims.finding import Outcome, SecondOpinion
from sharpstats.claims.settle import fewest

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Counted:
    """Edges held against a level.

    Attributes
    ----------
    means : ndarray
        Means of the edges with every cut in range.
    least : ndarray
        For each edge with an over-range cut, the least that its mean can be.
    limit : float
        The level, on the scale of the means.
    share : float
        Share of edges that is claimed to lie below it.

    Examples
    --------
    >>> counted = Counted(np.array([4.0, 5.0, 6.0]), np.array([8.0]), limit=7.0, share=0.5)
    >>> counted.below, counted.edges, round(counted.p_shown, 4)
    (3, 4, 0.3125)
    """

    means: Floats
    least: Floats
    limit: float
    share: float

    @property
    def edges(self) -> int:
        """Number of edges."""
        return len(self.means) + len(self.least)

    @property
    def below(self) -> int:
        """Edges that surely read below the level."""
        return int((self.means < self.limit).sum())

    @property
    def perhaps(self) -> int:
        """Edges that read below the level or may do so."""
        return self.below + int((self.least < self.limit).sum())

    @property
    def p_shown(self) -> float:
        """Chance of as many edges below or more, if the share were just what is claimed."""
        return float(stats.binom.sf(self.below - 1, self.edges, self.share)) if self.edges else math.nan

    @property
    def p_contradicted(self) -> float:
        """Chance of as few edges below or fewer."""
        return float(stats.binom.cdf(self.perhaps, self.edges, self.share)) if self.edges else math.nan

    @cached_property
    def _highest(self) -> Floats:
        return np.sort(np.append(self.means, np.full(len(self.least), np.inf)))

    @property
    def estimate(self) -> float:
        """Smallest reading of an edge with the share at or below it; infinite if that one is over range."""
        return float(self._highest[max(math.ceil(self.share * self.edges - 1e-9) - 1, 0)])

    def bounds(self, rate: float) -> tuple[float, float]:
        """Order statistics on either side of the reading; infinite where there are too few edges.

        The upper one is below the level exactly if the claim is shown at that error rate, the
        lower one at or above it exactly if the claim is contradicted.
        """
        high = int(stats.binom.ppf(1 - rate, self.edges, self.share))
        low = int(stats.binom.ppf(rate, self.edges, self.share)) - 1
        lowest = np.sort(np.append(self.means, self.least))
        return (
            float(lowest[low]) if low >= 0 else -math.inf,
            float(self._highest[high]) if high < self.edges else math.inf,
        )

    def opinion(self, rate: float, found: Outcome) -> SecondOpinion:
        """Judge by the count, at the finding's error rate."""
        said = outcome(self.p_shown, self.p_contradicted, rate)
        return SecondOpinion("counting edges", said, said == found,
                             f"{self.below} of {self.edges} edges read below; by counting alone the claim is {said}"
                             f"{', too' if said == found else ''}.")  # fmt: skip

    def more_edges(self, rate: float) -> int | None:
        """Edges to add if the share below stays as it is; None for more than 1,000."""
        seen = ((self.below + self.perhaps) / 2 + 0.5) / (self.edges + 1)

        def settled(m: int) -> float:
            shown = stats.binom.isf(rate, m, self.share) + 1  # fewest below that show the claim
            contradicted = stats.binom.ppf(rate, m, self.share) - 1
            return float(stats.binom.sf(shown - 1, m, seen) + stats.binom.cdf(contradicted, m, seen))

        return fewest(settled, self.edges)
