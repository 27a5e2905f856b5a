"""Readings drawn anew: what is true of the blades, edges and cuts of one trial after another."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from validity.layouts import Layout

Floats = NDArray[np.float64]
Drawer = Callable[[np.random.Generator, tuple[int, ...]], Floats]

SIGMA = 0.75
"""Of the lognormal errors: skewness 3.3, as when a few edges come out much duller than the rest."""


def _normal(rng: np.random.Generator, size: tuple[int, ...]) -> Floats:
    return rng.standard_normal(size)


def _heavy(rng: np.random.Generator, size: tuple[int, ...]) -> Floats:
    return rng.standard_t(3, size) / np.sqrt(3.0)


def _skewed(rng: np.random.Generator, size: tuple[int, ...]) -> Floats:
    mean, square = np.exp(SIGMA**2 / 2), np.exp(SIGMA**2)
    return (rng.lognormal(0.0, SIGMA, size) - mean) / (mean * np.sqrt(square - 1))


NORMAL, HEAVY, SKEWED = "normal", "heavy-tailed", "skewed"
SHAPES: Mapping[str, Drawer] = MappingProxyType({NORMAL: _normal, HEAVY: _heavy, SKEWED: _skewed})
"""Errors of edges and cuts with mean 0 and SD 1: normal, Student's t with 3 df, lognormal."""


def errors(
    rng: np.random.Generator, layout: Layout, sd: tuple[float, float, float, float], shape: str, trials: int,
    second: float = 1.0,
) -> Floats:  # fmt: skip
    """Sum of all errors of each reading.

    Parameters
    ----------
    rng : Generator
    layout : Layout
    sd : tuple of float
        True SDs of blade, blade x medium, edge and cut; those of edges and cuts have the shape, the others are normal.
    shape : str
    trials : int
    second : float
        How many times as far the second medium's edges spread.

    Returns
    -------
    ndarray of shape (trials, readings)
    """
    table, drawn = layout.table, SHAPES[shape]
    total = sd[3] * drawn(rng, (trials, len(table)))
    own = np.where(table["medium"] == "m1", second, 1.0)
    parts = ((["blade"], _normal, 1.0), (["blade", "medium"], _normal, 1.0), (["edge"], drawn, own))
    for spread, (names, shaped, times) in zip(sd, parts, strict=False):
        if spread > 0:
            codes = table.groupby(names).ngroup().to_numpy()
            total += spread * times * shaped(rng, (trials, int(codes.max()) + 1))[:, codes]
    return total
