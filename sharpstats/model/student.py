"""Student's t for arrays of degrees of freedom, infinite ones included, without the cost of scipy.stats."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]


def two_sided_p(t: Floats, df: Floats) -> Floats:
    """P(|T| >= |t|).

    Examples
    --------
    >>> two_sided_p(np.array([2.0, 2.0]), np.array([10.0, np.inf])).round(4)
    array([0.0734, 0.0455])
    """
    size = -np.abs(t)
    return 2 * np.where(np.isinf(df), special.ndtr(size), special.stdtr(df, size))


def quantile(upper: Floats | float, df: Floats) -> Floats:
    """Value that T exceeds with probability `upper`.

    Examples
    --------
    >>> quantile(0.025, np.array([10.0, np.inf])).round(4)
    array([2.2281, 1.96  ])
    """
    return -np.where(np.isinf(df), special.ndtri(upper), special.stdtrit(df, upper))


def reach(level: float, df: float) -> float:
    """Return how many standard errors a two-sided interval of a level goes to either side (JCGM 100, G.3: its k).

    Parameters
    ----------
    level : float
        Between 0 and 1.
    df : float
        Degrees of freedom; may be infinite.

    Examples
    --------
    >>> round(reach(0.99, 16), 2), round(reach(0.95, np.inf), 2)
    (2.92, 1.96)
    """
    return float(quantile((1 - level) / 2, np.array(float(df))))
