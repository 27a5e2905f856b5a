"""Whether whoever reads the tester prefers some last digits to others.

The last digit of a reading is all but evenly spread where cuts on one edge differ by half the
period of the digits (ten steps of 1) or more. Where they differ less, the digits to expect follow
from each edge's own mean and spread.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

from sharpstats.tester.grid import Floats, Grid, Integers

EVEN = 0.02
"""Digits count as evenly spread where theory puts no share further off than 2 % of itself: that
moves the mean of the chi-square by less than 0.0002 a cut."""
FEWEST = 2
"""Cuts for each digit below which hardly any habit could be seen."""
NARROWEST = 1.5
"""SD in steps below which uneven digits are not judged: with heavier tails than normal ones the test then errs
in 10 of 100 studies instead of 5 (SD of 1.2 steps, t with 5 df, 30 edges of 3 cuts)."""
SMALL = 5.0
"""Expected count below which the chi-square distribution is not relied on (Cochran 1954, Biometrics 10:417-451)."""
DECIDED = 0.05
SHEPPARD = 1 / 12
"""Variance, in steps, that rounding adds (Sheppard 1898, Proceedings of the London Mathematical Society 29:353-380)."""
_WAVES = 12
"""Terms of the Fourier series: for ten digits and an SD of 1.5 steps the thirteenth is 1e-32."""
_AT_ONCE, _IN_ALL = 500_000, 20_000_000
"""Simulated cuts held at a time, and drawn in all: a few seconds."""
LEAST_DRAWS = 199


@dataclass(frozen=True, eq=False, kw_only=True)
class Digits:
    """How often each last digit occurs, against how often it should.

    Attributes
    ----------
    digits : tuple of int
        The last digits that the step allows, 0 to 9.
    counts : integer ndarray of shape (digits,)
        Cuts that end in each.
    expected : ndarray of shape (digits,)
        Cuts that would without a habit.
    statistic, p : float
        Chi-square against the expected counts and its p value.
    df : int
        Degrees of freedom.
    method : str
        ``chi-square``, ``simulated`` or ``simulated from edges``.
    draws : int
        Simulated studies behind p; 0 for the chi-square distribution.
    overused : tuple of int
        Digits that occur too often, if the p value is below 0.05 at all.
    favoured : int or None
        Readings lean to multiples of this number of units of the last digit (2, 5 or 10).
    leaning : float
        Share of the readings that lean, beyond those that would lie there anyway; 0 to 1.
    leaning_low, leaning_high : float
        Its interval, from that of a binomial share (Clopper & Pearson 1934, Biometrika 26:404-413).
    level : float
    """

    digits: tuple[int, ...]
    counts: Integers
    expected: Floats
    statistic: float
    df: int
    p: float
    method: str
    draws: int
    overused: tuple[int, ...]
    favoured: int | None
    leaning: float
    leaning_low: float
    leaning_high: float
    level: float

    @property
    def cuts(self) -> int:
        """Number of cuts."""
        return int(self.counts.sum())

    def share(self, every: int) -> tuple[float, float]:
        """Return the observed and the expected share of readings on multiples of so many units of the last digit."""
        on = np.array(self.digits) % every == 0
        return float(self.counts[on].sum() / self.cuts), float(self.expected[on].sum() / self.cuts)


@dataclass(frozen=True, eq=False, kw_only=True)
class Places:
    """Readings as the digit test sees them.

    Attributes
    ----------
    steps : integer ndarray of shape (n,)
        Readings in steps.
    edges : integer ndarray of shape (n,)
        Number of the edge (of one operator) that each was read on.
    sds : ndarray of shape (edges,)
        SD of cuts on each edge before rounding, in steps; estimated from the readings unless `known`.
    known : bool
        Whether the SDs come from elsewhere.
    """

    steps: Integers
    edges: NDArray[np.intp]
    sds: Floats
    known: bool = False


def allowed_digits(count: int) -> tuple[int, ...]:
    """Return the last digits of the multiples 0, 1, 2 ... of a step, until they repeat.

    Examples
    --------
    >>> allowed_digits(5), allowed_digits(2), allowed_digits(1)[:4]
    ((0, 5), (0, 2, 4, 6, 8), (0, 1, 2, 3))
    """
    return tuple(count * j % 10 for j in range(10 // int(np.gcd(count, 10))))


def unevenness(places: Places, period: int) -> float:
    """How far theory lets the share of a digit differ from the even one, as a part of it.

    The first Fourier term, 2 exp(-2 pi^2 (SD / period)^2), averaged over the readings.
    """
    squares = (places.sds[places.edges] / period) ** 2
    return float(np.mean(2 * np.exp(-2 * np.pi**2 * squares)))


def look_at_digits(
    places: Places, grid: Grid, rng: np.random.Generator, draws: int, level: float = 0.95
) -> Digits | None:
    """Compare the last digits with those to expect.

    Parameters
    ----------
    places : Places
    grid : Grid
    rng : numpy Generator
        Used where the chi-square distribution is not relied on.
    draws : int
        Simulated studies; fewer where there are very many cuts.
    level : float
        Level of the interval of the share that leans.

    Returns
    -------
    Digits or None
        None where there are too few cuts, or cuts on one edge differ too little.

    Notes
    -----
    Where digits are not evenly spread by theory, a reading is taken as normal about its edge's mean
    and the expected shares are integrals of the wrapped normal density over each step (Mardia & Jupp
    2000, Directional Statistics, section 3.5.7). Means and spreads are estimated, so p is that of a
    parametric bootstrap which estimates them anew from each simulated study.
    """
    digits = allowed_digits(grid.count)
    period, n = len(digits), places.steps.size
    even = unevenness(places, period) <= EVEN
    if n < FEWEST * period or (not even and float(np.median(places.sds[places.edges])) < NARROWEST):
        return None
    counts = np.bincount(places.steps % period, minlength=period)
    if even:
        expected = np.full(period, n / period)
        statistic = float(((counts - expected) ** 2 / expected).sum())
        p, method, used = _even_p(statistic, n, period, rng, draws)
    else:
        expected = expected_counts(places, period)
        statistic = float(_distance(counts, expected))
        used = min(draws, max(LEAST_DRAWS, _IN_ALL // n))
        p, method = _edges_p(statistic, places, period, rng, used), "simulated from edges"
    favoured = _favoured(np.array(digits), counts, expected) if p < DECIDED else None
    leaning, low, high = _leaning(np.array(digits), counts, expected, favoured, level)
    overused = _overused(counts, expected) if p < DECIDED else ()
    return Digits(digits=digits, counts=counts, expected=expected, statistic=statistic, df=period - 1, p=p,
                  method=method, draws=used, overused=tuple(digits[i] for i in overused), favoured=favoured,
                  leaning=leaning, leaning_low=low, leaning_high=high, level=level)  # fmt: skip


def expected_counts(places: Places, period: int) -> Floats:
    """Cuts to expect for each residue of the step number, for normal readings about each edge's mean.

    Examples
    --------
    Ten cuts about step 20 with an SD of 1 step, digits of period 10.

    >>> places = Places(steps=np.full(10, 20), edges=np.zeros(10, dtype=int), sds=np.array([1.0]))
    >>> expected_counts(places, 10).round(2)[:4]
    array([3.83, 2.42, 0.61, 0.06])
    """
    counts = np.bincount(places.edges)
    means = np.bincount(places.edges, places.steps) / counts
    return _expected(means[None, :], places.sds[None, :], counts, period)[0]


def _expected(means: Floats, sds: Floats, counts: Integers, period: int) -> Floats:
    """Do it for many studies at once: means and SDs of shape (studies, edges)."""
    expected = np.full((len(means), period), counts.sum() / period)
    residues = np.arange(period)
    for wave in range(1, _WAVES + 1):
        turn = 2 * np.pi * wave / period
        damped = np.exp(-0.5 * (turn * sds) ** 2) * np.exp(-1j * turn * means)
        sums = damped @ counts.astype(float)
        waves = np.exp(1j * turn * residues)[None, :] * sums[:, None]
        expected += 2 / period * np.sinc(wave / period) * waves.real
    return np.maximum(expected, 1e-9)


def _distance(counts: Integers | Floats, expected: Floats) -> Floats:
    return np.asarray(((counts - expected) ** 2 / expected).sum(axis=-1), dtype=float)


def _even_p(
    statistic: float, n: int, period: int, rng: np.random.Generator, draws: int
) -> tuple[float, str, int]:
    """Return the p value where all digits are equally likely."""
    if n / period >= SMALL:
        return float(stats.chi2.sf(statistic, period - 1)), "chi-square", 0
    drawn = rng.multinomial(n, np.full(period, 1 / period), size=draws)
    return _share_beyond(_distance(drawn, np.full(period, n / period)), statistic), "simulated", draws


def _edges_p(statistic: float, places: Places, period: int, rng: np.random.Generator, draws: int) -> float:
    """Return the p value by parametric bootstrap: studies drawn about the edges' means, estimated anew."""
    simulated = [_distance(*drawn) for drawn in _studies(places, period, rng, draws)]
    return _share_beyond(np.concatenate(simulated), statistic)


def _studies(
    places: Places, period: int, rng: np.random.Generator, draws: int
) -> Iterator[tuple[Integers, Floats]]:
    """Give counts and expected counts of simulated studies, some at a time."""
    edges, sds = places.edges, places.sds
    counts = np.bincount(edges)
    means = np.bincount(edges, places.steps) / counts
    order = np.argsort(edges, kind="stable")
    starts, edges = np.concatenate(([0], np.cumsum(counts)[:-1])), edges[order]
    size = max(1, _AT_ONCE // edges.size)
    for first in range(0, draws, size):
        shape = (min(size, draws - first), edges.size)
        read = np.rint(means[edges] + sds[edges] * rng.standard_normal(shape))
        new_means = np.add.reduceat(read, starts, axis=1) / counts
        scale = 1.0 if places.known else _spread_anew(read, new_means, sds, counts)
        cells = read.astype(np.int64) % period + period * np.arange(len(read))[:, None]
        found = np.bincount(cells.ravel(), minlength=period * len(read)).reshape(len(read), period)
        yield found, _expected(new_means, scale * sds[None, :], counts, period)


def _spread_anew(read: Floats, means: Floats, sds: Floats, counts: Integers) -> Floats:
    """Ratio of the spread found in each simulated study, less what rounding adds, to the one that went in."""
    df, centre = int(counts.sum() - counts.size), float(means.mean())
    squares = ((read - centre) ** 2).sum(axis=1) - (means - centre) ** 2 @ counts.astype(float)
    return np.sqrt(np.maximum(squares - df * SHEPPARD, df * SHEPPARD) / ((counts - 1) @ sds**2))[:, None]


def _share_beyond(simulated: Floats, statistic: float) -> float:
    return float((1 + np.count_nonzero(simulated >= statistic * (1 - 1e-12))) / (1 + simulated.size))


def _overused(counts: Integers, expected: Floats) -> list[int]:
    """Residues that occur too often: one-sided binomial tests, times their number (Bonferroni)."""
    n = int(counts.sum())
    tails = stats.binom.sf(counts - 1, n, np.minimum(expected / n, 1.0))
    return [i for i in np.argsort(-counts / expected) if tails[i] * counts.size <= DECIDED]


def _favoured(digits: Integers, counts: Integers, expected: Floats) -> int | None:
    """Find the coarser round step that explains the counts best.

    Counts are taken as (1 - h) of the expected ones and h on the step's multiples alone; h has the
    closed form of a share between the two.
    """
    best: tuple[float, int | None] = (0.0, None)
    for every in (2, 5, 10):
        on = digits % every == 0
        seen, chance = counts[on].sum() / counts.sum(), expected[on].sum() / counts.sum()
        leaning = float((seen - chance) / (1 - chance)) if on.sum() < on.size else 0.0
        if leaning > 0:
            ratio = np.where(on, 1 - leaning + leaning / chance, 1 - leaning)
            gain = float((counts[counts > 0] * np.log(ratio[counts > 0])).sum())
            best = max(best, (gain, every), key=lambda found: found[0])
    return best[1]


def _leaning(
    digits: Integers, counts: Integers, expected: Floats, favoured: int | None, level: float
) -> tuple[float, float, float]:
    """Return the share beyond chance on multiples of the favoured step, and its interval."""
    if favoured is None:
        return 0.0, 0.0, 0.0
    on, n = digits % favoured == 0, int(counts.sum())
    some, chance, tail = int(counts[on].sum()), float(expected[on].sum() / n), (1 - level) / 2
    low = special.betaincinv(some, n - some + 1, tail) if some else 0.0
    high = special.betaincinv(some + 1, n - some, 1 - tail) if some < n else 1.0
    leaning, least, most = (max(float(share - chance) / (1 - chance), 0.0) for share in (some / n, low, high))
    return leaning, least, most
