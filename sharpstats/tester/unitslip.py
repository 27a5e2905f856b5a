"""Does a shop's column look as if it were in another unit? Said, never corrected: numbers alone cannot prove it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

FACTORS: Mapping[str, float] = {
    "gf and N": 1 / 0.00980665,
    "gf and mN": 9.80665,
    "gf and kgf, or N and mN": 1000.0,
    "gf and ounces-force": 28.349523125,
}
"""Between two units of force that a display may show; the ounce is the avoirdupois ounce, exact since 1959."""
WIDE = 1.35
"""How far from such a factor a shop may be, as a ratio."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitSlip:
    """A shop that differs from the others by about the factor between two units.

    Attributes
    ----------
    shop : str
    ratio : float
        Its readings, divided by those of the other shops on the same batches.
    units : str
        The units between which such a factor lies.
    """

    shop: str
    ratio: float
    units: str


def unit_slips(cells: pd.DataFrame) -> tuple[UnitSlip, ...]:
    """Find shops that differ from all others by about the factor between two units.

    Parameters
    ----------
    cells : DataFrame
        Columns shop, batch and mean (as read, above zero), one row a cell.

    Returns
    -------
    tuple of UnitSlip
        With two shops, both: which of them is wrong cannot be told.

    Examples
    --------
    >>> cells = pd.DataFrame({"shop": ["A", "B", "C"], "batch": "keen", "mean": [150.0, 1.49, 155.0]})
    >>> [(slip.shop, f"{slip.ratio:.4f}", slip.units) for slip in unit_slips(cells)]
    [('B', '0.0099', 'gf and N')]
    """
    above = cells[cells["mean"] > 0]
    wide = above.assign(log=np.log(above["mean"])).set_index(["shop", "batch"])["log"].unstack()  # noqa: PD010
    found = []
    for shop in wide.index:
        own, others = wide.loc[shop], wide.drop(shop)
        # the middle of an even number is any point between two; the nearest to the shop is taken
        apart = float((own - own.clip(_middle(others, "lower"), _middle(others, "higher"))).median())
        names = [name for name, factor in FACTORS.items() if abs(abs(apart) - np.log(factor)) < np.log(WIDE)]
        found += [UnitSlip(shop=str(shop), ratio=float(np.exp(apart)), units=name) for name in names]
    return tuple(found)


def _middle(others: pd.DataFrame, end: Literal["lower", "higher"]) -> pd.Series:
    return others.quantile(0.5, interpolation=end)
