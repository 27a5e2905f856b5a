"""Caveats that travel with the parts of a spread."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from sharpstats.notes import Note
from sharpstats.tester.arrangement import Arrangement, can_tell_apart
from sharpstats.tester.pooling import HELD_KEPT, HELD_SUMS, Pooling
from sharpstats.tester.squares import mean_squares_of, sweep

Floats = NDArray[np.float64]
ALIKE = 0.05
"""Edges that are said to be alike are doubted where an F test of their differences has a p value below this."""
DIFFER = 0.01
"""REML and mean squares are said to differ where an SD does by more than this share of the whole's."""
FRESH_SPOT = Note(
    "fresh-spot", "A cut is destructive, so each one is at a fresh spot of the edge: differences from spot to spot "
    "along an edge sit inside repeatability.",
)  # fmt: skip


def alike_notes(used: pd.DataFrame, arrangement: Arrangement, value: str) -> list[Note]:
    """Doubt edges that are said to be alike, where cuts on the same edge agree much better."""
    edge = pd.factorize(used["edge"])[0].astype(np.intp)
    codes = [*(part.codes for part in arrangement.parts), edge]
    if edge.max() < 1 or not can_tell_apart(codes):
        return []
    found = mean_squares_of(sweep(codes, len(used)), used[value].to_numpy(float), ("",) * (len(codes) + 1), 0.95)
    if found is None or found.mean_square[-1] == 0:
        return []
    f = float(found.mean_square[-2] / found.mean_square[-1])
    p = float(stats.f.sf(f, found.df[-2], found.df[-1]))
    if p >= ALIKE:
        return []
    return [Note("not-alike", "The edges are said to be alike, but they differ by more than cuts on one edge do "
                 f"(F = {f:.1f}, {_p(p)}). So repeatability is told too large here; without "
                 'layout = "like edges" the two would be parted.')]  # fmt: skip


def _p(p: float) -> str:
    return "p < 0.001" if p < 0.001 else f"p = {p:.2g}"


def pooling_note(pooling: Pooling) -> Note:
    """Say what was done with operator x edge, and why."""
    test = f"F = {pooling.f:.2f}, {_p(pooling.p)}"
    if pooling.above in (0, 1):
        done = "pooled into repeatability" if pooling.pooled else "kept as a part of its own"
        return Note("as-asked", f"Operator x edge is {done}, as it was asked for ({test}).")
    if pooling.pooled:
        return Note("pooled", f"Operator x edge shows no more spread than repeatability explains ({test}, above "
                    f"{pooling.above:g}), so it is pooled into repeatability. {COST}.")  # fmt: skip
    return Note("kept", f"Operator x edge is kept as a part of its own ({test}, not above {pooling.above:g}). {COST}, "
                f"that of operator x edge in {HELD_KEPT}.")  # fmt: skip


COST = f"Since the same readings decide it, 95 % intervals hold the truth in {HELD_SUMS} of 100 such studies at worst"
"""What choosing costs, as simulated."""


def over_note(count: int) -> Note:
    """Say how readings over the range were used."""
    readings = "1 reading is" if count == 1 else f"{count} readings are"
    return Note("over-range", f"{readings} over the tester's range, and used as that: as over it, not as the number "
                "shown. Intervals of sums and ratios are approximate then.")  # fmt: skip


def unbalanced_note(why: str, any_squares: bool) -> Note:
    """Say why there are no mean squares of the classical kind, and where the intervals come from."""
    source = "mean squares that hold nearly, not exactly" if any_squares else "the likelihood near its highest point"
    return Note("not-balanced", f"{why} The parts are found by restricted maximum likelihood alone, and their "
                f"intervals from {source}.")  # fmt: skip


def spread_notes(terms: Sequence[str], variances: Floats, by_reml: Floats) -> list[Note]:
    """Say which parts are at zero, and whether the two methods differ."""
    notes = [Note("zero-variance", f"The readings show no spread of {term}: it is estimated as zero, and its interval "
                  "says how much may be there.")
             for term, value in zip(terms, variances, strict=True) if value == 0]  # fmt: skip
    gap = np.abs(np.sqrt(variances) - np.sqrt(by_reml)) / np.sqrt(variances.sum())
    if np.any(gap > DIFFER):
        notes.append(Note("differ", "Mean squares and restricted maximum likelihood differ here, because a part that "
                          "comes out below zero is told as zero. Both are kept; the numbers are those of the mean "
                          "squares."))  # fmt: skip
    return notes
