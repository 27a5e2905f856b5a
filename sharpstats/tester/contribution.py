"""One contribution to an uncertainty budget: how large it is, how that is known, and whether cuts average it out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

from sharpstats.model.student import reach
from sharpstats.tester.distributions import BOUNDED, Distribution
from sharpstats.trial.spelling import did_you_mean, listed

Evaluation = Literal["A", "B"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """One contribution to the uncertainty of a reading.

    Its size is given once: as `standard`, as `expanded` with `k` or `level`, or as `half_width`.

    Attributes
    ----------
    name : str
    value : float
        Estimate of the quantity, in `unit`; 0 for what may be off either way.
    kind : str
        ``A`` (from repeated readings) or ``B`` (from anything else).
    distribution : str or None
        ``normal``, ``t``, ``rectangular``, ``triangular``, ``trapezoid`` (top half as wide as the base) or
        ``u-shaped``; None: rectangular for a half-width, t where degrees of freedom are limited, else normal.
    standard : float or None
        Standard uncertainty (one standard deviation).
    expanded : float or None
        Expanded uncertainty, as certificates state it; 0 or more.
    k, level : float or None
        Coverage factor of `expanded`, or its level (then k is from t with `df`, or from the normal).
    half_width : float or None
        Half the distance between the limits.
    sensitivity : float or None
        Change of the result for a change of 1 in this quantity: a plain number beside the conversion of gf, N and %,
        otherwise in the result's unit. None: 1, where the units allow it.
    df : float
        Degrees of freedom of the standard uncertainty, 1 or more; infinite where it is taken as exact.
    unit : str
        ``gf``, ``N`` or ``%`` (of the reading), or any other with a sensitivity; empty: the result's own.
    source : str
        Where the number comes from.
    averages : bool
        Whether it is another one at every cut, so that the mean of c cuts has 1/sqrt(c) of it.
    cancels : bool
        Whether it is the same for both edges of a difference, and so not in the difference.

    Raises
    ------
    ValueError
        If the size is not given exactly once, or a number is impossible.

    Examples
    --------
    >>> masses = Contribution(name="check masses", half_width=0.5, unit="gf")
    >>> masses.shape, round(masses.u, 3)
    ('rectangular', 0.289)
    >>> round(Contribution(name="scale", expanded=0.01, level=0.95, df=5).u, 5)
    0.00389
    """

    name: str
    value: float = 0.0
    kind: Evaluation = "B"
    distribution: Distribution | None = None
    standard: float | None = None
    expanded: float | None = None
    k: float | None = None
    level: float | None = None
    half_width: float | None = None
    sensitivity: float | None = None
    df: float = math.inf
    unit: str = ""
    source: str = ""
    averages: bool = False
    cancels: bool = False

    def __post_init__(self) -> None:
        for trouble in (_words(self), _size(self), _numbers(self)):
            if trouble:
                raise ValueError(f"the contribution {self.name!r}: {trouble}")

    @property
    def shape(self) -> Distribution:
        """The distribution that holds."""
        if self.distribution is not None:
            return self.distribution
        if self.half_width is not None:
            return "rectangular"
        return "normal" if math.isinf(self.df) else "t"

    @property
    def u(self) -> float:
        """Standard uncertainty in `unit` (JCGM 100, 4.2 and 4.3)."""
        if self.standard is not None:
            return self.standard
        if self.half_width is not None:
            return self.half_width / BOUNDED[self.shape].divisor
        assert self.expanded is not None
        return self.expanded / (self.k if self.k is not None else reach(self.level or 0, self.df))


def df_from_doubt(relative: float) -> float:
    """Return degrees of freedom for a standard uncertainty that is itself only known to so much (JCGM 100, G.4.2).

    Parameters
    ----------
    relative : float
        Relative uncertainty of the standard uncertainty, above 0: 0.25 where it is reliable to 25 %.

    Examples
    --------
    >>> df_from_doubt(0.25), df_from_doubt(0.1).__round__()
    (8.0, 50)
    """
    if not 0 < relative < math.inf:
        raise ValueError(f"`relative` must be above 0, got {relative}")
    return 0.5 / relative**2


def _words(one: Contribution) -> str:
    for key, kinds in (("kind", Evaluation), ("distribution", Distribution)):
        given, allowed = getattr(one, key), get_args(kinds)
        if given is not None and given not in allowed:
            return f"`{key}` must be {listed(allowed)}, got {given!r}. {did_you_mean(str(given), allowed)}".rstrip()
    return "" if one.name.strip() else "it has no name"


def _size(one: Contribution) -> str:
    """Say what is wrong with how the size is given; the reader of the plan says it in its own way."""
    given = [key for key in ("standard", "expanded", "half_width") if getattr(one, key) is not None]
    if len(given) != 1:
        found = listed(given, last="and") if given else "none"
        return f"give one of `standard`, `expanded` and `half_width`, got {found}"
    factors = [key for key in ("k", "level") if getattr(one, key) is not None]
    if len(factors) != (1 if given == ["expanded"] else 0):
        return "`expanded` needs one of `k` and `level`, and nothing else has them"
    if one.half_width is not None and one.shape not in BOUNDED:
        return f"a {one.shape} distribution has no half-width; give `standard`, or `expanded` with `level`"
    if one.shape == "t" and math.isinf(one.df):
        return "a t distribution needs `df`"
    return ""


def _numbers(one: Contribution) -> str:
    for key in ("standard", "expanded", "half_width"):
        number = getattr(one, key)
        if number is not None and not 0 <= number < math.inf:
            return f"`{key}` must be a number from 0 up, got {number}"
    if one.k is not None and not 0 < one.k < math.inf:
        return f"`k` must be above 0, got {one.k}"
    if one.level is not None and not 0 < one.level < 1:
        return f"`level` must lie between 0 and 1, got {one.level}"
    if not one.df >= 1:
        return f"`df` must be 1 or more, got {one.df}"
    if not (math.isfinite(one.value) and math.isfinite(one.sensitivity or 0.0)):
        return "`value` and `sensitivity` must be finite numbers"
    return ""
