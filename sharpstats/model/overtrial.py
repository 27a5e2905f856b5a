"""Over-range cuts of a trial: which edges cannot be used, and what is told of the others."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.linalg import null_space

from sharpstats.model.means import estimable
from sharpstats.model.spec import Term, design_columns, design_matrix, model_frame
from sharpstats.notes import Note

OVER, EDGE, MEDIUM = "over_range", "edge", "medium"
FEW = 0.5
"""Share of a medium's edges that should have all cuts in range, for intervals to be trusted."""


def without_end(readings: pd.DataFrame, fixed: Sequence[Term]) -> NDArray[np.bool_]:
    """Readings of edges whose mean has no upper end.

    Where every cut is over the range that was made under some combination of the fixed factors,
    any mean high enough explains them equally well. Such edges tell nothing about the others, so
    leaving them out changes no other estimate.

    Parameters
    ----------
    readings : DataFrame
        Readings in the comparison.
    fixed : sequence of Term
        Fixed terms of the model.

    Returns
    -------
    ndarray of bool of shape (N,)
    """
    over = readings[OVER].to_numpy()
    if not over.any() or over.all():
        return over.copy()
    frame = model_frame(readings, "reading", fixed, (), ())
    codes = {name: frame.factors[name].codes for name in frame.fixed_factors}
    x = design_matrix(design_columns(frame), codes, {}, len(readings))
    free: NDArray[np.bool_] = ~estimable(x, null_space(np.unique(x[~over], axis=0)))
    return free


def fitted_notes(data: pd.DataFrame) -> list[Note]:
    """Tell which edges have cuts over the range, and how far that is to be trusted.

    Parameters
    ----------
    data : DataFrame
        Readings in the comparison.
    """
    over = data[data[OVER]]
    if over.empty:
        return []
    edges = over.drop_duplicates(EDGE)
    one = len(edges) == 1
    notes = [Note(
        "over-range", f"{'One edge has' if one else f'{len(edges)} edges have'} cuts over the tester's range, fitted "
        f'as "at least so much": {_named(edges)}. Intervals and degrees of freedom are those of a like trial in which '
        f"{'this edge has' if one else 'these edges have'} fewer cuts, all in range: an approximation.",
    )]  # fmt: skip
    return notes + [_few(medium, here) for medium, here in data.groupby(MEDIUM, observed=True) if _rough(here)]


def _rough(data: pd.DataFrame) -> bool:
    """Whether too few edges have all cuts in range."""
    return bool(data.groupby(EDGE, observed=True)[OVER].any().mean() > 1 - FEW)


def _few(medium: object, data: pd.DataFrame) -> Note:
    over = data.groupby(EDGE, observed=True)[OVER].any()
    inside = int((~over).sum())
    has, which = "has" if inside == 1 else "have", f"Only {inside}" if inside else "None"
    return Note("few-in-range", f"{which} of {len(over)} edges made with {medium} {has} all cuts in range. Its mean "
                "leans on the normal distribution beyond the range, where nothing was seen: take its interval as "
                "rough.")  # fmt: skip


def left_out_notes(left_out: pd.DataFrame) -> list[Note]:
    """Tell which edges stay out of the comparison.

    Parameters
    ----------
    left_out : DataFrame
        One row an edge: edge, medium.
    """
    if left_out.empty:
        return []
    one = len(left_out) == 1
    which = "One edge stays" if one else f"{len(left_out)} edges stay"
    they = "It is" if one else "They are"
    return [Note("over-range-only", f"{which} out of the comparison, since all cuts on all edges made alike are over "
                 f"the tester's range: their mean may be any above it. {they} {_named(left_out)}. A medium that is "
                 "left out so is not keener than the others: it is too dull for this tester.")]  # fmt: skip


def control_notes(readings: pd.DataFrame) -> list[Note]:
    """Tell of control edges with cuts over the range, which the drift leaves out.

    Parameters
    ----------
    readings : DataFrame
        Readings of all control edges.
    """
    over = readings.loc[readings[OVER], EDGE].unique()
    if not len(over):
        return []
    which = "One control edge has" if len(over) == 1 else f"{len(over)} control edges have"
    return [Note("over-range-control", f"{which} cuts over the tester's range; the drift leaves "
                 f"{'it' if len(over) == 1 else 'them'} out: {_listed(map(str, over))}.")]  # fmt: skip


def _named(edges: pd.DataFrame) -> str:
    return _listed(f"{row.edge} ({row.medium})" for row in edges.itertuples())


def _listed(names: Iterable[str]) -> str:
    every = list(names)
    more = f" and {len(every) - 10} more" if len(every) > 10 else ""
    return ", ".join(every[:10]) + more
