"""One batch of like edges, read by several shops: their means and spreads, and which of them stand apart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sharpstats.notes import Note
from sharpstats.tester import outlying
from sharpstats.tester.labels import called
from sharpstats.tester.precision import Precision, precision
from sharpstats.tester.screening import SAME, Look, most_common, outlying_shops, screen, too_coarse

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False, kw_only=True)
class Batch:
    """What the shops read on one batch.

    Attributes
    ----------
    name : str
    shops : tuple of str
        The p shops that read it.
    n : ndarray of shape (p,)
        Cuts of each.
    means, sds : ndarray of shape (p,)
        Of each shop's cuts, on the scale of the study; an SD is NaN with one cut.
    h, h_p, k, k_p : ndarray of shape (p,)
        Mandel's h and k with the p value of each by itself; NaN where not defined. h takes the plain mean and SD
        of the shops' means, each shop counting once. p values of k hold for unequal counts, too.
    looks : tuple of Look
        Cochran's and Grubbs's tests, in the standard's order.
    outlying : tuple of str
        Shops whose cells are proposed as statistical outliers.
    whole : Precision
        Of all cells.
    kept : Precision or None
        Without the outlying cells; None where there are none, or where fewer than two shops are left.
    """

    name: str
    shops: tuple[str, ...]
    n: NDArray[np.int_]
    means: Floats
    sds: Floats
    h: Floats
    h_p: Floats
    k: Floats
    k_p: Floats
    looks: tuple[Look, ...]
    outlying: tuple[str, ...]
    whole: Precision
    kept: Precision | None

    def h_critical(self, alpha: float) -> float:
        """Return the h that a shop exceeds, up or down, with probability alpha; NaN with two shops."""
        p = len(self.shops)
        return outlying.h_critical(p, alpha) if p >= outlying.FEWEST_MEANS else float("nan")

    def k_critical(self, alpha: float) -> float:
        """Return the k that a shop with the most common count exceeds with probability alpha; NaN with one cell."""
        several = self.n[self.n > 1]
        return outlying.k_critical(several.size, most_common(several), alpha) if several.size > 1 else float("nan")


def judge_batch(
    name: str, shops: Sequence[str], n: ArrayLike, means: ArrayLike, variances: ArrayLike, *,
    level: float = 0.95, step: float = 0.0,
) -> Batch:  # fmt: skip
    """Work out what one batch shows.

    Parameters
    ----------
    name : str
    shops : sequence of str, of length p
    n, means, variances : array_like of shape (p,)
        Cuts of each shop, their mean and variance on the scale of the study; a variance of one cut is NaN.
    level : float
        Level of the intervals, between 0 and 1.
    step : float
        Step of the readings on the scale of the study; 0 if unknown. See `screening.screen`.

    Examples
    --------
    >>> batch = judge_batch("keen", ["A", "B", "C"], [2, 2, 2], [10.0, 12.0, 11.0], [0.5, 0.5, 2.0])
    >>> print(batch.h.round(2), batch.k.round(2), batch.outlying)
    [-1.  1.  0.] [0.71 0.71 1.41] ()
    """
    counts, y, s = np.asarray(n), np.asarray(means, dtype=float), np.asarray(variances, dtype=float)
    s = np.where(s <= (SAME * y) ** 2, 0.0, s)
    looks = screen(shops, counts, y, s, step=step)
    out = outlying_shops(looks)
    stay = ~np.isin(shops, out)
    kept = precision(counts[stay], y[stay], s[stay], level=level) if out and stay.sum() > 1 else None
    h, h_p = _h(y)
    k, k_p = _k(counts, s)
    return Batch(name=name, shops=tuple(shops), n=counts, means=y, sds=np.sqrt(s), h=h, h_p=h_p, k=k, k_p=k_p,
                 looks=looks, outlying=out, whole=precision(counts, y, s, level=level), kept=kept)  # fmt: skip


def _h(y: Floats) -> tuple[Floats, Floats]:
    nothing = np.full(y.size, np.nan)
    if y.size < outlying.FEWEST_MEANS or np.ptp(y) <= SAME * np.abs(y).max():
        return nothing, nothing
    h = (y - y.mean()) / y.std(ddof=1)
    return h, outlying.h_p(h, y.size)


def _k(n: NDArray[np.int_], s: Floats) -> tuple[Floats, Floats]:
    k, p = np.full(n.size, np.nan), np.full(n.size, np.nan)
    several = n > 1
    if several.sum() > 1 and (s[several] > 0).any():
        k[several] = np.sqrt(s[several] / s[several].mean())
        p[several] = outlying.spread_p(s[several], n[several] - 1)
    return k, p


def batch_notes(batch: Batch, shops: Sequence[str]) -> Iterator[Note]:
    """Say what a batch cannot tell, and why; the text goes on after the name of the batch.

    Parameters
    ----------
    batch : Batch
    shops : sequence of str
        All shops of the round robin.

    Examples
    --------
    >>> batch = judge_batch("keen", ["A", "B"], [2, 2], [10.0, 12.0], [0.5, 0.5])
    >>> [note.code for note in batch_notes(batch, ["A", "B", "C"])]
    ['lost-cells', 'two-shops']
    """
    several = batch.n > 1
    lost = [called("shop", shop) for shop in shops if shop not in batch.shops]
    if lost:
        yield Note("lost-cells", f"not read by {', '.join(lost)}. Nothing was put in their place.")
    if len(batch.shops) == 1:
        yield Note("one-shop", "read by one shop only, which tells nothing about shops.")
    if len(batch.shops) == 2:
        yield Note("two-shops", "read by two shops. Each is as far from their mean as the other, so neither can stand "
                   "apart by its mean: that takes three.")  # fmt: skip
    if not several.any():
        yield Note("one-cut", "one cut in each shop, so the spread within a shop cannot be told from that between "
                   "shops. Two cuts are the fewest that tell.")  # fmt: skip
    elif too_coarse(batch.sds[several]):
        yield Note("no-spread", "in most shops all cuts read the same. The step of the tester hides their spread, so "
                   "the spreads of shops were not compared. Read with a finer step.")  # fmt: skip
    if several.any() and np.ptp(batch.n):
        yield Note("unequal-cells", f"{batch.n.min()} to {batch.n.max()} cuts in a shop, so intervals of the spread "
                   "between shops are approximate. Each shop's spread is judged by its own number of cuts; printed "
                   "limits are those for the most common number.")  # fmt: skip
    yield from _close_means(batch)


def _close_means(batch: Batch) -> Iterator[Note]:
    if len(batch.shops) > 1 and np.ptp(batch.means) <= SAME * np.abs(batch.means).max():
        yield Note("like-means", "all shops' means agree to the last digit. The step of the tester may hide how they "
                   "differ, so they were not compared.")  # fmt: skip
    elif batch.whole.between is not None and batch.whole.between.high == 0:
        yield Note("means-too-close", "the shops' means lie closer together than independent cuts would let them. Ask "
                   "whether the shops knew each other's readings, or wrote down means of several cuts.")  # fmt: skip
    elif batch.whole.negative:
        yield Note("negative-between", "the shops' means differ less than cuts within a shop would make them. The "
                   "spread between shops is set to 0; its interval says how large it may be.")  # fmt: skip
