"""The smallest difference between two edges that so many cuts on each can show.

Two means of c cuts each differ by chance, 95 times in 100, by less than 1.96 times the SD of their
difference: ISO 5725-6:1994, clause 4.2 (two groups of measurements: within one laboratory, and in
two). More cuts average out what differs from cut to cut. What an operator does to one edge more
than to another, and how far two operators differ, they leave as it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal, get_args

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy import special

from sharpstats.errors import FitError
from sharpstats.late import Shown
from sharpstats.notes import Note
from sharpstats.tester.amounts import Amount
from sharpstats.tester.arrangement import BOTH, OPERATOR
from sharpstats.tester.scale import margin_on_scale
from sharpstats.tester.spreads import Spreads
from sharpstats.trial.plan import Scale
from sharpstats.units import ForceUnit, Quantity, parse_quantity

Floats = NDArray[np.float64]
Way = Literal["one operator", "two operators", "all different"]
WAYS: tuple[Way, ...] = get_args(Way)
CHANCE = 0.05
"""Share of pairs of equal edges that chance alone sets farther apart than the smallest difference."""
NOTICED = 0.9
"""How often a difference of the size called `found` is seen."""
Z = float(special.ndtri(1 - CHANCE / 2))
MOST_CUTS = 20
COUNTED_TO = 1000
"""More cuts than this on one edge are not told: nobody makes them."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Smallest(Shown):
    """Smallest differences between two edges, by cuts on each and by who cuts.

    Attributes
    ----------
    ways : tuple of str
        ``one operator`` cuts both edges; ``two operators``, one each; ``all different``: operator, day, filament
        lot and tester unit, as far as the study has them.
    cuts : ndarray of shape (c,)
        Cuts on each of the two edges.
    smallest : ndarray of shape (ways, c)
        Difference of two edges' means that chance exceeds in 5 of 100 pairs of equal edges, with Student's t for
        what cuts average out, since its SD is itself estimated. On the scale.
    by_standard : ndarray of shape (ways, c)
        The same with 1.96, as ISO 5725-6 has it.
    low, high : ndarray of shape (ways, c)
        Interval of `by_standard` from the uncertainty of the spreads.
    found : ndarray of shape (ways, c)
        True difference that comes out above `smallest` nine times in ten.
    level : float
        Level of the interval.
    changing : tuple of str
        Names of the parts that differ where all differs.
    scale, unit : str
    notes : tuple of Note
    """

    ways: tuple[Way, ...]
    cuts: NDArray[np.int64]
    smallest: Floats
    by_standard: Floats
    low: Floats
    high: Floats
    found: Floats
    level: float
    changing: tuple[str, ...]
    scale: Scale
    unit: ForceUnit
    notes: tuple[Note, ...]

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a way and number of cuts: at, cuts, smallest, by_standard, low, high, level, found."""
        columns = {name: getattr(self, name).ravel() for name in ("smallest", "by_standard", "low", "high")}
        at, cuts = np.repeat(self.ways, len(self.cuts)), np.tile(self.cuts, len(self.ways))
        return pd.DataFrame({"at": at, "cuts": cuts, **columns, "level": self.level, "found": self.found.ravel()})


@dataclass(frozen=True, kw_only=True)
class CutsNeeded(Shown):
    """Cuts on each of two edges that show a wanted difference.

    Attributes
    ----------
    way : str
    wanted : float
        On the scale.
    cuts : int or None
        None: not with any number of cuts up to 1,000.
    low, high : int or None
        The same at the limits of the interval of the spreads; None as above.
    surely : int or None
        Cuts with which a true difference of that size comes out above the smallest one nine times in ten.
    floor : float
        Smallest difference that no number of cuts goes below, on the scale.
    level : float
    scale, unit : str
    """

    way: Way
    wanted: float
    cuts: int | None
    low: int | None
    high: int | None
    surely: int | None
    floor: float
    level: float
    scale: Scale
    unit: ForceUnit

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row: at, wanted, cuts, low, high, surely, level, floor; no number of cuts is NaN."""
        counts = {"cuts": self.cuts, "low": self.low, "high": self.high, "surely": self.surely}
        shown = {name: np.nan if value is None else float(value) for name, value in counts.items()}
        rest = {"level": self.level, "floor": self.floor}
        return pd.DataFrame({"at": [self.way], "wanted": self.wanted, **shown, **rest})


def ways_of(spreads: Spreads) -> tuple[Way, ...]:
    """The ways of cutting two edges that a study can tell of.

    Parameters
    ----------
    spreads : Spreads

    Returns
    -------
    tuple of str
    """
    own = [part for part in spreads.parts if not part.of_edges]
    operators = any({OPERATOR, BOTH} & set(part.names) for part in own)
    others = any(set(part.names) - {OPERATOR, BOTH} for part in own)
    return ("one operator", *(("two operators",) if operators else ()), *(("all different",) if others else ()))


def left_in(spreads: Spreads, way: Way) -> Floats:
    """Which parts stay in the difference of two edges' means however many the cuts; 1 or 0, repeatability 0.

    Parameters
    ----------
    spreads : Spreads
    way : str

    Returns
    -------
    ndarray of shape (k + 1,)

    Raises
    ------
    ValueError
        If there is no such way.
    FitError
        If the study does not tell of it.
    """
    if way not in WAYS:
        raise ValueError(f"`way` must be one of {', '.join(WAYS)}, got {way!r}")
    if way not in ways_of(spreads):
        raise FitError(f"This study cannot tell how far edges differ by chance with {way}: it had nothing of the kind.")
    return np.array([*(not part.of_edges and _stays(part.names, way) for part in spreads.parts), False], dtype=float)


def _stays(names: tuple[str, ...], way: Way) -> bool:
    return BOTH in names or way == "all different" or (way == "two operators" and OPERATOR in names)


def difference_at(spreads: Spreads, cuts: float, way: Way = "one operator") -> Amount:
    """Smallest difference between two edges with so many cuts on each, as a plain number with its interval.

    Parameters
    ----------
    spreads : Spreads
    cuts : float
        Cuts on each edge; with unequal numbers their harmonic mean.
    way : {"one operator", "two operators", "all different"}

    Returns
    -------
    Amount
        By ISO 5725-6 (1.96 SDs of the difference), on the scale: a difference of logarithms on ``log``.

    Raises
    ------
    ValueError
        If `cuts` is not above zero.
    FitError
        If the study does not tell of that way.
    """
    if not cuts > 0:
        raise ValueError(f"`cuts` must be above zero, got {cuts}")
    return spreads.sd_of(_weights(spreads, cuts, way)).times(Z * np.sqrt(2))


def _weights(spreads: Spreads, cuts: float, way: Way) -> Floats:
    weights = left_in(spreads, way)
    weights[-1] = 1 / cuts
    return weights


def smallest_difference(spreads: Spreads, cuts: ArrayLike = tuple(range(1, MOST_CUTS + 1))) -> Smallest:
    """Tell the smallest difference that so many cuts on each of two edges can show.

    Parameters
    ----------
    spreads : Spreads
    cuts : array_like of int
        Cuts on each edge.

    Returns
    -------
    Smallest

    Examples
    --------
    >>> from sharpstats.tester.spreads import find_spreads
    >>> table = pd.DataFrame({"edge": list("aaabbbccc"), "reading": [150, 156, 147, 171, 180, 176, 139, 148, 144]})
    >>> found = smallest_difference(find_spreads(table, scale="as read"), [1, 4])
    >>> found.table.drop(columns="level").round(1)
                 at  cuts  smallest  by_standard  low  high  found
    0  one operator     1      15.7         12.6  8.1  27.7   25.1
    1  one operator     4       7.8          6.3  4.0  13.8   12.5
    """
    counts = np.atleast_1d(np.asarray(cuts))
    if counts.min() < 1 or not np.issubdtype(counts.dtype, np.integer):
        raise ValueError("`cuts` must be whole numbers from 1 upwards")
    ways = ways_of(spreads)
    amounts = [[difference_at(spreads, float(c), way) for c in counts] for way in ways]
    shown = {name: np.array([[getattr(one, name) for one in row] for row in amounts])
             for name in ("estimate", "low", "high")}  # fmt: skip
    seen, found = _factors(spreads.df)
    return Smallest(
        ways=ways, cuts=counts, smallest=_sizes(spreads, ways, counts, Z, seen), by_standard=shown["estimate"],
        low=shown["low"], high=shown["high"], found=_sizes(spreads, ways, counts, Z + _z(NOTICED), found),
        level=spreads.level, changing=tuple(part.name for part in spreads.parts if not part.of_edges),
        scale=spreads.scale, unit=spreads.unit, notes=_notes(spreads),
    )  # fmt: skip


def _z(share: float) -> float:
    return float(special.ndtri(share))


def _sizes(spreads: Spreads, ways: tuple[Way, ...], cuts: NDArray[np.int64], left: float, cut: float) -> Floats:
    """Differences with a factor of its own for what stays and for what cuts average out."""
    stay = np.array([left_in(spreads, way) @ spreads.variances for way in ways])
    return np.sqrt(2 * (left**2 * stay[:, None] + cut**2 * spreads.variances[-1] / cuts))


def _factors(df: float) -> tuple[float, float]:
    """Factors of the SD of a difference whose SD has so many degrees of freedom: to be seen, and to be found.

    The second is the noncentrality at which t exceeds the first nine times in ten.
    """
    if not np.isfinite(df):
        return Z, Z + _z(NOTICED)
    seen = float(special.stdtrit(df, 1 - CHANCE / 2))
    return seen, float(special.nctdtrinc(df, 1 - NOTICED, seen))


def cuts_needed(spreads: Spreads, wanted: float | str | Quantity, way: Way = "one operator") -> CutsNeeded:
    """Tell how many cuts on each of two edges show a wanted difference.

    Parameters
    ----------
    spreads : Spreads
    wanted : float, str or Quantity
        The difference: a number on the scale, or as people write it (``"15 %"`` on the scale ``log``, ``"25 gf"`` on
        ``as read``).
    way : {"one operator", "two operators", "all different"}

    Returns
    -------
    CutsNeeded

    Raises
    ------
    ValueError
        If the wanted difference is not above zero, or does not fit the scale.
    FitError
        If the study does not tell of that way.

    Examples
    --------
    >>> from sharpstats.tester.spreads import find_spreads
    >>> table = pd.DataFrame({"edge": list("aaabbbccc"), "reading": [150, 156, 147, 171, 180, 176, 139, 148, 144]})
    >>> found = cuts_needed(find_spreads(table, scale="as read"), "10 gf")
    >>> found.cuts, found.low, found.high, found.surely
    (2, 1, 8, 7)
    """
    size = _on_scale(spreads, wanted)
    stay = left_in(spreads, way)
    floor = float(Z * np.sqrt(2 * stay @ spreads.variances))
    counts = [_fewest(spreads, size, way, limit) for limit in ("estimate", "low", "high")]
    return CutsNeeded(
        way=way, wanted=size, cuts=counts[0], low=counts[1], high=counts[2], surely=_surely(spreads, size, way),
        floor=floor, level=spreads.level, scale=spreads.scale, unit=spreads.unit,
    )  # fmt: skip


def _fewest(spreads: Spreads, wanted: float, way: Way, limit: str) -> int | None:
    """Fewest cuts at which the smallest difference, or a limit of it, is not above the one that is wanted."""

    def above(cuts: float) -> float:
        return float(getattr(difference_at(spreads, cuts, way), limit)) - wanted

    if above(COUNTED_TO) > 0:
        return None
    low, high = 1, COUNTED_TO  # more cuts never make the difference larger
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if above(middle) <= 0 else (middle + 1, high)
    return low


def _surely(spreads: Spreads, wanted: float, way: Way) -> int | None:
    """Fewest cuts at which what is found nine times in ten is not above what is wanted."""
    left = wanted**2 / 2 - (Z + _z(NOTICED)) ** 2 * float(left_in(spreads, way) @ spreads.variances)
    if left <= 0:
        return None
    cuts = int(np.ceil(_factors(spreads.df)[1] ** 2 * spreads.variances[-1] / left))
    return max(cuts, 1) if cuts <= COUNTED_TO else None


def _on_scale(spreads: Spreads, wanted: float | str | Quantity) -> float:
    quantity = parse_quantity(wanted) if isinstance(wanted, str) else wanted
    if quantity is None:
        raise ValueError(f'`wanted` must be a number with a unit, such as "15 %" or "25 gf", got {wanted!r}')
    if isinstance(quantity, Quantity):
        return margin_on_scale(quantity, spreads.unit, spreads.scale)
    if not quantity > 0:
        raise ValueError(f"`wanted` must be above zero, got {wanted}")
    return float(quantity)


def _notes(spreads: Spreads) -> tuple[Note, ...]:
    told = ("fresh-spot", "few-levels", "like-edges", "inside-repeatability", "over-range")
    kept = [note for note in spreads.notes if note.code in told]
    names = [part.name for part in spreads.parts]
    if BOTH in names:
        kept.append(Note("cuts-leave-it", "What an operator does to one edge more than to another stays in a "
                         "difference, however many the cuts."))  # fmt: skip
    elif len(ways_of(spreads)) == 1:
        why = "had no second one" if spreads.layout == "one operator" else "cannot tell operators from edges"
        kept.append(Note("one-way", f"Nothing is known of two edges cut by two operators: the study {why}."))
    return tuple(kept)
