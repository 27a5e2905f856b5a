"""Reduction of readings some of which are over the tester's range, to what `overrange.py` needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sharpstats.model.overedge import OverEdges
from sharpstats.model.overrange import OverRange
from sharpstats.model.reduce import Codes, Reduced, Units, first_of_each, reduce_readings

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class OverSums:
    """Sums of the cuts in range, and the edges with cuts over the range.

    Attributes
    ----------
    whole : Reduced
        Sums of the edges with all cuts in range, and the deviations within all edges.
    in_range : Reduced
        Sums of all cuts in range, as if the others had not been made.
    edges : OverEdges
    rows : ndarray of shape (E, q + p)
        [Z | X] of the edges with cuts over the range.
    own : ndarray of shape (E, d - 1)
        Derivative of their variance between edges by the diagonal variances after the cut error.
    at : integer ndarray of shape (E,)
        Which units they are.
    means : ndarray of shape (units, p + 1)
        Unit means of [X | response]; the response of an edge over the range is that of its cuts in range.
    start : ndarray of shape (E,)
        Rough expected readings to begin with: means with each cut over the range at its limit.
    readings : int
    """

    whole: Reduced
    in_range: Reduced
    edges: OverEdges
    rows: Floats
    own: Floats
    at: Codes
    means: Floats
    start: Floats
    readings: int

    def model(self, kept: Sequence[int]) -> OverRange:
        """What `overrange.py` fits, with the columns `kept` of X only."""
        q = self.whole.q
        columns = np.r_[0:q, q + np.asarray(kept, dtype=int)]
        return OverRange(self.whole.keep_columns(kept), self.edges, self.rows[:, columns], self.own, self.readings,
                         len(self.means))  # fmt: skip


def reduce_over_range(units: Units, x: Floats, response: Floats, over: Flags) -> OverSums:
    """Add up the cuts in range, and gather the limits of the others edge by edge.

    Parameters
    ----------
    units : Units
    x : ndarray of shape (units, p)
    response : ndarray of shape (N,)
        Centred response; of a cut over the range its limit.
    over : ndarray of bool of shape (N,)
        Which cuts are over the range.

    Returns
    -------
    OverSums
    """
    count = units.size.size
    beyond = np.bincount(units.unit[over], minlength=count)
    inside = units.size - beyond
    at = np.flatnonzero(beyond)
    in_range, means = reduce_readings(_some(units, ~over, inside > 0), x[inside > 0], response[~over])
    filled = np.column_stack([x, np.zeros(count)])
    filled[inside > 0] = means
    some = beyond[units.unit] == 0
    whole, _ = reduce_readings(_some(units, some, beyond == 0), x[beyond == 0], response[some])
    edges = _over_edges(units, response, over, at, inside[at], filled[at, -1])
    z = [np.eye(levels)[codes[at]] for codes, levels in zip(units.upper, units.levels, strict=True)]
    clipped = np.bincount(units.unit, weights=response, minlength=count) / units.size
    own = np.ones((len(at), int(units.diagonal))) if units.group is None else np.eye(units.groups)[units.group[at]]
    return OverSums(_with_all_within(whole, in_range), in_range, edges, np.column_stack([*z, x[at]]), own, at, filled,
                    clipped[at], response.size)  # fmt: skip


def single_units(units: Units) -> Units:
    """Each reading a unit of its own, where no random term tells units apart."""
    readings = np.arange(units.unit.size)
    return Units(readings, readings, np.ones(readings.size), tuple(codes[units.unit] for codes in units.upper),
                 units.levels, diagonal=False)  # fmt: skip


def _some(units: Units, readings: Flags, kept: Flags) -> Units:
    """Return the units `kept`, made of some of the readings."""
    unit = (np.cumsum(kept) - 1)[units.unit[readings]]
    count = int(kept.sum())
    return Units(unit, first_of_each(unit, count), np.bincount(unit, minlength=count).astype(float),
                 tuple(codes[kept] for codes in units.upper), units.levels, units.diagonal,
                 group=None if units.group is None else units.group[kept], groups=units.groups)  # fmt: skip


def _with_all_within(whole: Reduced, in_range: Reduced) -> Reduced:
    """Take the deviations within edges from all cuts in range, whatever else their edges hold."""
    strata = slice(None, -1) if whole.units < whole.readings else slice(None)
    within = slice(-1, None) if in_range.units < in_range.readings else slice(0)
    return replace(
        whole, products=np.concatenate([whole.products[strata], in_range.products[within]]),
        sizes=np.append(whole.sizes[strata], in_range.sizes[within]),
        h=np.vstack([whole.h[strata], in_range.h[within]]), readings=in_range.readings, units=in_range.units,
        log_sizes=in_range.log_sizes,
    )  # fmt: skip


def _over_edges(units: Units, response: Floats, over: Flags, at: Codes, inside: Floats, mean: Floats) -> OverEdges:
    """Count the cuts over each limit of each edge."""
    place = np.searchsorted(at, units.unit[over])
    pairs, counts = np.unique(np.column_stack([place, response[over]]), axis=0, return_counts=True)
    edge = pairs[:, 0].astype(int)
    order = np.arange(len(edge)) - np.searchsorted(edge, edge)
    limits = np.tile(response[over].min(initial=0.0), (len(at), int(order.max(initial=0)) + 1))
    beyond = np.zeros_like(limits)
    limits[edge, order], beyond[edge, order] = pairs[:, 1], counts
    return OverEdges(mean, inside, limits, beyond)
