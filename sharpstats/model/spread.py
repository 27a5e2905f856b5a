"""Units whose own variance differs by the level of a factor: finding the levels, and refusing what cannot be told."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sharpstats.errors import FitError
from sharpstats.model.reduce import Codes, Reduced, constant_within
from sharpstats.model.spec import ModelFrame

Floats = NDArray[np.float64]
EXACT = 1e-14
"""Share of a level's sum of squares below which nothing is left of it but rounding."""


def check_column(frame: ModelFrame, by: str) -> None:
    """Refuse a column whose levels are not compared.

    Raises
    ------
    FitError
    """
    if by not in frame.fixed_factors:
        raise FitError(
            f"`spread_by` names {by!r}, which is no factor among the fixed terms ({', '.join(frame.fixed_factors)}). "
            "The spread can differ only by a factor whose means may differ too."
        )


def levels_of_units(frame: ModelFrame, by: str, unit: Codes, first: Codes, name: str) -> Codes:
    """Level of each unit.

    Parameters
    ----------
    frame : ModelFrame
    by : str
        A fixed factor.
    unit, first : integer ndarray
        Unit of each reading; one reading of each unit.
    name : str
        What a unit is called.

    Returns
    -------
    integer ndarray of shape (units,)

    Raises
    ------
    FitError
        If a unit has readings at several levels.
    """
    codes = frame.factors[by].codes
    if constant_within(codes, unit, first):
        return codes[first]
    row = int(np.flatnonzero(codes[first][unit] != codes)[0])
    levels = frame.factors[by].levels
    raise FitError(
        f"One {name} has readings at {by} {levels[codes[first][unit[row]]]} and at {levels[codes[row]]} (row {row + 1} "
        f"of the table), so the spread between such units cannot differ by {by}. Name what has one {by} among the "
        "random terms, for example the edge."
    )


def check_levels(reduced: Reduced, by: str, levels: Sequence[str], unit: str) -> None:
    """Refuse a level that cannot show a spread of its own.

    Parameters
    ----------
    reduced : Reduced
    by : str
    levels : sequence of str
    unit : str
        What a unit is called.

    Raises
    ------
    FitError
    """
    apart = reduced.h.shape[1] - len(levels)
    for place, level in enumerate(levels):
        inside = reduced.h[:, apart + place] > 0
        products = reduced.products[inside, reduced.q :, reduced.q :].sum(axis=0)
        units, (rank, left) = int(reduced.sizes[inside].sum()), _left_over(products)
        if units <= rank:
            raise FitError(
                f"There {'is one' if units == 1 else f'are {units}'} {unit} with {by} {level}, and the factors under "
                "test explain it wholly: it shows no spread of its own. Make more, or leave that level out."
            )
        if not apart and left <= EXACT * max(products[-1, -1], np.finfo(float).tiny):
            raise FitError(
                f"Every {unit} with {by} {level} reads just what the factors under test say: there is no spread to "
                "compare. Ask what step the tester rounds to, or leave that level out."
            )


def _left_over(products: Floats) -> tuple[int, float]:
    """Rank of X, and the sum of squares that least squares leaves, from [X y]'[X y]."""
    scale = np.sqrt(np.maximum(products.diagonal()[:-1], np.finfo(float).tiny))
    values, vectors = np.linalg.eigh(products[:-1, :-1] / scale / scale[:, None])
    kept = values > 1e-9 * values[-1]
    taken = vectors[:, kept].T @ (products[:-1, -1] / scale)
    return int(kept.sum()), float(products[-1, -1] - (taken**2 / values[kept]).sum())
