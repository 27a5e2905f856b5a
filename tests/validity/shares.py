"""Shares of trials with their Monte-Carlo error, and when one is off."""

from __future__ import annotations

import numpy as np
import pandas as pd

NOMINAL = 0.05
OFF = 1.5 * NOMINAL
"""An error rate above this is off: the tool has to say so."""
SURE = 3.0
"""Standard errors beyond which a share is not luck; of 3,000 shares about four lie beyond on the one side."""


def standard_error(share: float, trials: int) -> float:
    """Binomial standard error; never that of a share below one trial."""
    held = min(max(share, 1 / trials), 1 - 1 / trials)
    return float(np.sqrt(held * (1 - held) / trials))


def bound(trials: int, share: float = NOMINAL, errors: float = SURE) -> float:
    """So many standard errors of a share over that many trials."""
    return errors * standard_error(share, trials)


def is_off(share: pd.Series, trials: pd.Series) -> pd.Series:
    """Whether error rates lie above 1.5 times the nominal one by more than luck."""
    return share > OFF + bound_of(trials)


def bound_of(trials: pd.Series) -> pd.Series:
    """The bound of a share at 1.5 times the nominal rate."""
    return SURE * np.sqrt(OFF * (1 - OFF) / trials)


def percent(share: float) -> str:
    """A share in percent.

    Examples
    --------
    >>> percent(0.0496), percent(float("nan"))
    ('5.0', '')
    """
    return "" if np.isnan(share) else f"{100 * share:.1f}"
