"""Which cells of one batch stand apart from the others: the order of tests and the rule of ISO 5725-2.

Clause 7.3 of ISO 5725-2:2019: spreads first (Cochran; after an outlier again on the others), then means
without the cells found so (Grubbs). If the farthest mean is an outlier, the other end is looked at
without it, and that is all; if no single mean is one, the two largest and the two smallest are tried as
pairs. p above 5 %: accepted; 5 % to 1 %: a straggler, kept but marked; below 1 %: a statistical outlier.

An outlier is proposed. Whether a cell goes is for a person to decide, with a reason that can be read.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sharpstats.tester import outlying, outlyingpair

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
Looked = Literal["spread", "largest mean", "smallest mean", "two largest means", "two smallest means"]
Mark = Literal["accepted", "straggler", "outlier"]
STRAGGLER, OUTLIER = 0.05, 0.01


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
    """

    shops: tuple[str, ...]
    looked_at: Looked
    statistic: float
    p: float
    at_5: float
    at_1: float
    cells: int

    @property
    def mark(self) -> Mark:
        """What the rule of the standard makes of the p value."""
        return mark(self.p)


def mark(p: float) -> Mark:
    """Return what the rule of the standard makes of a p value.

    Examples
    --------
    >>> mark(0.2), mark(0.03), mark(0.004)
    ('accepted', 'straggler', 'outlier')
    """
    return "outlier" if p < OUTLIER else "straggler" if p < STRAGGLER else "accepted"


def screen(shops: Sequence[str], n: ArrayLike, means: ArrayLike, variances: ArrayLike) -> tuple[Look, ...]:
    """Look at spreads, then at means, in the standard's order.

    Parameters
    ----------
    shops : sequence of str, of length p
    n, means, variances : array_like of shape (p,)
        Cuts of each shop, their mean and variance.

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
    return (*spreads, *_means([shops[int(place)] for place in left], y[left]))


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


def _means(shops: Sequence[str], y: Floats) -> Iterator[Look]:
    if not _differ(y):
        return
    far = int(np.argmax(np.abs(y - y.mean())))
    first = _one(shops, y, largest=bool(y[far] > y.mean()))
    yield first
    if first.mark == "outlier":
        others = np.delete(np.arange(y.size), far)
        if _differ(y[others]):
            yield _one([shops[int(place)] for place in others], y[others], largest=first.looked_at == "smallest mean")
        return
    yield _one(shops, y, largest=first.looked_at == "smallest mean")
    if y.size >= outlyingpair.FEWEST_MEANS:
        yield from (_two(shops, y, largest=largest) for largest in (True, False))


def _differ(y: Floats) -> bool:
    return y.size >= outlying.FEWEST_MEANS and bool(np.ptp(y) > 1e-12 * np.abs(y).max())


def _one(shops: Sequence[str], y: Floats, *, largest: bool) -> Look:
    place = int(np.argmax(y) if largest else np.argmin(y))
    g = float(abs(y[place] - y.mean()) / y.std(ddof=1))
    at_5, at_1 = (outlying.grubbs_critical(y.size, alpha) for alpha in (STRAGGLER, OUTLIER))
    return Look(shops=(shops[place],), looked_at="largest mean" if largest else "smallest mean", statistic=g,
                p=float(outlying.grubbs_p(g, y.size)), at_5=at_5, at_1=at_1, cells=y.size)  # fmt: skip


def _two(shops: Sequence[str], y: Floats, *, largest: bool) -> Look:
    order = np.argsort(y, kind="stable")
    pair = order[-2:] if largest else order[:2]
    g = outlyingpair.grubbs_pair(y, largest=largest)
    at_5, at_1 = (outlyingpair.grubbs_pair_critical(y.size, alpha) for alpha in (STRAGGLER, OUTLIER))
    return Look(shops=tuple(sorted(shops[place] for place in pair)), statistic=g, at_5=at_5, at_1=at_1,
                looked_at="two largest means" if largest else "two smallest means",
                p=outlyingpair.grubbs_pair_p(g, y.size), cells=y.size)  # fmt: skip
