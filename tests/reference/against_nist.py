"""NIST's analyses of variance, ours, and the exact ones of the numbers as doubles hold them."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache

import numpy as np
import pandas as pd

from reference.stored import stored_json, stored_text
from sharpstats.model.anova import Anova, anova
from sharpstats.model.mixed import MixedFit, fit_mixed

SETS = ("SiRstv", "AtmWtAg", "SmLs01", "SmLs04", "SmLs07")
QUANTITIES = ("between_ss", "within_ss", "F", "r_squared", "residual_sd")


@lru_cache
def readings(name: str) -> pd.DataFrame:
    """A set as a person's file would give it: texts turned into the nearest doubles."""
    text = stored_text(f"nist_anova/{name}")
    return pd.DataFrame({"group": text["group"], "value": text["value"].map(float)})


@lru_cache
def analysed(name: str) -> Anova:
    """Our analysis of variance."""
    return anova(readings(name), response="value", fixed=["group"])


@lru_cache
def fitted(name: str) -> MixedFit:
    """The same set as a model without random factors."""
    return fit_mixed(readings(name), response="value", fixed=["group"])


def certified(name: str) -> dict[str, float]:
    """NIST's values."""
    values = stored_json(f"nist_anova/{name}")["certified"]
    return {quantity: float(values[quantity]) for quantity in QUANTITIES}


def ours(name: str) -> dict[str, float]:
    """Our values of the same quantities."""
    table = analysed(name)
    between, within = table.sum_of_squares
    return dict(zip(QUANTITIES, (between, within, table.f[0], table.r_squared, table.residual_sd), strict=True))


@lru_cache
def exact(name: str, number: Callable[[str], Fraction] = lambda text: Fraction(float(text))) -> dict[str, float]:
    """Exact rational arithmetic on the numbers as doubles hold them, rounded once at the end."""
    text = stored_text(f"nist_anova/{name}")
    groups = [[number(value) for value in rows] for _, rows in text.groupby("group")["value"]]
    count = sum(map(len, groups))
    means = [sum(group, Fraction(0)) / len(group) for group in groups]
    grand = sum((mean * len(group) for mean, group in zip(means, groups, strict=True)), Fraction(0)) / count
    between = sum((len(group) * (mean - grand) ** 2 for mean, group in zip(means, groups, strict=True)), Fraction(0))
    within = sum(
        ((value - mean) ** 2 for mean, group in zip(means, groups, strict=True) for value in group), Fraction(0)
    )
    mean_square = within / (count - len(groups))
    f = between / (len(groups) - 1) / mean_square
    found = (between, within, f, between / (between + within))
    return dict(zip(QUANTITIES, [*map(float, found), float(np.sqrt(float(mean_square)))], strict=True))


def digits(value: float, truth: float) -> float:
    """Digits that agree, at most 16."""
    return 16.0 if value == truth else min(16.0, -float(np.log10(abs(value - truth) / abs(truth))))
