"""Does one shop read highest, or lowest, on every batch? Then it is the shop that differs, not an edge.

If shops differed by chance alone, each of p shops would read highest on a batch one time in p, and the same
one on q batches one time in p^(q-1). Whoever looks at both ends finds such a shop twice as often. (Our
derivation; ISO 5725-2:2019, clause 7.3.1, asks to look for this in the picture of h.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sharpstats.tester.batch import Batch
from sharpstats.tester.outlying import FEWEST_MEANS

RARE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Throughout:
    """A shop that lies at the same end on every batch it read.

    Attributes
    ----------
    shop : str
    end : str
        ``highest`` or ``lowest``.
    batches : int
        Batches it read, of those read by three shops or more.
    p : float
        Probability that chance puts some shop at some end on so many batches.
    """

    shop: str
    end: Literal["highest", "lowest"]
    batches: int
    p: float


def throughout(batches: Sequence[Batch]) -> tuple[Throughout, ...]:
    """Find shops that read highest or lowest on every batch, where chance would rarely do that (p < 5 %).

    Parameters
    ----------
    batches : sequence of Batch
        Those with fewer than three shops are passed over.

    Returns
    -------
    tuple of Throughout

    Examples
    --------
    >>> from sharpstats.tester.batch import judge_batch
    >>> batches = [judge_batch(name, "ABCDEFGH", [1] * 8, [9, 3, 4, 5, 6, 7, 3, i], [float("nan")] * 8)
    ...            for i, name in enumerate(["keen", "dull", "old"])]
    >>> for found in throughout(batches):
    ...     print(found.shop, found.end, f"{found.p:.3f}")
    A highest 0.031
    H lowest 0.031
    """
    compared = [batch for batch in batches if len(batch.shops) >= FEWEST_MEANS]
    shops = sorted({shop for batch in compared for shop in batch.shops})
    found = []
    for shop in shops:
        mine = [batch for batch in compared if shop in batch.shops]
        p = min(1.0, 2 * len(shops) * float(np.prod([1 / len(batch.shops) for batch in mine])))
        ends = {_end(batch, shop) for batch in mine}
        if p < RARE and len(ends) == 1 and (end := ends.pop()) is not None:
            found.append(Throughout(shop=shop, end=end, batches=len(mine), p=p))
    return tuple(found)


def _end(batch: Batch, shop: str) -> Literal["highest", "lowest"] | None:
    """Which end a shop lies at, alone."""
    own = batch.means[batch.shops.index(shop)]
    others = batch.means[np.array(batch.shops) != shop]
    return "highest" if own > others.max() else "lowest" if own < others.min() else None
