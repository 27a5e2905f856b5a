"""The uncertainty budget of a reading after JCGM 100:2008 (GUM), checked after JCGM 101:2008."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from sharpstats.errors import FitError
from sharpstats.interval import check_level
from sharpstats.late import Shown
from sharpstats.model.student import reach
from sharpstats.notes import Note
from sharpstats.tester.contribution import Contribution
from sharpstats.tester.derivatives import derivatives, model_values
from sharpstats.tester.distributions import Floats
from sharpstats.tester.propagate import SEED, Inputs, Model, Propagation, propagate, tolerance
from sharpstats.units import FORCE_UNITS, NEWTONS_PER_GF

Correlations = Mapping[tuple[str, str], float]
"""Correlation coefficients of pairs of contributions, by their names."""

_CURVED = 0.1
"""Share of the variance in second-order terms from which a note says so: the uncertainty is then 5 % too small."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Budget(Shown):
    """What makes a result uncertain, and by how much in all.

    Attributes
    ----------
    contributions : tuple of Contribution
    unit : str
        Unit of the result.
    value : float
        The result: a reading with its corrections, or the model at the estimates; 0 for a difference.
    reading : float or None
        The reading for which percentages hold.
    cuts : int
        The result is the mean of so many cuts on one edge.
    difference : bool
        Whether it is the difference of two edges, each read so.
    sensitivities : ndarray of shape (k,)
        Change of the result, in `unit`, for a change of 1 in a contribution, in its unit.
    parts : ndarray of shape (k,)
        |sensitivity| * standard uncertainty, averaging in it: what each adds, in `unit`.
    shares : ndarray of shape (k,)
        Part of the combined variance, in percent; negative where a correlation takes more away than is added.
    second_order : float
        Root of the second-order terms of the variance, in `unit`; 0 for a sum (JCGM 100, 5.1.2, note).
    with_second_order : bool
        Whether `combined` has them in it.
    combined : float
        Combined standard uncertainty, in `unit` (JCGM 100, equations 10 and 13).
    effective_df : float
        After Welch and Satterthwaite (JCGM 100, G.2b); the smallest of any where contributions are correlated.
    df : float
        The same, truncated to a whole number (JCGM 100, G.4.1): what k is taken from.
    level, k, expanded : float
        Level of the interval, coverage factor, and expanded uncertainty k * combined.
    check : Propagation or None
        The same by Monte Carlo.
    notes : tuple of Note
    """

    contributions: tuple[Contribution, ...]
    unit: str
    value: float
    reading: float | None
    cuts: int
    difference: bool
    sensitivities: Floats
    parts: Floats
    shares: Floats
    second_order: float
    with_second_order: bool
    combined: float
    effective_df: float
    df: float
    level: float
    k: float
    expanded: float
    check: Propagation | None
    notes: tuple[Note, ...] = ()

    @property
    def low(self) -> float:
        """Lower limit of the interval: value - expanded."""
        return self.value - self.expanded

    @property
    def high(self) -> float:
        """Upper limit of the interval: value + expanded."""
        return self.value + self.expanded

    @property
    def second_order_share(self) -> float:
        """Part of the combined variance in second-order terms, in percent; 0 where they are not in it."""
        return 100 * (self.second_order / self.combined) ** 2 if self.with_second_order else 0.0

    @property
    def table(self) -> pd.DataFrame:
        """One row a contribution, in the order given."""
        return pd.DataFrame({
            "term": [one.name for one in self.contributions],
            "evaluation": [one.kind for one in self.contributions],
            "distribution": [one.shape for one in self.contributions],
            "estimate": [one.value for one in self.contributions],
            "standard_uncertainty": [one.u for one in self.contributions],
            "unit": [one.unit for one in self.contributions],
            "sensitivity": self.sensitivities,
            "contribution": self.parts,
            "share": self.shares,
            "df": [one.df for one in self.contributions],
            "source": [one.source for one in self.contributions],
        })  # fmt: skip


def budget(
    contributions: Iterable[Contribution], *, reading: float | None = None, unit: str = "gf", cuts: int = 1,
    difference: bool = False, level: float = 0.95, correlations: Correlations | None = None,
    digits: int | None = None, seed: int | None = SEED,
) -> Budget:  # fmt: skip
    """Add up what makes a reading uncertain.

    The result is a reading plus the contributions, each times its sensitivity. A contribution that averages is
    another one at each cut. In the difference of two edges a contribution that cancels is the same for both.

    Parameters
    ----------
    contributions : iterable of Contribution
        In gf, N or % of the reading; other units only with a sensitivity in `unit`.
    reading : float, optional
        The reading in `unit`; needed where a contribution is a percentage.
    unit : str
        Unit of the result.
    cuts : int
        Cuts on each edge, of which the mean is taken.
    difference : bool
        Whether the result is the difference of two edges.
    level : float
        Level of the interval.
    correlations : mapping of pairs of names to float, optional
        Pairs left out are not correlated.
    digits : int, optional
        Significant digits of the standard uncertainty to which the Monte-Carlo check has to confirm the limits (JCGM
        101, 8.1); left out: the two digits in which the expanded uncertainty is told.
    seed : int or None
        Seed of the check; None leaves it out.

    Returns
    -------
    Budget

    Raises
    ------
    FitError
        If nothing is uncertain.
    ValueError
        If arguments are impossible, names repeat, or correlations contradict each other.

    References
    ----------
    JCGM 100:2008, 5.1.2 (eq. 10), 5.2.2 (eq. 13), 6.2, 6.3, G.4; JCGM 101:2008.

    Examples
    --------
    >>> cut = Contribution(name="cuts", standard=8.0, df=40, unit="%", averages=True)
    >>> masses = Contribution(name="check masses", half_width=0.5, unit="gf")
    >>> found = budget([cut, masses], reading=150.0, cuts=4, seed=None)
    >>> round(found.combined, 2), found.df, round(found.expanded, 1)
    (6.01, 40, 12.1)
    """
    parts = _checked(contributions, level)
    if isinstance(cuts, bool) or not isinstance(cuts, int | np.integer) or cuts < 1:
        raise ValueError(f"`cuts` must be a whole number from 1 up, got {cuts!r}")
    if reading is not None and not math.isfinite(reading):
        raise ValueError(f"`reading` must be a finite number, got {reading}")
    sensitivities = np.array([_sensitivity(one, unit, reading) for one in parts], dtype=float)
    over = tuple(int(cuts) if one.averages else 1 for one in parts)
    edges = [(0 if one.cancels else 2) if difference else 1 for one in parts]
    inputs = Inputs(
        contributions=parts, over=over, copies=tuple(e * o for e, o in zip(edges, over, strict=True)),
        correlation=_correlation(parts, correlations or {}),
    )  # fmt: skip
    corrections = float(sensitivities @ [one.value for one in parts])
    value = 0.0 if difference else (reading or 0.0) + corrections
    found = _combine(inputs, value, sensitivities, level=level)
    found = replace(found, unit=unit, reading=reading, cuts=int(cuts), difference=difference)
    return _with_check(found, inputs, lambda x: value + sensitivities @ x, digits, seed)


def budget_of(
    model: Callable[..., ArrayLike], inputs: Iterable[Contribution], *, unit: str = "", level: float = 0.95,
    correlations: Correlations | None = None, second_order: bool = False, digits: int | None = None,
    seed: int | None = SEED,
) -> Budget:  # fmt: skip
    """Find the uncertainty of a result that a measurement model gives.

    Parameters
    ----------
    model : callable
        Takes one array for each input, in their order, gives results element by element.
    inputs : iterable of Contribution
        With estimates in `value`; `sensitivity`, `averages` and `cancels` do not count here.
    unit : str
        Unit of the result.
    level : float
        Level of the interval.
    correlations : mapping of pairs of names to float, optional
    second_order : bool
        Whether the second-order terms of the variance are added; inputs must then be independent,
        and the terms are exact for normal ones.
    digits, seed
        As for `budget`.

    Returns
    -------
    Budget

    Raises
    ------
    FitError
        If nothing is uncertain, or the model gives no finite result.
    ValueError, TypeError
        If arguments are impossible, or the model cannot take arrays.

    References
    ----------
    JCGM 100:2008, 5.1.2 with its note (second-order terms), 5.1.3 and 5.1.4 (sensitivities).

    Examples
    --------
    >>> mass = Contribution(name="mass", value=0.2, standard=0.0001, unit="kg")
    >>> fall = Contribution(name="free fall", value=9.81, standard=0.001, unit="m/s2")
    >>> found = budget_of(lambda mass, fall: mass * fall, [mass, fall], unit="N", seed=None)
    >>> round(found.value, 3), round(found.combined, 5)
    (1.962, 0.001)
    """
    parts = _checked(inputs, level)
    if second_order and correlations:
        raise ValueError("second-order terms are known for independent inputs only; leave `correlations` out")
    ones = (1,) * len(parts)
    drawn = Inputs(contributions=parts, copies=ones, over=ones, correlation=_correlation(parts, correlations or {}))
    at = np.array([one.value for one in parts], dtype=float)
    found = derivatives(model, at, drawn.uncertainties)
    terms = _second_order_variance(found.first, found.second, found.third, drawn.uncertainties)
    value = float(model_values(model, at[:, None])[0])
    made = _combine(drawn, value, found.first, level=level, terms=terms, with_terms=second_order)
    return _with_check(replace(made, unit=unit), drawn, lambda x: model_values(model, at[:, None] + x), digits, seed)


def _checked(contributions: Iterable[Contribution], level: float) -> tuple[Contribution, ...]:
    parts = tuple(contributions)
    if not parts:
        raise ValueError("a budget needs at least one contribution")
    names = [one.name for one in parts]
    if twice := {name for name in names if names.count(name) > 1}:
        raise ValueError(f"each contribution needs its own name; more than once: {', '.join(sorted(twice))}")
    check_level(level)
    return parts


def _sensitivity(one: Contribution, unit: str, reading: float | None) -> float:
    """Return how much of the result's unit one of the contribution's is."""
    own = 1.0 if one.sensitivity is None else one.sensitivity
    if one.unit in ("", unit):
        return own
    if one.unit in FORCE_UNITS and unit in FORCE_UNITS:
        return own * (NEWTONS_PER_GF if unit == "N" else 1 / NEWTONS_PER_GF)
    if one.unit == "%" and reading is None:
        raise ValueError(f"the contribution {one.name!r} is a percentage: give the `reading` that it is of")
    if one.unit == "%":
        return own * (reading or 0.0) / 100
    if one.sensitivity is None and unit:
        raise ValueError(f"the contribution {one.name!r}: give its `sensitivity`, in {unit} for 1 {one.unit}")
    return own


def _correlation(parts: tuple[Contribution, ...], given: Correlations) -> Floats:
    """Return the matrix of correlation coefficients."""
    places = {one.name: i for i, one in enumerate(parts)}
    found = np.eye(len(parts))
    for pair, r in given.items():
        unknown = [name for name in pair if name not in places]
        if unknown or len(set(pair)) != 2:
            raise ValueError(f"`correlations` must name two of the contributions, got {pair}")
        if not -1 <= r <= 1:
            raise ValueError(f"a correlation must lie between -1 and 1, got {r} for {pair}")
        i, j = (places[name] for name in pair)
        one, other = parts[i], parts[j]
        if given.get((pair[1], pair[0]), r) != r:
            raise ValueError(f"`correlations` has two numbers for {pair}: {r} and {given[pair[1], pair[0]]}")
        if (one.averages, one.cancels) != (other.averages, other.cancels):
            raise ValueError(f"{pair} are correlated, so both average or none, and both cancel or none")
        found[i, j] = found[j, i] = r
    if np.linalg.eigvalsh(found).min() < -1e-9:
        raise ValueError("`correlations` contradict each other (their matrix is not positive semidefinite)")
    return found


def _second_order_variance(first: Floats, second: Floats, third: Floats, u: Floats) -> float:
    """Return the sum over i, j of (f_ij^2 / 2 + f_i f_ijj) u_i^2 u_j^2 (JCGM 100, 5.1.2, note)."""
    terms = 0.5 * second**2 + first[:, None] * third
    return float(u**2 @ terms @ u**2)


def _combine(
    inputs: Inputs, value: float, sensitivities: Floats, *, level: float, terms: float = 0.0, with_terms: bool = False
) -> Budget:
    """Combine uncertainties and find the coverage factor."""
    signed = sensitivities * inputs.uncertainties
    each = signed * (inputs.correlation @ signed)
    linear = float(each.sum())
    variance = linear + (terms if with_terms else 0.0)
    scale = float(np.abs(signed).max())
    if variance <= (1e-7 * scale) ** 2:
        raise FitError(_nothing_left(scale, terms, with_terms))
    combined = math.sqrt(variance)
    effective = _effective_df(signed, combined, inputs)
    df = math.floor(effective + 1e-9) if math.isfinite(effective) else math.inf
    k = reach(level, df)
    return Budget(
        contributions=inputs.contributions, unit="", value=value, reading=None, cuts=1, difference=False,
        sensitivities=sensitivities, parts=np.abs(signed), shares=100 * each / variance,
        second_order=math.sqrt(max(terms, 0.0)), with_second_order=with_terms, combined=combined,
        effective_df=effective, df=df, level=level, k=k, expanded=k * combined, check=None,
        notes=tuple(_notes(inputs, linear, terms, with_terms)),
    )  # fmt: skip


def _nothing_left(scale: float, terms: float, with_terms: bool) -> str:
    if scale > 0:
        return "The correlated contributions cancel each other: nothing is left. Check the correlations and signs."
    if terms > 0 and not with_terms:
        return "The result does not depend on the inputs to the first order. Ask for second_order=True."
    return "All contributions are zero, or cancel: nothing is uncertain. Give at least one that is not."


def _effective_df(signed: Floats, combined: float, inputs: Inputs) -> float:
    """Return the degrees of freedom of the combined uncertainty (JCGM 100, G.2b)."""
    df = np.array([one.df for one in inputs.contributions])[signed != 0]
    if _correlated(inputs):
        return float(df.min())
    with np.errstate(divide="ignore"):
        return float(np.divide(combined**4, np.sum(signed[signed != 0] ** 4 / df)))


def _correlated(inputs: Inputs) -> bool:
    return bool(np.any(inputs.correlation[~np.eye(len(inputs.correlation), dtype=bool)]))


def _notes(inputs: Inputs, linear: float, terms: float, with_terms: bool) -> Iterable[Note]:
    limited = any(math.isfinite(one.df) for one in inputs.contributions)
    if _correlated(inputs) and limited:
        yield Note("correlated", "Contributions are correlated, for which no rule gives degrees of freedom in all; the "
                   "fewest of any contribution are taken, which is on the safe side.")  # fmt: skip
    if terms > _CURVED * linear and not with_terms:
        yield Note("curved", "The result bends so much with its inputs that the uncertainty is too small without "
                   "second-order terms. Ask for second_order=True, or go by the Monte-Carlo limits.")  # fmt: skip


def _with_check(found: Budget, inputs: Inputs, model: Model, digits: int | None, seed: int | None) -> Budget:
    if seed is None:
        return found
    delta = tolerance(found.expanded, 2) if digits is None else tolerance(found.combined, digits)
    limits = (found.low, found.high)
    check = propagate(model, inputs, limits=limits, delta=delta, level=found.level, seed=seed)
    notes = found.notes
    if not check.settled:
        error = f"{check.error:.2g} {found.unit}".rstrip()
        notes += (Note("not-settled", f"After {check.trials:,} trials the limits drawn are known to {error}: too "
                       "little to be sure whether they confirm the interval."),)  # fmt: skip
    return replace(found, check=check, notes=notes)
