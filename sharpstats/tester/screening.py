"""Which cells of one batch stand apart from the others: the order of tests and the rule of ISO 5725-2.

Clause 7.3 of ISO 5725-2:2019: spreads first (Cochran; after an outlier again on the others), then means
without the cells found so (Grubbs). If the farthest mean is an outlier, the other end is looked at
without it, and that is all; if no single mean is one, the two largest and the two smallest are tried as
pairs. p above 5 %: accepted; 5 % to 1 %: a straggler, kept but marked; below 1 %: a statistical outlier.

An outlier is proposed. Whether a cell goes is for a person to decide, with a reason that can be read.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sharpstats.tester import outlying, outlyingpair

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
Looked = Literal["spread", "largest mean", "smallest mean", "two largest means", "two smallest means"]
Mark = Literal["accepted", "straggler", "outlier"]
STRAGGLER, OUTLIER = 0.05, 0.01
SAME = 1e-12
"""Relative differences below this come from the last bits of the arithmetic."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One test of the cells of a batch.

    Attributes
    ----------
    shops : tuple of str
        The shop whose cell is farthest from the others; two where a pair is tried.
    looked_at : str
        ``spread`` (Cochran), ``largest mean``, ``smallest mean``, ``two largest means`` or ``two smallest
        means`` (Grubbs).
    statistic : float
        Cochran's C: the cell's share of the sum of variances. Grubbs's G: SDs from the mean of all,
        or for a pair the share of the sum of squares that is left without it.
    p : float
        p value of the most extreme cell.
    at_5, at_1 : float
        Critical values of the statistic at 5 % and 1 %; where cells have unequal counts C's are those of
        the most common count, as in the standard, while p is exact for the cell's own.
    cells : int
        Cells compared.
    two_camps : bool
        Whether the two largest and the two smallest means both have so small a p value. Then no one can say
        which of the pairs is out of place: both are stragglers.
    """

    shops: tuple[str, ...]
    looked_at: Looked
    statistic: float
    p: float
    at_5: float
    at_1: float
    cells: int
    two_camps: bool = False

    @property
    def mark(self) -> Mark:
        """What the rule of the standard makes of the p value."""
        return "straggler" if self.two_camps else mark(self.p)


def mark(p: float) -> Mark:
    """Return what the rule of the standard makes of a p value.

    Examples
    --------
    >>> mark(0.2), mark(0.03), mark(0.004)
    ('accepted', 'straggler', 'outlier')
    """
    return "outlier" if p < OUTLIER else "straggler" if p < STRAGGLER else "accepted"


def screen(
    shops: Sequence[str], n: ArrayLike, means: ArrayLike, variances: ArrayLike, *, step: float = 0.0
) -> tuple[Look, ...]:
    """Look at spreads, then at means, in the standard's order.

    Parameters
    ----------
    shops : sequence of str, of length p
    n, means, variances : array_like of shape (p,)
        Cuts of each shop, their mean and variance.
    step : float
        Step to which readings were rounded, in the units of the means; 0 if unknown. Where all other means are
        alike to the last digit, step / sqrt(12) stands for their SD; with an unknown step no test is made.

    Returns
    -------
    tuple of Look
        In the order in which the tests were made. Empty where too few cells can be compared.

    Examples
    --------
    >>> looks = screen("abcdef", [2] * 6, [10, 11, 9, 10.5, 9.5, 30], [1, 2, 1, 1, 1.5, 1])
    >>> for look in looks:
    ...     print(*look.shops, look.looked_at, look.mark)
    b spread accepted
    f largest mean outlier
    c smallest mean accepted
    """
    counts, y, s = np.asarray(n), np.asarray(means, dtype=float), np.asarray(variances, dtype=float)
    spreads = tuple(_spreads(shops, counts, s))
    out = {shop for look in spreads if look.mark == "outlier" for shop in look.shops}
    left = np.array([place for place, shop in enumerate(shops) if shop not in out], dtype=np.intp)
    return (*spreads, *_means([shops[int(place)] for place in left], y[left], step))


def outlying_shops(looks: Sequence[Look]) -> tuple[str, ...]:
    """Return the shops whose cells are proposed as outliers, in the order found.

    Examples
    --------
    >>> outlying_shops(screen("abcdef", [2] * 6, [10, 11, 9, 10.5, 9.5, 30], [1, 2, 1, 1, 1.5, 1]))
    ('f',)
    """
    return tuple(dict.fromkeys(shop for look in looks if look.mark == "outlier" for shop in look.shops))


def too_coarse(variances: Floats) -> bool:
    """Whether most cells show no spread at all, so that the tester's step hides it and no test can judge."""
    return bool((variances > 0).mean() < 0.5)


def _spreads(shops: Sequence[str], n: NDArray[np.int_], s: Floats) -> Iterator[Look]:
    left: Places = np.flatnonzero(n > 1)
    while left.size > 1 and not too_coarse(s[left]):
        place, p = outlying.cochran_p(s[left], n[left] - 1)
        common = most_common(n[left])
        at_5, at_1 = (outlying.cochran_critical(left.size, common, alpha) for alpha in (STRAGGLER, OUTLIER))
        share = float(s[left][place] / s[left].sum())
        yield Look(shops=(shops[left[place]],), looked_at="spread", statistic=share, p=p, at_5=at_5, at_1=at_1,
                   cells=left.size)  # fmt: skip
        if mark(p) != "outlier":
            return
        left = np.delete(left, place)


def most_common(n: NDArray[np.int_]) -> int:
    """Return the most common count, the larger one of two that are equally common.

    Examples
    --------
    >>> most_common(np.array([3, 3, 4, 5, 4]))
    4
    """
    counts, times = np.unique(n, return_counts=True)
    return int(counts[times == times.max()][-1])


def _means(shops: Sequence[str], y: Floats, step: float) -> Iterator[Look]:
    """Grubbs's tests: the farthest mean, the other end, then pairs unless one alone was outlying."""
    if y.size < outlying.FEWEST_MEANS or not _differ(y):
        return
    far = int(np.argmax(np.abs(y - y.mean())))
    largest, out = bool(y[far] > y.mean()), False
    for look in _one(shops, y, step, largest=largest):
        out = look.mark == "outlier"
        yield look
    left = np.delete(np.arange(y.size), far) if out else np.arange(y.size)
    yield from _one([shops[int(place)] for place in left], y[left], step, largest=not largest)
    if not out and y.size >= outlyingpair.FEWEST_MEANS:
        yield from _pairs(shops, y)


def _pairs(shops: Sequence[str], y: Floats) -> tuple[Look, ...]:
    ordered = np.sort(y)
    sides = {True: ordered[:-2], False: ordered[2:]}
    looks = tuple(_two(shops, y, largest=largest) for largest, others in sides.items() if _differ(others))
    if len(looks) == 2 and all(look.mark == "outlier" for look in looks):
        return tuple(replace(look, two_camps=True) for look in looks)
    return looks


def _differ(y: Floats) -> bool:
    return bool(np.ptp(y) > SAME * np.abs(y).max())


def _one(shops: Sequence[str], y: Floats, step: float, *, largest: bool) -> Iterator[Look]:
    """Test one end; nothing where it cannot be judged."""
    if y.size < outlying.FEWEST_MEANS or not _differ(y):
        return
    place = int(np.argmax(y) if largest else np.argmin(y))
    others = np.delete(y, place)
    if not _differ(others) and not step:
        return
    sd = float(others.std(ddof=1)) if _differ(others) else step / math.sqrt(12)
    t = float(abs(y[place] - others.mean())) / (sd * math.sqrt(y.size / (y.size - 1)))  # G is this t in another dress
    at_5, at_1 = (outlying.grubbs_critical(y.size, alpha) for alpha in (STRAGGLER, OUTLIER))
    yield Look(shops=(shops[place],), looked_at="largest mean" if largest else "smallest mean",
               statistic=outlying.distance_of(t, y.size), at_5=at_5, at_1=at_1, cells=y.size,
               p=float(outlying.grubbs_p(outlying.distance_of(t, y.size), y.size)))  # fmt: skip


def _two(shops: Sequence[str], y: Floats, *, largest: bool) -> Look:
    order = np.argsort(y, kind="stable")
    pair = order[-2:] if largest else order[:2]
    g = outlyingpair.grubbs_pair(y, largest=largest)
    at_5, at_1 = (outlyingpair.grubbs_pair_critical(y.size, alpha) for alpha in (STRAGGLER, OUTLIER))
    return Look(shops=tuple(sorted(shops[place] for place in pair)), statistic=g, at_5=at_5, at_1=at_1,
                looked_at="two largest means" if largest else "two smallest means",
                p=outlyingpair.grubbs_pair_p(g, y.size), cells=y.size)  # fmt: skip
