"""Whether the edge is worn by testing it: readings against the cut's place on its own edge.

A cut is made at a fresh spot, yet it may leave the edge duller (or keener, where a burr comes off),
and the spot itself may differ along the edge. Both hide in repeatability unless they are looked for.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from sharpstats.errors import FitError
from sharpstats.late import Shown
from sharpstats.model.mixed import MixedFit
from sharpstats.model.student import reach
from sharpstats.notes import Note
from sharpstats.tester.circumstances import LOT, Slope, beside, fit_slopes, slope_of
from sharpstats.tester.overrange import without_over_range
from sharpstats.tester.scale import on_scale
from sharpstats.tester.series import FEWEST, LIKE
from sharpstats.trial.plan import Scale
from sharpstats.units import ForceUnit

Floats = NDArray[np.float64]

PER_MM = 10.0
"""A change along the edge is told for so many millimetres."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeatability:
    """Standard deviation of a single cut, on the study's scale, with its interval."""

    sd: float
    low: float
    high: float
    level: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AlongEdge:
    """How readings change along the edge, the order of the cuts held.

    Attributes
    ----------
    slope : Slope
        For 10 mm towards the tip.
    bow : Slope or None
        The middle of the edge minus its two ends; None with fewer than four places.
    span : float
        Distance between the first and the last place, in mm.
    """

    slope: Slope
    bow: Slope | None
    span: float


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class EdgeByEdge:
    """The slope of each edge by itself.

    Attributes
    ----------
    edges : tuple of str
    slopes : ndarray of shape (edges,)
        Change for each further cut; NaN where an edge has too few cuts of its like.
    differ : float
        p value of the test that all edges have the same slope; NaN where it cannot be made.
    mean : Slope or None
        Mean of the slopes, judged by how far they differ; None with fewer than three.
    """

    edges: tuple[str, ...]
    slopes: Floats
    differ: float
    mean: Slope | None


@dataclass(frozen=True, eq=False, kw_only=True)
class Wear(Shown):
    """What each cut does to the edge that it is made on.

    Attributes
    ----------
    scale : {"log", "as read"}
    unit : {"gf", "N"}
    slope : Slope
        Change for each further cut on the same edge; above zero: the edge gets duller.
    without_drift : Slope or None
        The same with a straight change over the order of all cuts taken out.
    like_drift : bool
        Whether that order is known but cannot be told from the order on the edges.
    along : AlongEdge or None
        Change along the edge; None where places are unknown, or go with the order.
    like_place : bool
        Whether places are known but cannot be told from the order on the edges.
    by_edge : EdgeByEdge
        Slopes of the single edges, and whether they differ.
    as_it_is, slope_removed : Repeatability
        Of single cuts, with the slope left in and taken out.
    cuts : DataFrame
        One row a cut: edge, order, and deviation from the mean cut of its like, were that made at the
        mean place of all.
    notes : tuple of Note
    """

    scale: Scale
    unit: ForceUnit
    slope: Slope
    without_drift: Slope | None
    like_drift: bool
    along: AlongEdge | None
    like_place: bool
    by_edge: EdgeByEdge
    as_it_is: Repeatability
    slope_removed: Repeatability
    cuts: pd.DataFrame = field(repr=False)
    notes: tuple[Note, ...]

    @property
    def level(self) -> float:
        """Level of the intervals."""
        return self.slope.level

    @property
    def most(self) -> float:
        """Largest place of a cut on its edge."""
        return float(self.cuts["order"].max())

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a slope: term, estimate, se, df, p, low, high, level."""
        found = {"each cut": self.slope, "each cut, drift taken out": self.without_drift,
                 "each cut, edge by edge": self.by_edge.mean,
                 f"each {PER_MM:g} mm towards the tip": self.along and self.along.slope,
                 "middle of the edge minus its ends": self.along and self.along.bow}  # fmt: skip
        names = ("estimate", "se", "df", "p", "low", "high", "level")
        return pd.DataFrame([{"term": term, **{name: getattr(slope, name) for name in names}}
                             for term, slope in found.items() if slope is not None])  # fmt: skip


def find_wear(readings: pd.DataFrame, *, scale: Scale, unit: ForceUnit = "gf", level: float = 0.95) -> Wear:
    """Estimate what each cut does to its edge.

    Parameters
    ----------
    readings : DataFrame
        One row a cut: `reading`, `edge`, `order` (place of the cut on its own edge, counting every cut
        made), and where recorded `operator`, `day`, `tester`, `filament_lot`, `position_mm`, `turn`.
    scale : {"log", "as read"}
    unit : {"gf", "N"}
    level : float
        Level of the intervals.

    Returns
    -------
    Wear

    Raises
    ------
    FitError
        If the order on the edges is unknown, there is one cut an edge, or cuts are too few.

    Notes
    -----
    A straight change with the order in a mixed model with what edge, operator, day and tester add,
    lots of filament taken out; intervals after Kenward & Roger (1997). Whether edges differ in their
    slopes is an F test of one common slope against one for each edge, within like cuts.

    Examples
    --------
    >>> table = pd.DataFrame({"edge": ["a"] * 6 + ["b"] * 6, "order": [1, 2, 3, 4, 5, 6] * 2,
    ...                       "reading": [100, 102, 101, 104, 103, 106, 120, 121, 123, 122, 126, 125]})
    >>> found = find_wear(table, scale="as read")
    >>> round(found.slope.estimate, 2), found.slope.low > 0
    (1.07, True)
    """
    _check(readings)
    used, notes = without_over_range(readings)
    _check_enough(used)
    used = used.reset_index(drop=True)
    values, order = on_scale(used, scale), used["order"].to_numpy(float)
    lots = [LOT] if LOT in used and used[LOT].nunique() > 1 else []
    numbers = {"order": (order, 1.0)}
    fit, plain = (fit_slopes(used, values, chosen, fixed=lots, level=level) for chosen in (numbers, {}))
    slope = slope_of(fit, "order", 1.0)
    if slope is None:
        raise FitError("The place of a cut on its edge cannot be told from who cut, when and with which lot. Let each "
                       "edge be cut early and late by the same hand.")  # fmt: skip
    timed, placed = _known(used, "turn"), _known(used, "position_mm")
    held = _without_drift(used, values, lots, slope) if timed else None
    along = _along(used, values, lots, slope) if placed else None
    return Wear(
        scale=scale, unit=unit, slope=slope, without_drift=held, like_drift=timed and held is None, along=along,
        like_place=placed and along is None, by_edge=_edge_by_edge(used, values, level), as_it_is=_repeatability(plain),
        slope_removed=_repeatability(fit), cuts=_deviations(used, values, slope.estimate),
        notes=(*notes, *_places_missing(used)),
    )  # fmt: skip


def _check(readings: pd.DataFrame) -> None:
    if "order" not in readings or readings["order"].isna().any():
        raise FitError(
            "Nothing says in which order the cuts on an edge were made, so its wear cannot be seen. Number the cuts in "
            "the column `run` as they are made, or the cuts of each edge in `cut`."
        )


def _check_enough(used: pd.DataFrame) -> None:
    if len(used) < FEWEST:
        raise FitError(f"{len(used)} cut(s) cannot show what a cut does to its edge; {FEWEST} are the fewest that are "
                       "looked at. Make several cuts on each of several edges.")  # fmt: skip
    if used.groupby("edge")["order"].nunique().max() < 2:
        raise FitError("Each edge has one cut, so nothing shows what a cut does to its edge. Make several on each.")


def _known(used: pd.DataFrame, name: str) -> bool:
    return name in used and not used[name].isna().any() and used[name].nunique() > 1


def _places_missing(used: pd.DataFrame) -> tuple[Note, ...]:
    """Say where some cuts have their place along the edge and others have not."""
    if "position_mm" not in used or used["position_mm"].isna().all() or not used["position_mm"].isna().any():
        return ()
    text = f"{int(used['position_mm'].isna().sum())} of {len(used)} cuts have no `position_mm`"
    return (Note("places-missing", f"{text}, so nothing is told of places along the edge. Note it for every cut."),)


def _without_drift(used: pd.DataFrame, values: Floats, lots: list[str], slope: Slope) -> Slope | None:
    """Take out a straight change over the order of all cuts as well, if that can be told apart."""
    fit = _together(used, values, lots, slope.level, {"turn": (used["turn"].to_numpy(float), 100.0)})
    return None if fit is None else beside(slope, slope_of(fit, "order", 1.0))


def _together(
    used: pd.DataFrame, values: Floats, lots: list[str], level: float, others: dict[str, tuple[Floats, float]]
) -> MixedFit | None:
    numbers = {**others, "order": (used["order"].to_numpy(float), 1.0)}
    try:
        return fit_slopes(used, values, numbers, fixed=lots, level=level)
    except FitError:
        return None


def _along(used: pd.DataFrame, values: Floats, lots: list[str], slope: Slope) -> AlongEdge | None:
    """Change along the edge with the order held; the bend where there are four places or more."""
    place = used["position_mm"].to_numpy(float)
    numbers = {"place": (place, PER_MM)}
    fit = _together(used, values, lots, slope.level, numbers)
    told = fit is not None and beside(slope, slope_of(fit, "order", 1.0)) is not None
    straight = slope_of(fit, "place", PER_MM) if fit is not None and told else None
    if straight is None:
        return None
    span = float(np.ptp(place))
    bent = None
    if len(np.unique(place)) >= 4:
        middle = 1 - ((place - place.min()) / span * 2 - 1) ** 2  # 0 at the ends, 1 in the middle
        fit = _together(used, values, lots, slope.level, {**numbers, "middle": (middle, 1.0)})
        bent = None if fit is None else slope_of(fit, "middle", 1.0)
    return AlongEdge(slope=straight, bow=bent, span=span)


def _repeatability(fit: MixedFit) -> Repeatability:
    variance = float(fit.optimum.variances[fit.structure.positions[-1]])
    sd, low, high = (float(np.sqrt(each)) for each in (variance, *fit.residual_limits))
    return Repeatability(sd=sd, low=low, high=high, level=fit.level)


def _cells(used: pd.DataFrame) -> pd.Series:
    likes = [name for name in (*LIKE, LOT) if name in used]
    return used.groupby(likes, observed=True, sort=False).ngroup()


def _deviations(used: pd.DataFrame, values: Floats, slope: float) -> pd.DataFrame:
    """Deviations of the cuts from the mean of their like, moved along the slope to the mean place of all."""
    table = pd.DataFrame({"order": used["order"].to_numpy(float), "value": values})
    means = table.groupby(_cells(used).to_numpy()).transform("mean")
    moved = table["value"] - means["value"] + slope * (means["order"] - table["order"].mean())
    return used[["edge", "order"]].assign(deviation=moved.to_numpy())


def _edge_by_edge(used: pd.DataFrame, values: Floats, level: float) -> EdgeByEdge:
    """Give each edge a slope of its own, within cuts that are alike."""
    cells = _cells(used)
    table = pd.DataFrame({"edge": used["edge"].astype(str), "x": used["order"].astype(float), "y": values})
    table[["x", "y"]] -= table[["x", "y"]].groupby(cells).transform("mean")
    products = table.assign(xx=table["x"] ** 2, xy=table["x"] * table["y"], yy=table["y"] ** 2)
    sums = products.groupby("edge", sort=False)[["xx", "xy", "yy"]].sum()
    told = sums[sums["xx"] > 1e-9]
    slopes = told["xy"] / told["xx"]
    own = float(sums["yy"].sum() - (slopes * told["xy"]).sum())
    more, df = len(told) - 1, len(used) - int(cells.nunique()) - len(told)
    differ = np.nan
    if more > 0 and df > 0 and own > 0:
        common = float(sums["yy"].sum() - told["xy"].sum() ** 2 / told["xx"].sum())
        differ = float(stats.f.sf((common - own) / more / (own / df), more, df))
    return EdgeByEdge(edges=tuple(sums.index), slopes=slopes.reindex(sums.index).to_numpy(), differ=differ,
                      mean=_mean(slopes.to_numpy(), level))  # fmt: skip


def _mean(slopes: Floats, level: float) -> Slope | None:
    """Judge the mean of the edges' slopes by how far they differ."""
    if len(slopes) < 3 or (se := float(slopes.std(ddof=1)) / np.sqrt(len(slopes))) <= 0:
        return None
    mean, df = float(slopes.mean()), len(slopes) - 1.0
    far = reach(level, df) * se
    p = float(2 * stats.t.sf(abs(mean) / se, df))
    return Slope(estimate=mean, se=se, low=mean - far, high=mean + far, df=df, p=p, level=level, per=1.0)
