"""Randomisation tests: how the difference of two media would have come out, had chance dealt them otherwise.

Chance dealt the two labels out within groups: the units of one group (edges of one blade, say) could have had
them in any order. The statistic is the difference adjusted for the groups by least squares. Its t value, with one
spread for all units, puts the arrangements of a stratum in the same order, so it is not divided by a standard error.
As it is a sum of scores over the units with the first label, the sums of two halves of the groups give every
arrangement there is without listing them.

A null difference other than zero is taken off the units with the first label before they are dealt out anew. Both sums
that this needs, of values and of labels, are found once and serve every null difference.

Fisher, R. A. (1935). The Design of Experiments, section 21. Pitman, E. J. G. (1937). Supplement to
the Journal of the Royal Statistical Society 4:119-130.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]
Flags = NDArray[np.bool_]

HALF = 200_000
"""Arrangements of one half of the groups that are listed; so many times as many are counted."""
LISTED = 1_000
"""Arrangements of one group up to which draws look them up in a list."""
BATCH, MOST = 2_000, 20_000
"""Draws at a time, and in all."""
CHUNK = 4_000_000
"""Numbers that are drawn at once."""
TIES = 1e-10
"""Statistics as near to each other, as a share of the largest one, are equal but for rounding."""


@dataclass(frozen=True, eq=False)
class Dealt:
    """Units as chance dealt two labels out to them.

    Attributes
    ----------
    values : ndarray of shape (n,)
        What was found at each unit.
    first : ndarray of bool, shape (n,)
        Which units have the first label.
    group : ndarray of int, shape (n,)
        Units of one group could have had their labels in any order. Each group has both labels.
    stratum : ndarray of int, shape (n,)
        Groups of one stratum are averaged by how much they tell; from 0 upwards.
    weights : ndarray of shape (strata,)
        How strata are averaged; they add up to 1.
    """

    values: Floats
    first: Flags
    group: Codes
    stratum: Codes
    weights: Floats

    @property
    def arrangements(self) -> int:
        """In how many ways the labels can be dealt out."""
        members = np.bincount(self.group)
        firsts = np.bincount(self.group, self.first).astype(int)
        return math.prod(math.comb(int(n), int(k)) for n, k in zip(members, firsts, strict=True))


@dataclass(frozen=True, eq=False)
class Rerandomised:
    """Statistics under all arrangements of the labels, or under some that were drawn.

    Attributes
    ----------
    one, other : ndarray of shape (m, 2), (k, 2)
        Sums over values and over labels; each row of `one` goes with each row of `other`.
    observed : ndarray of shape (2,)
        Sums as the labels were dealt: the difference, and one.
    turned : bool
        Whether the labels changed their parts, so that the difference is not negative.
    arrangements : int
        How many there are.
    draws : int
        How many were drawn; 0 where all were counted.
    seed : int
        Of the draws.
    """

    one: Floats
    other: Floats
    observed: Floats
    turned: bool
    arrangements: int
    draws: int
    seed: int

    @property
    def difference(self) -> float:
        """First label minus the other, adjusted for the groups."""
        return float(-self.observed[0] if self.turned else self.observed[0])

    def p_above(self, null: float) -> float:
        """One-sided p value against a difference of `null` or less; an infinite `null` gives 0 or 1."""
        return self._share(self._signs(null)) if math.isfinite(null) else float(null > 0)

    def p_below(self, null: float) -> float:
        """One-sided p value against a difference of `null` or more; an infinite `null` gives 0 or 1."""
        return self._share(-self._signs(null)) if math.isfinite(null) else float(null < 0)

    def _signs(self, null: float) -> Floats:
        """What makes the difference, less `null`, out of the two sums."""
        return np.array([-1.0 if self.turned else 1.0, -null])

    def error(self, p: float) -> float:
        """Monte-Carlo standard error of a p value; 0 where all arrangements were counted."""
        return math.sqrt(p * (1 - p) / self.draws) if self.draws else 0.0

    def _share(self, sign: Floats) -> float:
        """Share of arrangements whose statistic is at least the one observed."""
        one, other = self.one @ sign, np.sort(self.other @ sign)
        near = TIES * (np.abs(one).max() + np.abs(other).max())
        hits = int((len(other) - np.searchsorted(other, self.observed @ sign - near - one)).sum())
        return (1 + hits) / (1 + self.draws) if self.draws else hits / (len(one) * len(other))


def rerandomise(dealt: Dealt, seed: int, undecided: Callable[[Rerandomised], bool]) -> Rerandomised:
    """Deal the labels out anew: in every way there is or, where these are too many, in some that are drawn.

    Parameters
    ----------
    dealt : Dealt
    seed : int
        Of the draws.
    undecided : callable
        Whether further draws are worth their time; asked after each batch.

    Returns
    -------
    Rerandomised

    Examples
    --------
    >>> values, first = np.array([1.0, 2.0, 3.0, 5.0, 6.0, 7.0]), np.array([True] * 3 + [False] * 3)
    >>> nil = np.zeros(6, dtype=int)
    >>> found = rerandomise(Dealt(values, first, nil, nil, np.ones(1)), 1, lambda found: False)
    >>> found.arrangements, found.difference, found.p_below(0.0)
    (20, -4.0, 0.05)
    """
    scores, first = _scores(dealt)
    turned = bool(scores[first, 0].sum() < 0)
    if turned:
        first, scores = ~first, scores * [1.0, -1.0]
    groups = list(_in_order(scores, first, dealt.group))
    observed, arrangements = scores[first].sum(axis=0), dealt.arrangements
    halves = _halves(groups)
    if halves is not None:
        one, other = map(_all_sums, halves)
        return Rerandomised(one, other, observed, turned, arrangements, 0, seed)
    rng = np.random.default_rng(seed)
    sums = np.empty((0, 2))
    while True:
        sums = np.vstack([sums, _drawn_sums(groups, BATCH, rng)])
        found = Rerandomised(sums, np.zeros((1, 2)), observed, turned, arrangements, len(sums), seed)
        if len(sums) >= MOST or not undecided(found):
            return found


Group = tuple[Floats, int]
"""Scores of a group's units, and how many of them have the first label."""


def _scores(dealt: Dealt) -> tuple[Floats, Flags]:
    """Values and labels less their group's mean, scaled so that units with the first label add up to the difference."""
    group, first = dealt.group, dealt.first
    size = np.bincount(group).astype(float)
    raw = np.column_stack([dealt.values, first.astype(float)])
    centred = raw - np.column_stack([np.bincount(group, column) for column in raw.T])[group] / size[group, None]
    told = np.bincount(dealt.stratum[first], centred[first, 1])  # n1 n2 / (n1 + n2) of each group, added up
    return centred * (dealt.weights / told)[dealt.stratum, None], first


def _in_order(scores: Floats, first: Flags, group: Codes) -> Iterator[Group]:
    """Split into groups, in an order that depends on values alone, so that draws do not depend on names."""
    order = np.lexsort((scores[:, 0], group))
    starts = np.flatnonzero(np.r_[True, np.diff(group[order]) > 0])
    parts = zip(np.split(scores[order], starts[1:]), np.add.reduceat(first[order].astype(int), starts), strict=True)
    yield from sorted(((part, int(count)) for part, count in parts), key=lambda one: (len(one[0]), *one[0][0]))


def _ways(group: Group) -> int:
    return math.comb(len(group[0]), group[1])


def _halves(groups: Sequence[Group]) -> tuple[list[Group], list[Group]] | None:
    """Split groups so that the arrangements of either half can be listed; None where they are too many."""
    halves: tuple[list[Group], list[Group]] = ([], [])
    ways = [1, 1]
    for group in sorted(groups, key=_ways, reverse=True):
        smaller = int(ways[1] < ways[0])
        ways[smaller] *= _ways(group)
        if ways[smaller] > HALF:
            return None
        halves[smaller].append(group)
    return halves


def _all_sums(groups: Sequence[Group]) -> Floats:
    """Sums of all arrangements of some groups, shape (arrangements, 2)."""
    sums = np.zeros((1, 2))
    for group in groups:
        sums = (sums[:, None] + _group_sums(*group)).reshape(-1, 2)
    return sums


def _group_sums(scores: Floats, chosen: int) -> Floats:
    """Sums of all choices of so many units, shape (choices, 2): unit by unit it is chosen or not."""
    if 2 * chosen > len(scores):
        return -_group_sums(scores, len(scores) - chosen)  # the scores of a group add up to zero
    sums = [np.zeros((1, 2)), *(np.empty((0, 2)) for _ in range(chosen))]
    for score in scores:
        sums = [sums[0], *(np.vstack([sums[k], sums[k - 1] + score]) for k in range(1, chosen + 1))]
    return sums[chosen]


def _drawn_sums(groups: Sequence[Group], draws: int, rng: np.random.Generator) -> Floats:
    """Sums of arrangements that are drawn, shape (draws, 2)."""
    sums = np.zeros((draws, 2))
    for group in groups:
        sums += _drawn_from(group, draws, rng)
    return sums


def _drawn_from(group: Group, draws: int, rng: np.random.Generator) -> Floats:
    scores, chosen = group
    if _ways(group) <= LISTED:
        return _group_sums(*group)[rng.integers(_ways(group), size=draws)]
    rows = max(CHUNK // len(scores), 1)
    parts = [rng.random((min(rows, draws - start), len(scores))) for start in range(0, draws, rows)]
    return np.vstack([scores[np.argpartition(part, chosen - 1)[:, :chosen]].sum(axis=1) for part in parts])
