"""Whether a layout can answer at all: what cannot be told apart, and why a fit is refused."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

from sharpstats.errors import FitError
from sharpstats.model import spread
from sharpstats.model.reduce import Reduced
from sharpstats.model.reml import Evaluate, Optimum, derivatives, maximise
from sharpstats.model.spec import ModelFrame, term_name
from sharpstats.model.strata import column_rank
from sharpstats.model.structure import Structure, unit_name

Floats = NDArray[np.float64]
ROUNDING = 1e-26
"""Share of the sum of squares below which deviations are rounding noise of the means."""
RANK_TOLERANCE = 1e-9
"""Share of a column of X that must be its own for it to be told apart from those before it."""


def independent_columns(reduced: Reduced) -> tuple[Reduced, tuple[int, ...], Floats]:
    """Keep the first columns of X that can be told apart; return the null space of the rest."""
    total = reduced.products[:, reduced.q : -1, reduced.q : -1].sum(axis=0)
    scale = np.sqrt(np.maximum(total.diagonal(), 1e-300))
    normal = total / scale / scale[:, None]
    factor, fault = lapack.dpotrf(normal, lower=1)
    if not fault and factor.diagonal().min() ** 2 > RANK_TOLERANCE:
        return reduced, tuple(range(reduced.p)), np.zeros((reduced.p, 0))
    kept, null = _split_columns(normal, scale)
    return reduced.keep_columns(kept), tuple(kept), null


def _split_columns(normal: Floats, scale: Floats) -> tuple[list[int], Floats]:
    """Columns that can be told apart, and how the others depend on them."""
    kept: list[int] = []
    null = []
    for j in range(len(scale)):
        weights = np.linalg.solve(normal[np.ix_(kept, kept)], normal[kept, j])
        if normal[j, j] - normal[kept, j] @ weights > RANK_TOLERANCE:
            kept.append(j)
            continue
        vector = np.zeros(len(scale))
        vector[j], vector[kept] = 1 / scale[j], -weights / scale[kept]
        null.append(vector / np.abs(vector).max())
    return kept, np.array(null).T


def check_spread(frame: ModelFrame, structure: Structure, reduced: Reduced) -> None:
    """Refuse a layout that cannot show its own error, with the reason."""
    unit = term_name(structure.kept[structure.own]) if structure.own is not None else "reading"
    count = reduced.units if structure.own is not None else reduced.readings
    if count <= reduced.p and count <= (effects := _effects_between(structure, reduced)):
        raise FitError(
            f"There are {count} levels of {unit} for {effects} fixed effects, so nothing is left to show how far "
            "two alike differ. Make at least two of each (twenty cuts on one edge are still one edge)."
        )
    total = reduced.products[:, -1, -1].sum()
    if total <= 0:
        raise FitError(f"All values of `{frame.response}` are equal: there is no spread to judge a difference by.")
    if _left_over(reduced) <= 1e-14 * total:
        raise FitError(
            f"The factors under test explain every value of `{frame.response}` exactly, so there is no spread to "
            "judge a difference by. Was a fitted column named instead of the readings?"
        )
    if reduced.units < reduced.readings and reduced.products[-1, -1, -1] <= ROUNDING * total:
        raise FitError(
            f"All values of `{frame.response}` within each {unit} are equal, so the error of a single one cannot be "
            "seen. Ask what step the tester rounds to, or keep one value for each."
        )
    if structure.levels:
        spread.check_levels(reduced, structure.by, structure.levels, unit_name(structure))


def _effects_between(structure: Structure, reduced: Reduced) -> int:
    """Fixed effects that differ between units: those wholly within them take nothing from their number."""
    if structure.own is None:
        return reduced.p
    strata = slice(None, -1) if reduced.units < reduced.readings else slice(None)
    return column_rank(reduced.products[strata, reduced.q : -1, reduced.q : -1].sum(axis=0))


def _left_over(reduced: Reduced) -> float:
    """Sum of squares that ordinary least squares leaves."""
    whole = reduced.products[:, reduced.q :, reduced.q :].sum(axis=0)
    taken = lapack.dposv(whole[:-1, :-1], whole[:-1, -1])[1]
    return float(whole[-1, -1] - whole[-1, :-1] @ taken)


def settle_or_explain(structure: Structure, reduced: Reduced, evaluate: Evaluate | None = None) -> Optimum:
    """Maximise the likelihood; where that fails, say which spreads cannot be told apart."""
    try:
        optimum = maximise(reduced, evaluate=evaluate)
    except FitError:
        ones = np.ones(reduced.h.shape[1] + reduced.blocks.shape[0])
        _check_told_apart(structure, derivatives(reduced, ones).expected, ones)
        raise
    _check_told_apart(structure, optimum.expected, optimum.variances)
    return optimum


def _check_told_apart(structure: Structure, expected: Floats, variances: Floats) -> None:
    """Look for random terms that another term, fixed or random, explains wholly.

    Times its variance, the information of a term is about its number of levels, however far
    apart the variances are; it is nil where the factors under test leave nothing of the term.
    """
    size = np.sqrt(np.maximum(expected.diagonal(), 0))
    levels = size * np.maximum(variances, variances[0])
    by_position = {place: name for name, place in structure.places}
    for place, value in enumerate(levels):
        if value < 1e-7 * levels.max():
            raise FitError(
                f"The spread between levels of {by_position[place]} cannot be told from the factors under test: "
                f"each has its own {by_position[place]}. Use more than one {by_position[place]} for each."
            )
    normal = expected / size / size[:, None]
    factor, fault = lapack.dpotrf(normal, lower=1)
    if not fault and factor.diagonal().min() ** 2 > 1e-9:
        return
    values, vectors = np.linalg.eigh(normal)
    if values[0] < 1e-10:
        mixed = " and ".join(by_position[int(i)] for i in np.flatnonzero(np.abs(vectors[:, 0]) > 0.1))
        raise FitError(
            f"The spreads of {mixed} cannot be told apart on this layout: they always change together. "
            "Leave one of them out."
        )
