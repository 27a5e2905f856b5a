"""The uncertainty budget of a tester, from what its study found and what its plan states besides."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from sharpstats.errors import FitError
from sharpstats.notes import Note
from sharpstats.tester.arrangement import BOTH, OPERATOR
from sharpstats.tester.budget import Budget, budget
from sharpstats.tester.contribution import Contribution
from sharpstats.tester.known import FromCurvature, FromSquares
from sharpstats.tester.propagate import SEED
from sharpstats.tester.rounding import TOO_COARSE
from sharpstats.tester.spreads import Spreads
from sharpstats.trial.plan import Scale
from sharpstats.trial.spelling import listed, tidy
from sharpstats.units import ForceUnit

CUTS, DRIFT, CALIBRATION, MASSES, ROUNDING = (
    "from cut to cut", "drift during the study", "calibration of the tester", "check masses", "rounding",
)  # fmt: skip
MANY = {OPERATOR: "operators", BOTH: "operator by edge", "day": "days", "filament lot": "filament lots",
        "tester unit": "tester units"}  # fmt: skip
"""What the parts of a spread are called in a budget."""
_LOPSIDED = 0.2
"""Expanded uncertainty / reading from which limits in percent are told: they then differ from the even ones by a tenth
of their distance or more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimated:
    """A standard deviation or standard uncertainty, and how well it is known.

    Attributes
    ----------
    sd : float
        0 or more.
    df : float
        Degrees of freedom.
    source : str
        Where it comes from.
    """

    sd: float
    df: float = math.inf
    source: str = "this study"


def estimated_parts(spreads: Spreads) -> tuple[Estimated, dict[str, Estimated], dict[str, Estimated]]:
    """Return repeatability, spreads shared by edges, and spreads apart for each edge, as `from_study` takes them.

    The degrees of freedom of a part are those of a chi-square with the same mean and variance (Satterthwaite 1946).

    Parameters
    ----------
    spreads : Spreads

    Returns
    -------
    repeatability : Estimated
    shared, apart : dict of str to Estimated
        Spreads between the edges themselves are not the tester's, and left out.
    """
    sds = np.sqrt(spreads.variances)
    found = [Estimated(sd=float(sd), df=_df(spreads, place)) for place, sd in enumerate(sds)]
    shared: dict[str, Estimated] = {}
    apart: dict[str, Estimated] = {}
    for part, one in zip(spreads.parts, found, strict=False):
        if not part.of_edges:
            (apart if BOTH in part.names else shared)[" = ".join(MANY.get(name, name) for name in part.names)] = one
    return found[-1], shared, apart


def _df(spreads: Spreads, place: int) -> float:
    """Return the degrees of freedom of one variance; the fewest where nothing is known of a variance of zero."""
    known, weights = spreads.known, np.eye(len(spreads.variances))[place]
    if isinstance(known, FromSquares):
        parts = known.on_squares(weights) * known.squares.mean_square
        value, spread = float(parts.sum()), float(np.sum(2 * parts**2 / known.squares.df))
    else:
        assert isinstance(known, FromCurvature)
        value, spread = float(known.variances[place]), float(known.covariance[place, place])
    return max(2 * value**2 / spread, 1.0) if spread > 0 else 1.0


def from_study(
    *, reading: float, unit: ForceUnit = "gf", scale: Scale = "log", repeatability: Estimated,
    shared: Mapping[str, Estimated] | None = None, apart: Mapping[str, Estimated] | None = None, drift: float = 0.0,
    calibration: Estimated | None = None, masses: Estimated | None = None, bias: float = 0.0, step: float | None = None,
    others: Iterable[Contribution] = (), cuts: int = 1, difference: bool = False, level: float = 0.95,
    seed: int | None = SEED,
) -> Budget:  # fmt: skip
    """Put the numbers of a tester study together.

    Rounding is counted once. Readings that are rounded to a step d have its d^2/12 in the spread of cuts already, and
    cuts average it out as long as the step is not large against that spread. Where the step is more than
    `rounding.TOO_COARSE` times the spread, cuts round alike and do not average it out: then d/sqrt(12) stands in the
    budget by itself, whatever the number of cuts (JCGM 100, F.2.2.1).

    Parameters
    ----------
    reading : float
        Reading near which the budget holds, in `unit`.
    unit : str
    scale : str
        ``log``: SDs and drift are of logarithms; ``as read``: in `unit`.
    repeatability : Estimated
        Spread of cuts on one edge, as read.
    shared : mapping of str to Estimated
        Spreads of what is the same for both edges of a difference: operators, days, filament lots, testers.
    apart : mapping of str to Estimated
        Spreads of what is another one for each edge but not for each cut: operator by edge, say.
    drift : float
        Change over the study that is not corrected for; a reading may lie anywhere on its way.
    calibration : Estimated, optional
        Uncertainty of the tester's bias near the reading, in `unit`.
    masses : Estimated, optional
        Uncertainty of the force of the check masses, in `unit`.
    bias : float
        By how much the tester reads too high near the reading, if the readings are not corrected, in `unit`.
    step : float, optional
        Step to which readings are rounded, in `unit`.
    others : iterable of Contribution
        What the plan states.
    cuts, difference, level, seed
        As for `budget`.

    Returns
    -------
    Budget

    Raises
    ------
    FitError
        If nothing is uncertain, or a name is used twice.
    ValueError
        If arguments are impossible.

    Examples
    --------
    >>> found = from_study(reading=150.0, repeatability=Estimated(sd=0.08, df=60), step=1.0, cuts=4, seed=None,
    ...                    shared={"operators": Estimated(sd=0.03, df=2)})
    >>> round(found.combined, 1), found.df, [note.code for note in found.notes]
    (7.5, 13, ['rounding-inside'])
    """
    if not 0 < reading < math.inf:
        raise ValueError(f"`reading` must be a number above zero, got {reading}")
    if step is not None and not 0 < step < math.inf:
        raise ValueError(f"`step` must be a number above zero, got {step}")
    factor, own = (100.0, "%") if scale == "log" else (1.0, unit)
    sd = repeatability.sd * (reading if scale == "log" else 1.0)
    coarse = step is not None and step > TOO_COARSE * sd
    named = {CUTS: repeatability, **(shared or {}), **(apart or {})}
    spreads = [
        _spread(name, one, factor, own, averages=name == CUTS, cancels=name in (shared or {}))
        for name, one in named.items() if one.sd > 0
    ]  # fmt: skip
    in_force = {CALIBRATION: calibration, MASSES: masses}
    certain = [_spread(name, one, 1.0, unit, cancels=True) for name, one in in_force.items() if one and one.sd > 0]
    parts = [*spreads, *certain, *_limits(drift * factor, own, step if coarse else None, unit), *others]
    _check(parts)
    found = budget(parts, reading=reading, unit=unit, cuts=cuts, difference=difference, level=level, seed=seed)
    zero = [name for name, one in named.items() if one.sd == 0]
    notes = (*found.notes, *_notes(found, scale, bias, step, coarse, zero))
    return replace(found, notes=notes)


def _check(parts: list[Contribution]) -> None:
    if not parts:
        raise FitError("The study found no spread at all, and the plan states no contribution: there is no budget.")
    names = [tidy(one.name).casefold() for one in parts]
    twice = [one.name for one, name in zip(parts, names, strict=True) if names.count(name) > 1]
    if twice:
        raise FitError(f"{listed(dict.fromkeys(twice), last='and')} would be counted twice: it is found by the study, "
                       "or stated elsewhere in the plan. Take that [[contribution]] out, or rename it.")  # fmt: skip


def _spread(
    name: str, one: Estimated, factor: float, unit: str, *, averages: bool = False, cancels: bool = False
) -> Contribution:
    """Make a contribution of a spread; one that is hardly known has one degree of freedom at least."""
    return Contribution(
        name=name, kind="A" if math.isfinite(one.df) else "B", standard=factor * one.sd, df=max(one.df, 1.0),
        unit=unit, source=one.source, averages=averages, cancels=cancels,
    )  # fmt: skip


def _limits(drift: float, own: str, step: float | None, unit: str) -> Iterator[Contribution]:
    """Give what is known by its limits only."""
    if drift:
        yield Contribution(name=DRIFT, half_width=abs(drift) / 2, unit=own, source="this study")
    if step is not None:
        yield Contribution(name=ROUNDING, half_width=step / 2, unit=unit, source="step of the readings")


def _notes(
    found: Budget, scale: Scale, bias: float, step: float | None, coarse: bool, zero: list[str]
) -> Iterator[Note]:
    unit, value, digits = found.unit, found.reading or 0.0, max(1 - math.floor(math.log10(found.expanded)), 0)
    if zero:
        yield Note("zero-spread", f"Estimated as zero and not in the budget: {', '.join(zero)}. A small study cannot "
                   "tell nothing from little.")  # fmt: skip
    if step is not None and not coarse:
        yield Note("rounding-inside", f"Rounding to steps of {step:g} {unit} is inside the spread of the cuts already, "
                   "and not counted a second time.")  # fmt: skip
    if coarse:
        yield Note("rounding-apart", f"The step of {step:g} {unit} is so large against the spread of the cuts that "
                   "more cuts do not average rounding out: it stands by itself.")  # fmt: skip
    if round(bias, digits) and not found.difference:
        way = "high" if bias > 0 else "low"
        yield Note("uncorrected-bias", f"Near {value:.{digits}f} {unit} the tester reads {abs(bias):.{digits}f} {unit} "
                   f"too {way}. Correct readings for that first: it is not in the budget.")  # fmt: skip
    if scale == "log" and not found.difference and found.expanded > _LOPSIDED * value:
        ratio = math.exp(found.expanded / value)
        ends = f"{value / ratio:.{digits}f} to {value * ratio:.{digits}f} {unit}"
        yield Note("lopsided", "Cuts differ by so many percent, so the interval is longer upwards: near "
                   f"{value:.{digits}f} {unit} rather {ends}.")  # fmt: skip
