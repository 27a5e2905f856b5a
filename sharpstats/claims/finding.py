"""A finding: what the readings say about one claim, in numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import pandas as pd

from sharpstats.claims.resolving import Resolution, resolution
from sharpstats.interval import Interval
from sharpstats.late import Shown, late
from sharpstats.model.trialfit import TrialFit
from sharpstats.notes import Note
from sharpstats.trial.plan import Claim, Scale
from sharpstats.trial.trial import Trial

if TYPE_CHECKING:
    from sharpstats.claims.fragility import Fragility

Outcome = Literal["shown", "contradicted", "open"]


@dataclass(frozen=True, slots=True)
class SecondOpinion:
    """The same claim judged another way, with fewer assumptions.

    Attributes
    ----------
    name : str
        What was done.
    outcome : str
        ``shown``, ``contradicted`` or ``open``, at the error rate of the finding.
    agrees : bool
        Whether that is the finding.
    text : str
        Its numbers in a sentence.
    """

    name: str
    outcome: Outcome
    agrees: bool
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """The difference of the two media at one of the levels that a gap is between.

    Attributes
    ----------
    at : str
        The level.
    estimate, low, high : float
        In the unit and at the interval level of the finding.
    edges, cuts : mapping of str to int
        Edges and cuts of each medium there.
    """

    at: str
    estimate: float
    low: float
    high: float
    edges: Mapping[str, int]
    cuts: Mapping[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding(Shown):
    """Shown, contradicted or open, with the estimate behind it.

    Attributes
    ----------
    declared : Claim
        The claim as the plan has it.
    finding : str
        ``shown``, ``contradicted`` or ``open``.
    scale, unit : str
        Scale of the fit, and unit of `estimate` and its limits: ``%``, ``gf`` or ``N``.
    estimate, low, high : float
        For a comparison: how much higher the medium reads than the other one (percent on the
        log scale, force otherwise). For a gap: how much the first of its two differences is above the
        second (a ratio of ratios on the log scale). For `reaches`: the reading below which the claimed share
        of edges falls. NaN where the layout cannot answer.
    level : float
        Level of the interval. It decides the finding: shown if the interval lies where the claim
        is true, contradicted if it lies wholly elsewhere, else open.
    df, p, p_adjusted : float
        Degrees of freedom; p value of the claim (small: shown) alone and in its family.
    bound_low, bound_high : float or None
        Between these the claim is true; None where it has no bound.
    outside : bool
        Whether the claim is true outside its bounds instead.
    estimate_on_scale, se : float
        Estimate and its standard error on the fit's scale (NaN for `se` where there is none).
    real : bool or None
        Whether both the plain two-sided interval of a difference, at the plan's error rate, and the
        interval given here leave out zero.
    edges, cuts : mapping of str to int
        Edges and cuts of each medium behind the finding.
    parts : tuple of Part
        The two differences that a gap is between; empty for other kinds.
    more_edges : int or None
        Edges to add for each medium so that an open claim would be settled with a chance of
        four in five; None if not open, or if more than 1,000 are needed (`more_edges_capped`).
    opinions : tuple of SecondOpinion
        The same claim judged in other ways, with fewer assumptions.
    notes : tuple of Note
    """

    declared: Claim
    finding: Outcome
    scale: Scale
    unit: str
    estimate: float
    low: float
    high: float
    level: float
    df: float
    p: float
    p_adjusted: float
    bound_low: float | None
    bound_high: float | None
    estimate_on_scale: float
    se: float
    real: bool | None
    edges: Mapping[str, int]
    cuts: Mapping[str, int]
    outside: bool = False
    parts: tuple[Part, ...] = ()
    more_edges: int | None = None
    more_edges_capped: bool = False
    opinions: tuple[SecondOpinion, ...] = ()
    notes: tuple[Note, ...] = ()

    @property
    def interval(self) -> Interval:
        """The interval that decides, with its level and kind."""
        return Interval(self.low, self.high, self.level, "tolerance" if self.than is None else "confidence")

    @property
    def claim(self) -> str:
        """Short name of the claim."""
        return self.declared.id

    @property
    def kind(self) -> str:
        """Kind of the claim."""
        return self.declared.kind

    @property
    def says(self) -> str:
        """The claim as a sentence."""
        return self.declared.says

    @property
    def medium(self) -> str:
        """The medium the claim is about."""
        return self.declared.medium

    @property
    def than(self) -> str | None:
        """The medium it is compared with, if any."""
        return getattr(self.declared, "than", None)

    @property
    def where(self) -> Mapping[str, str]:
        """Levels at which alone the claim is made."""
        return self.declared.where

    @property
    def primary(self) -> bool:
        """Whether the claim shares the error rate with the others."""
        return self.declared.primary


@dataclass(frozen=True, eq=False)
class Findings(Shown):
    """All findings of a trial.

    Attributes
    ----------
    trial : Trial
    fit : TrialFit
    findings : tuple of Finding
        In the order of the plan.
    notes : tuple of Note
    """

    trial: Trial
    fit: TrialFit
    findings: tuple[Finding, ...]
    notes: tuple[Note, ...] = field(default=())

    def __getitem__(self, claim: str) -> Finding:
        """Return the finding of the claim with that short name."""
        for finding in self.findings:
            if finding.claim == claim:
                return finding
        raise KeyError(f"no claim {claim!r}; there are {', '.join(f.claim for f in self.findings) or 'none'}")

    __iter__ = None

    @cached_property
    def fragility(self) -> Fragility:
        """What would change the findings: each edge, blade and operator left out, and more. Some seconds, once."""
        found: Fragility = late("fragility")(self)
        return found

    @cached_property
    def resolution(self) -> Resolution | None:
        """What the tester can tell apart, beside the margins; None where the plan names no tester study.

        Raises
        ------
        TrialError, PlanError, FitError
            If the study is not there, cannot be read, or cannot answer.
        """
        return resolution(self.trial)

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a claim: claim, kind, finding, estimate, low, high, level, df, p, p_adjusted, unit."""
        names = ("claim", "kind", "finding", "estimate", "low", "high", "level", "df", "p", "p_adjusted", "unit")
        return pd.DataFrame([[getattr(f, name) for name in names] for f in self.findings], columns=list(names))
