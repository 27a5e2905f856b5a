"""How far two testers, or two operators, read apart on the same edges.

Every cut is at a fresh spot, so no reading of the one has a twin among the other's: what is compared
is the mean of each edge. Limits of agreement after Bland & Altman (1986, Lancet i:307-310; 1999,
Statistical Methods in Medical Research 8:135-160), with the spread of single cuts put back by their
section 5 where cuts were averaged.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sharpstats.errors import FitError
from sharpstats.late import Shown
from sharpstats.notes import Note
from sharpstats.tester.overrange import over_range
from sharpstats.tester.pair import Pair, Side, compare, held_against
from sharpstats.tester.scale import margin_on_scale
from sharpstats.trial.plan import Scale
from sharpstats.units import ForceUnit, Quantity

Floats = NDArray[np.float64]
By = Literal["tester", "operator"]

FEWEST_EDGES = 3
"""Fewer leave no degree of freedom for a slope, and next to nothing for a spread."""

@dataclass(frozen=True, eq=False, kw_only=True)
class Agreement(Shown):
    """Every two testers or operators that read the same edges.

    Attributes
    ----------
    by : str
        ``tester`` or ``operator``.
    unit, scale : str
    pairs : tuple of Pair
    level : float
    notes : tuple of Note
        What pairs could not be compared and why, and what holds for all.
    """

    by: By
    unit: ForceUnit
    scale: Scale
    pairs: tuple[Pair, ...]
    level: float
    notes: tuple[Note, ...] = field(default=())

    @cached_property
    def table(self) -> pd.DataFrame:
        """Differences and limits, some rows a pair (``at``), on the scale of the study."""
        return pd.DataFrame([row for pair in self.pairs for row in _rows(pair)])

    @property
    def slopes(self) -> pd.DataFrame:
        """Slopes without unit, one row a pair (``at``): 1 where both differ by the same everywhere."""
        rows = [{"term": "slope", "at": pair.name, "estimate": pair.slope.estimate, "low": pair.slope.low,
                 "high": pair.slope.high, "level": pair.slope.level} for pair in self.pairs if pair.slope]  # fmt: skip
        return pd.DataFrame(rows, columns=["term", "at", "estimate", "low", "high", "level"])


def agree(
    readings: pd.DataFrame,
    *,
    by: By,
    unit: ForceUnit,
    scale: Scale = "as read",
    level: float = 0.95,
    share: float = 0.95,
    margin: Quantity | None = None,
    order: Sequence[str] = (),
) -> Agreement:
    """Compare what testers or operators read on the same edges.

    Parameters
    ----------
    readings : DataFrame
        Columns ``edge``, ``reading`` and `by`; where known ``over_range`` and ``order``.
    by : str
        ``tester`` or ``operator``.
    unit, scale : str
        Of the study. On the log scale differences are ratios.
    level : float
        Level of the intervals.
    share : float
        Share of the differences that the limits of agreement hold.
    margin : Quantity, optional
        A difference that would not matter: percent on the log scale, else in `unit`.
    order : sequence of str, optional
        Names in the order in which they are taken: every difference is an earlier one minus a later
        one. Left out: sorted.

    Returns
    -------
    Agreement

    Raises
    ------
    FitError
        If no two of them read three edges in common, or they never differ.
    ValueError
        If a column is missing, a reading is not a finite number, the margin does not fit the
        scale, or a level is not between 0 and 1.

    Notes
    -----
    An edge on which either had a cut over the tester's range has no mean; it is left out of that pair,
    and a note says so. Edges count equally, whatever the number of their cuts.

    Examples
    --------
    >>> frame = pd.DataFrame({"edge": list("aabbccdd"), "operator": ["ann", "bo"] * 4,
    ...                       "reading": [152.0, 149, 171, 166, 139, 140, 166, 160]})
    >>> pair = agree(frame, by="operator", unit="gf").pairs[0]
    >>> pair.name, round(pair.difference, 2), round(pair.limits.high, 1)
    ('ann minus bo', 3.25, 9.3)
    """
    if not (0 < level < 1 and 0 < share < 1):
        raise ValueError(f"`level` and `share` must lie between 0 and 1, got {level} and {share}")
    _check_columns(readings, by)
    named = readings[readings[by].notna()]
    names = _names(named, by, order)
    if margin is not None:
        margin_on_scale(margin, unit, scale)  # refuses one that does not fit, before anything is compared
    found: list[Pair] = []
    notes: list[Note] = _unnamed(len(readings) - len(named), by)
    for one, other in combinations(names, 2):
        made = _pair(named, by, (one, other), scale, level, share)
        if isinstance(made, Pair):
            found.append(made if margin is None else held_against(made, margin, unit, scale))
        else:
            notes.append(made)
    if not found:
        raise FitError(" ".join(_why_none(notes, by)))
    if len(found) > 1:
        notes.append(Note("several-pairs", f"{len(found)} pairs: each interval is for that pair by itself."))
    return Agreement(by=by, unit=unit, scale=scale, pairs=tuple(found), level=level, notes=tuple(notes))


def agree_pairs(
    one: ArrayLike, other: ArrayLike, *, names: tuple[str, str] = ("A", "B"), unit: ForceUnit = "gf",
    scale: Scale = "as read", level: float = 0.95, share: float = 0.95, margin: Quantity | None = None,
) -> Agreement:  # fmt: skip
    """Compare two testers of which each read every edge once.

    Parameters
    ----------
    one, other : array_like of shape (n,)
        Readings of the same edges in the same order, in `unit`.
    names : tuple of str
    unit, scale, level, share, margin
        As for `agree`.

    Returns
    -------
    Agreement

    Examples
    --------
    >>> pair = agree_pairs([152, 171, 139, 166], [149, 166, 140, 160]).pairs[0]
    >>> round(pair.difference, 2), pair.df
    (3.25, 3)
    """
    first, second = np.asarray(one, dtype=float), np.asarray(other, dtype=float)
    if first.shape != second.shape or first.ndim != 1:
        raise ValueError(f"`one` and `other` must be of one length, got shapes {first.shape} and {second.shape}")
    edges = [f"{place + 1}" for place in range(len(first))]
    frame = pd.DataFrame({"edge": edges * 2, "reading": np.concatenate([first, second]),
                          "tester": np.repeat(names, len(first))})  # fmt: skip
    return agree(frame, by="tester", unit=unit, scale=scale, level=level, share=share, margin=margin, order=names)


def _check_columns(readings: pd.DataFrame, by: str) -> None:
    missing = [name for name in ("edge", "reading", by) if name not in readings]
    if missing:
        raise ValueError(f"the readings must have the columns edge, reading and {by}; missing: {', '.join(missing)}")
    if not np.all(np.isfinite(readings["reading"].to_numpy(dtype=float))):
        raise ValueError("every reading must be a finite number; set rows without a reading aside first")


def _unnamed(cuts: int, by: str) -> list[Note]:
    if not cuts:
        return []
    return [Note("unnamed", f"{cuts} {'cut names' if cuts == 1 else 'cuts name'} no {by} and cannot be compared.")]


def _names(readings: pd.DataFrame, by: str, order: Sequence[str]) -> list[str]:
    known = sorted(map(str, readings[by].unique()))
    strange = sorted(set(order) - set(known))
    if strange:
        raise ValueError(f"`order` names {', '.join(strange)}; the {by}s are {', '.join(known)}")
    if len(known) < 2:
        raise FitError(f"All cuts have the same {by}, {known[0] if known else 'none'}: there is nobody to agree with. "
                       f"Let a second {by} cut the same edges.")  # fmt: skip
    return [*order, *(name for name in known if name not in order)]


def _pair(
    readings: pd.DataFrame, by: str, names: tuple[str, str], scale: Scale, level: float, share: float
) -> Pair | Note:
    """Compare two, or say why that cannot be."""
    both = [readings[readings[by].astype(str) == name] for name in names]
    together = " and ".join(names)
    common = sorted(set(both[0]["edge"]) & set(both[1]["edge"]), key=str)
    without = set().union(*map(_over, both))
    over, edges = ([edge for edge in common if (edge in without) is out] for out in (True, False))
    if len(edges) < FEWEST_EDGES:
        return _too_few(together, by, len(common), len(over))
    one, other = (_side(name, part, edges, scale) for name, part in zip(names, both, strict=True))
    d = one.means - other.means
    if float(np.ptp(d)) <= 1e-12 * float(np.abs([one.means, other.means]).max()):
        return Note("no-spread", f"{together} differ by the same on every edge, to the last digit: there is no spread "
                    "to judge by. Ask what step the readings are rounded to.")  # fmt: skip
    notes = _notes(one, other, over, together, [part[part["edge"].isin(edges)] for part in both])
    return compare(one, other, tuple(map(str, edges)), level=level, share=share, notes=notes)


def _over(part: pd.DataFrame) -> set[object]:
    """Return the edges with a cut over the tester's range."""
    return set(part.loc[over_range(part), "edge"])


def _too_few(together: str, by: str, common: int, over: int) -> Note:
    if common == 0:
        return Note("no-common-edges", f"{together} read no edge in common, so how far they read apart cannot be "
                    f"told from how far their edges differ. Let both cut the same {FEWEST_EDGES} edges.")  # fmt: skip
    left = f", {over} of them with cuts over the tester's range" if over else ""
    many = f"{common} {'edge' if common == 1 else 'edges'}"
    return Note("few-common-edges", f"{together} read {many} in common{left}: too few to tell how far they read apart. "
                f"Let both cut {FEWEST_EDGES} edges or more.")  # fmt: skip


def _why_none(notes: Sequence[Note], by: str) -> Iterator[str]:
    """Tell why no pair can be compared; once where all pairs have edges of their own."""
    apart = [note for note in notes if note.code == "no-common-edges"]
    yield from (note.text for note in notes if len(apart) < 2 or note not in apart)
    if len(apart) > 1:
        yield (f"No two {by}s read the same edge, so how far they read apart cannot be told from how far their edges "
               f"differ. Let all cut the same {FEWEST_EDGES} edges.")  # fmt: skip


def _side(name: str, part: pd.DataFrame, edges: Sequence[object], scale: Scale) -> Side:
    values = part["reading"].to_numpy(dtype=float)
    if scale == "log" and values.min() <= 0:
        raise FitError(f'{name} has a reading of zero or less, which has no logarithm. Give scale = "as read".')
    numbers = np.log(values) if scale == "log" else values
    groups = pd.Series(numbers, index=part.index).groupby(part["edge"])
    about = pd.DataFrame({"mean": groups.mean(), "cuts": groups.size(), "variance": groups.var(ddof=1)})
    about = about.reindex(list(edges))
    df = about["cuts"].to_numpy(dtype=np.int64) - 1
    pooled = float((about["variance"].fillna(0).to_numpy() * df).sum() / df.sum()) if df.sum() else math.nan
    return Side(name=name, means=about["mean"].to_numpy(dtype=float), cuts=df + 1, variance=pooled, df=int(df.sum()))


def _notes(
    one: Side, other: Side, over: Sequence[object], together: str, parts: Sequence[pd.DataFrame]
) -> tuple[Note, ...]:
    notes = []
    if over:
        many = "1 edge is" if len(over) == 1 else f"{len(over)} edges are"
        notes.append(Note("over-range", f"{together}: {many} left out, with cuts over the tester's range and so "
                          "without a mean."))  # fmt: skip
    if not (one.df and other.df):
        notes.append(Note("ratio-assumed", f"{together}: one of them cut no edge twice, so for the slope both are "
                          "taken to err alike."))  # fmt: skip
    first = _always_first(one.name, other.name, parts)
    if first:
        notes.append(Note("one-always-first", f"{first} cut every edge before the other did: what the testing itself "
                          "does to an edge is part of the difference. Let them take turns."))  # fmt: skip
    return tuple(notes)


def _always_first(one: str, other: str, parts: Sequence[pd.DataFrame]) -> str:
    """Return who cut every edge before the other had made a cut on it; empty if neither did."""
    if not all("order" in part and part["order"].notna().all() for part in parts):
        return ""
    spans = [part.groupby("edge")["order"].agg(["min", "max"]) for part in parts]
    if (spans[0]["max"] < spans[1]["min"]).all():
        return one
    return other if (spans[1]["max"] < spans[0]["min"]).all() else ""


def _rows(pair: Pair) -> list[dict[str, object]]:
    """Rearrange a pair's numbers as rows."""
    edges, cuts = len(pair.edges), int(pair.one.cuts.sum() + pair.other.cuts.sum())
    rows = [("mean difference", pair.difference, pair.low, pair.high)]
    for what, found in (("edge means", pair.limits), ("single cuts", pair.single)):
        rows.append((f"lower limit, {what}", found.low, found.low_from, found.low_to))
        rows.append((f"upper limit, {what}", found.high, found.high_from, found.high_to))
    return [{"term": term, "at": pair.name, "estimate": estimate, "low": low, "high": high, "level": pair.level,
             "edges": edges, "cuts": cuts} for term, estimate, low, high in rows]  # fmt: skip
