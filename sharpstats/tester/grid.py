"""The step to which readings are rounded, found from the readings themselves.

Readings come as doubles, with the dust that arithmetic leaves on them, and sometimes converted from
gf to N or back after they were rounded. A step is believed only if so many readings would hardly
all lie on it by chance.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from sharpstats.units import FORCE_UNITS, NEWTONS_PER_GF, ForceUnit

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

MOST_DECIMALS = 6
"""Nobody reads an edge to a millionth; readings with more decimals were computed, not read."""
DUST = 1e-6
"""Part of the last decimal that arithmetic may leave: a double of 1500 has 2e-7 of its sixth decimal."""
_CLEAN = MOST_DECIMALS + 3
UNLIKELY = 0.01
"""A step is believed where chance alone would put all readings on it at most once in a hundred studies."""
_ROUND = (1, 2, 5)
"""Scale intervals of weighing instruments are 1, 2 or 5 times a power of ten (OIML R 76-1, 3.4; from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """The step on which all readings lie.

    Attributes
    ----------
    step : float
        Coarsest step on which all readings lie and hardly would by chance, in the study's unit; where
        none is, the last decimal with which they were written.
    unit : str
        The unit, ``gf`` or ``N``, in which the step is a round number.
    count : int
        The step in units of `place`.
    place : float
        Place of the step's last digit that is not zero, a power of ten, in `unit`.
    chance : float
        Probability that as many readings lie on a step as coarse by chance.
    coarsest : float
        Coarsest step on which all readings lie, believed or not, in the study's unit.
    coarsest_chance : float
        The same probability for that step.
    informative : int
        Readings that count: those that repeat the most frequent value of their edge tell nothing new.
    """

    step: float
    unit: ForceUnit
    count: int
    place: float
    chance: float
    coarsest: float
    coarsest_chance: float
    informative: int

    @property
    def sure(self) -> bool:
        """Whether chance hardly explains the step."""
        return self.chance <= UNLIKELY

    @property
    def round_step(self) -> float:
        """The step in the unit in which it is round."""
        return float(f"{self.count * self.place:.12g}")


def find_grid(readings: ArrayLike, unit: ForceUnit, edges: ArrayLike | None = None) -> Grid | None:
    """Find the step on which all readings lie.

    Parameters
    ----------
    readings : array_like of shape (n,)
        Forces in `unit`.
    unit : str
        ``gf`` or ``N``.
    edges : array_like of shape (n,), optional
        What was read, for example the edge; it shows how many of the readings are independent of each other.

    Returns
    -------
    Grid or None
        None where the readings are not rounded at all, or are all the same.

    Notes
    -----
    The largest common divisor of n whole numbers drawn at random is g or more with probability
    zeta(n, g) / zeta(n) (after Nymann 1972, Journal of Number Theory 4:469-473). n is here the number of
    `informative` readings. If the readings of an edge have one hump, each that is not the most
    frequent one lies on a step of g with a probability of 1/g at most; the most frequent values of
    the edges count once each. Without `edges` only different values count. For steps of the other
    unit, written afterwards in this one, chance is bounded by the number of steps tried times
    (last decimal / step)^n.

    Examples
    --------
    >>> find_grid([145, 150, 165, 140, 155.00000000000003, 180], "gf").step
    5.0
    >>> grid = find_grid([1.422, 1.471, 1.618, 1.373, 1.520, 1.765], "N")
    >>> grid.round_step, grid.unit
    (5.0, 'gf')
    """
    values = np.round(np.asarray(readings, dtype=float), _CLEAN)
    if np.unique(values).size < 2:
        return None
    n = informative(values, edges)
    found = list(_grids(values, unit, n))
    believed = [grid for grid in found if grid.sure] or found[:1]
    # the same step may be 20 gf and 0.196133 N: the rounder one is meant
    return max(believed, key=lambda grid: (grid.step, -grid.count, grid.chance), default=None)


def informative(values: Floats, edges: ArrayLike | None = None) -> int:
    """Count the readings that tell something about the step.

    Examples
    --------
    >>> informative(np.array([150.0, 150.0, 155.0, 155.0, 155.0, 160.0]), ["a", "a", "a", "b", "b", "b"])
    4
    """
    if edges is None:
        return int(np.unique(values).size)
    edge, value = (np.unique(part, return_inverse=True)[1] for part in (np.asarray(edges), values))
    size = int(value.max()) + 1
    cells, counts = np.unique(edge * size + value, return_counts=True)
    ordered = np.lexsort((-counts, cells // size))  # the most frequent value of each edge first
    modes = ordered[np.unique(cells[ordered] // size, return_index=True)[1]]
    return int(counts.sum() - counts[modes].sum()) + np.unique(cells[modes] % size).size


def steps_from(values: Floats, grid: Grid, unit: ForceUnit) -> Integers:
    """Return readings as whole numbers of steps.

    Examples
    --------
    >>> values = np.array([145.0, 150.0, 165.0, 140.0, 155.0, 180.0])
    >>> steps_from(values, find_grid(values, "gf"), "gf")
    array([29, 30, 33, 28, 31, 36])
    """
    return np.rint(values / grid.step).astype(np.int64)


def _grids(values: Floats, unit: ForceUnit, n: int) -> Iterator[Grid]:
    other = next(name for name in FORCE_UNITS if name != unit)
    factor = NEWTONS_PER_GF if unit == "N" else 1 / NEWTONS_PER_GF  # of the other unit, in this one
    own, converted = _decimals(values), _decimals(values / factor)
    if own is not None:
        yield _by_divisor(values, own, unit, 1.0, n)
        yield from _written_anew(values, 10.0**-own, other, factor, n)
    if converted is not None:
        yield _by_divisor(values / factor, converted, other, factor, n)


def _decimals(values: Floats) -> int | None:
    """Return with how many decimals the values are written; None for too many."""
    for decimals in range(MOST_DECIMALS + 1):
        scaled = values * 10.0**decimals
        if np.all(np.abs(scaled - np.rint(scaled)) <= DUST):
            return decimals
    return None


def computed(values: Floats) -> NDArray[np.bool_]:
    """Tell which values have more decimals than anybody reads, as after a change of unit.

    Examples
    --------
    >>> computed(np.array([145.0, 150.2, 199.966349365]))
    array([False, False,  True])
    """
    scaled = np.round(values, _CLEAN) * 10.0**MOST_DECIMALS
    return np.abs(scaled - np.rint(scaled)) > DUST


def _by_divisor(values: Floats, decimals: int, unit: ForceUnit, factor: float, n: int) -> Grid:
    """Take the largest common divisor, or the largest of its divisors that chance hardly explains."""
    whole = np.rint(values * 10.0**decimals).astype(np.int64)
    largest = int(np.gcd.reduce(whole))
    divisors = [g for g in range(largest, 1, -1) if largest % g == 0] if largest < 10**6 else [largest]
    chosen = next((g for g in divisors if _chance(g, n) <= UNLIKELY), 1)
    chance = _chance(chosen if chosen > 1 else 10, n)  # a last decimal is one of ten finer ones
    place = 10.0**-decimals
    coarsest, its_chance = largest * place * factor, _chance(largest if largest > 1 else 10, n)
    return _grid(chosen, decimals, unit, factor, chance, coarsest, its_chance, n)


def _chance(g: int, n: int) -> float:
    return float(special.zeta(n, g) / special.zeta(n, 1)) if n > 1 else 1.0


def _written_anew(values: Floats, last: float, unit: ForceUnit, factor: float, n: int) -> Iterator[Grid]:
    """Try the round steps of the other unit, whose multiples were rounded to the last decimal of this one."""
    candidates = list(_round_steps(2 * last / factor, float(np.ptp(values)) / factor))
    for count, decimals in candidates:
        step = count * 10.0**-decimals * factor
        off = np.abs(values - np.rint(values / step) * step)
        if np.all(off <= last * (0.5 + DUST)):
            chance = min(1.0, len(candidates) * (last / step) ** n)
            yield _grid(count, decimals, unit, factor, chance, step, chance, n)


def _round_steps(low: float, high: float) -> Iterator[tuple[int, int]]:
    """Give the steps of 1, 2 and 5 between two limits, as a count and the decimals of its place."""
    if high < low:
        return
    for power in range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1):
        yield from ((count, -power) for count in _ROUND if low <= count * 10.0**power <= high)


def _grid(count: int, decimals: int, unit: ForceUnit, factor: float, chance: float, coarsest: float,
          coarsest_chance: float, n: int) -> Grid:  # fmt: skip
    while count % 10 == 0:
        count, decimals = count // 10, decimals - 1
    return Grid(step=float(f"{count * 10.0**-decimals * factor:.12g}"), unit=unit, count=count, place=10.0**-decimals,
                chance=chance, coarsest=float(f"{coarsest:.12g}"), coarsest_chance=coarsest_chance,
                informative=n)  # fmt: skip
