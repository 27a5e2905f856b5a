"""A round robin: several shops read batches of like edges, each with its own tester and hands (ISO 5725-2).

Every cut is at a fresh spot and batches are made of like edges, not of one: what differs from spot to spot
and from edge to edge within a batch is inside the spread within a shop.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.interval import check_level
from sharpstats.late import Shown
from sharpstats.notes import Note
from sharpstats.tester.amounts import LIMIT_FACTOR
from sharpstats.tester.batch import Batch, batch_notes, judge_batch
from sharpstats.tester.dependence import FEWEST_BATCHES, Dependence, dependence
from sharpstats.tester.labels import called, natural
from sharpstats.tester.overrange import over_range
from sharpstats.tester.screening import SAME
from sharpstats.tester.shopsframe import checked_shops
from sharpstats.tester.throughout import Throughout, throughout
from sharpstats.tester.unitslip import unit_slips
from sharpstats.trial.plan import Scale
from sharpstats.units import ForceUnit

WITHIN, BETWEEN, ACROSS = "within a shop", "between shops", "from shop to shop"
ALL, WITHOUT = "all cells", "without the outlying"


@dataclass(frozen=True, eq=False, kw_only=True)
class RoundRobin(Shown):
    """What a round robin found.

    Attributes
    ----------
    scale : str
        ``log`` or ``as read``: means and SDs are of log readings, or of readings.
    unit : str
    level : float
        Level of the intervals.
    shops : tuple of str
        In the order of their labels.
    batches : tuple of Batch
        From the keenest to the dullest.
    throughout : tuple of Throughout
        Shops that read highest, or lowest, on every batch.
    within_by_level, across_by_level : Dependence or None
        How s_r and s_R depend on the level of the batch, all cells; None with fewer than three batches.
    data : DataFrame
        Columns shop, batch, reading: every cut, as read.
    notes : tuple of Note
    """

    scale: Scale
    unit: ForceUnit
    level: float
    shops: tuple[str, ...]
    batches: tuple[Batch, ...]
    throughout: tuple[Throughout, ...]
    within_by_level: Dependence | None
    across_by_level: Dependence | None
    data: pd.DataFrame
    notes: tuple[Note, ...]

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row for each SD of each batch; twice where cells are outlying: with all cells, and without those."""
        return pd.DataFrame([row for batch in self.batches for row in _sd_rows(batch)], columns=list(SDS))

    @cached_property
    def cells(self) -> pd.DataFrame:
        """One row a cell: batch, shop, cuts, mean, sd, h, k with p values, outlying."""
        return pd.concat([_cell_rows(batch) for batch in self.batches], ignore_index=True)

    @cached_property
    def looks(self) -> pd.DataFrame:
        """One row a test for outlying cells, in the order in which they were made."""
        return pd.DataFrame([row for batch in self.batches for row in _look_rows(batch)], columns=list(LOOKS))


SDS = ("term", "batch", "at", "sd", "low", "high", "level", "df", "pair", "shops", "cuts")
LOOKS = ("term", "batch", "shop", "statistic", "p", "at_5", "at_1", "cells", "mark")


def round_robin(
    shops: pd.DataFrame, *, scale: Scale = "log", unit: ForceUnit = "gf", level: float = 0.95
) -> RoundRobin:
    """Compare shops that read batches of like edges.

    Parameters
    ----------
    shops : DataFrame
        Columns shop, batch and reading, one row a cut; `cut` if cuts are numbered, and `over_range` if some lie
        beyond the tester's range, where known. Rows set aside are left out before.
    scale : str
        ``log`` for differences in percent, ``as read`` for differences in `unit`.
    unit : str
        Unit of the readings, gf or N.
    level : float
        Level of the intervals, between 0 and 1.

    Returns
    -------
    RoundRobin

    Raises
    ------
    FitError
        If there are fewer than two shops, or readings that cannot be used.
    ValueError
        If a column is missing, or `scale` or `level` is not as said.

    Examples
    --------
    >>> shops = pd.DataFrame({"shop": list("AABBCC"), "batch": "keen", "reading": [10, 11, 12, 12.5, 10.5, 11]})
    >>> found = round_robin(shops, scale="as read")
    >>> print(found.table[["term", "sd"]].round(2).to_string(index=False, header=False))
        within a shop 0.50
        between shops 0.88
    from shop to shop 1.01
    """
    check_level(level)
    data = checked_shops(shops, scale)
    groups = data.assign(y=np.log(data["reading"]) if scale == "log" else data["reading"]).groupby(["batch", "shop"])
    cells = groups["y"].agg(["size", "mean", "var"]).reset_index()
    means = groups["reading"].mean().rename("mean").reset_index()
    order = cells.groupby("batch")["mean"].mean().sort_index().sort_values(kind="stable").index
    step = _step(data["reading"].to_numpy())
    batches = tuple(_batch(str(name), cells[cells["batch"] == name], scale, level, step) for name in order)
    labels = tuple(sorted(data["shop"].unique(), key=natural))
    return RoundRobin(
        scale=scale, unit=unit, level=level, shops=labels, batches=batches, throughout=throughout(batches),
        within_by_level=_by_level(batches, scale, "within"), across_by_level=_by_level(batches, scale, "across"),
        data=data, notes=(*_notes(batches, labels), *_over_notes(shops), *_slip_notes(means)),
    )  # fmt: skip


def _step(readings: NDArray[np.float64]) -> float:
    """Return the smallest difference between any two readings, which the step of the tester does not exceed."""
    gaps = np.diff(np.unique(readings))
    gaps = gaps[gaps > SAME * np.abs(readings).max()]
    return float(gaps.min()) if gaps.size else 0.0


def _batch(name: str, cells: pd.DataFrame, scale: Scale, level: float, step: float) -> Batch:
    cells = cells.sort_values("shop", key=lambda column: column.map(natural))
    n, means, variances = (cells[column].to_numpy() for column in ("size", "mean", "var"))
    relative = step / math.exp(float(means.mean())) if scale == "log" else step
    return judge_batch(name, list(cells["shop"]), n, means, variances, level=level, step=relative)


def _by_level(batches: Sequence[Batch], scale: Scale, which: str) -> Dependence | None:
    found = [(batch.whole.mean, getattr(batch.whole, which)) for batch in batches]
    if len(found) < FEWEST_BATCHES or any(deviation is None for _, deviation in found):
        return None
    m = np.array([mean for mean, _ in found])
    sd, df = ([getattr(deviation, name) for _, deviation in found] for name in ("sd", "df"))
    return dependence(np.exp(m) if scale == "log" else m, sd, df)


def _sd_rows(batch: Batch) -> Iterator[dict[str, object]]:
    for cells, found in ((ALL, batch.whole), (WITHOUT, batch.kept)):
        if found is None:
            continue
        for term, deviation in ((WITHIN, found.within), (BETWEEN, found.between), (ACROSS, found.across)):
            if deviation is not None:
                yield {"term": term, "batch": batch.name, "at": cells, "sd": deviation.sd, "low": deviation.low,
                       "high": deviation.high, "level": found.level, "df": deviation.df,
                       "pair": np.nan if term == BETWEEN else LIMIT_FACTOR * deviation.sd, "shops": found.shops,
                       "cuts": found.cuts}  # fmt: skip


def _cell_rows(batch: Batch) -> pd.DataFrame:
    return pd.DataFrame({
        "term": "cell", "batch": batch.name, "shop": batch.shops, "cuts": batch.n, "estimate": batch.means,
        "sd": batch.sds, "h": batch.h, "h_p": batch.h_p, "k": batch.k, "k_p": batch.k_p,
        "outlying": np.isin(batch.shops, batch.outlying),
    })  # fmt: skip


def _look_rows(batch: Batch) -> Iterator[dict[str, object]]:
    for look in batch.looks:
        yield {"term": look.looked_at, "batch": batch.name, "shop": " and ".join(look.shops),
               "statistic": look.statistic, "p": look.p, "at_5": look.at_5, "at_1": look.at_1, "cells": look.cells,
               "mark": look.mark}  # fmt: skip


def _notes(batches: Sequence[Batch], shops: Sequence[str]) -> Iterator[Note]:
    where: dict[Note, list[str]] = {}
    for batch in batches:
        for note in batch_notes(batch, shops):
            where.setdefault(note, []).append(batch.name)
    for note, names in where.items():
        yield Note(note.code, f"{', '.join([called('Batch', names[0]), *names[1:]])}: {note.text}")
    for shop in shops:
        read = [batch.name for batch in batches if shop in batch.shops]
        if len(read) == 1 and len(batches) > 1:
            yield Note("one-batch-shop", f"{called('Shop', shop)} read {called('batch', read[0])} only: whether it "
                       "reads higher or lower than the others throughout cannot be told.")  # fmt: skip


def _over_notes(shops: pd.DataFrame) -> Iterator[Note]:
    """Name batches with cuts over the range: their number is a bound, and the standard has no place for one."""
    for batch, cuts in shops[over_range(shops)].groupby("batch"):
        yield Note("over-range", f"{called('Batch', str(batch))}: {len(cuts)} of the cuts lie over the tester's "
                   "range and count as its end. The mean of this batch and its spreads are too small, and tests of "
                   "shops on it prove nothing. Send round keener edges.")  # fmt: skip


def _slip_notes(means: pd.DataFrame) -> Iterator[Note]:
    for slip in unit_slips(means):
        times = f"about {slip.ratio:.3g} times" if slip.ratio > 1 else f"about 1/{1 / slip.ratio:.3g} of"
        yield Note("unit-slip", f"{called('Shop', slip.shop)} reads {times} what the others read, near the factor "
                   f"between {slip.units}. Ask in which unit it read. Nothing was changed, and no number here can be "
                   "relied on until that is known.")  # fmt: skip
