"""Whether the margin of a claim is larger than what the tester can tell apart.

Two edges that are equal read apart by chance. A margin below that is not hopeless, since a trial compares means
of many edges; but nobody can see such a difference on two edges, and what stays in every reading of one operator,
day or filament lot does not average out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd

from sharpstats.late import Shown
from sharpstats.notes import Note
from sharpstats.tester.amounts import Amount
from sharpstats.tester.linked import linked_study, spreads_for
from sharpstats.tester.scale import margin_on_scale
from sharpstats.tester.smallest import Way, cuts_needed, difference_at, ways_of
from sharpstats.tester.spreads import Spreads
from sharpstats.tester.study import TesterStudy
from sharpstats.trial.plan import Claim, Comparison, Gap, Keener, NoWorse, Plan, Same
from sharpstats.trial.trial import Trial
from sharpstats.units import Quantity

Verdict = Literal["larger", "perhaps larger", "perhaps smaller", "smaller"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Resolved:
    """The margin of one claim beside the smallest difference that the tester can show.

    Attributes
    ----------
    claim : Claim
    margin : Quantity
    cuts : float
        Cuts on each edge: the harmonic mean over the edges of both media, or what the plan has.
    smallest : Amount
        Smallest difference between two edges with so many cuts each, cut by one operator; for a gap, which is a
        difference of two differences, the root of 2 times as much. On the scale.
    apart : Amount or None
        The same where two operators cut one edge each; None where the study does not tell.
    margin_on_scale : float
    enough : int or None
        Cuts on each of two edges that would show the margin; None: not with any number up to 1,000.
    """

    claim: Claim
    margin: Quantity
    cuts: float
    smallest: Amount
    apart: Amount | None
    margin_on_scale: float
    enough: int | None

    @property
    def verdict(self) -> Verdict:
        """Whether the margin is larger than the smallest difference; "perhaps" inside its interval."""
        if self.margin_on_scale >= self.smallest.estimate:
            return "larger" if self.margin_on_scale >= self.smallest.high else "perhaps larger"
        return "smaller" if self.margin_on_scale < self.smallest.low else "perhaps smaller"


@dataclass(frozen=True, eq=False, kw_only=True)
class Resolution(Shown):
    """What the tester can tell apart, beside the margins of a plan's claims.

    Attributes
    ----------
    study : TesterStudy
    spreads : Spreads
        On the scale and in the unit of the trial.
    claims : tuple of Resolved
        The claims that have a margin above zero and known numbers of cuts.
    planned : bool
        Whether the numbers of cuts are those of the plan, as nothing is read yet.
    notes : tuple of Note
    """

    study: TesterStudy
    spreads: Spreads
    claims: tuple[Resolved, ...]
    planned: bool
    notes: tuple[Note, ...]

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a claim: term, margin, cuts, smallest, low, high, level (on the scale)."""
        return pd.DataFrame({
            "term": [one.claim.id for one in self.claims],
            "margin": [one.margin_on_scale for one in self.claims],
            "cuts": [one.cuts for one in self.claims],
            "smallest": [one.smallest.estimate for one in self.claims],
            "low": [one.smallest.low for one in self.claims],
            "high": [one.smallest.high for one in self.claims],
            "level": self.spreads.level,
        })  # fmt: skip


def resolution(trial: Trial) -> Resolution | None:
    """Hold the margins of a trial's claims against the tester study that its plan names.

    Parameters
    ----------
    trial : Trial
        With or without readings: a run sheet still empty is judged by the cuts that the plan has.

    Returns
    -------
    Resolution or None
        None where the plan names no study.

    Raises
    ------
    TrialError, PlanError, FitError
        If the study is not there, cannot be read, or cannot answer.
    """
    return _resolution(trial.folder, trial.plan, _cuts_of_edges(trial))


def planned_resolution(folder: Path, plan: Plan) -> Resolution | None:
    """Hold the margins of a plan against the tester study that it names, with the cuts that it has.

    Parameters
    ----------
    folder : Path
        The trial folder.
    plan : Plan

    Returns
    -------
    Resolution or None
        None where the plan names no study.

    Raises
    ------
    TrialError, PlanError, FitError
        As for `resolution`.
    """
    return _resolution(folder, plan, pd.DataFrame({"medium": [], "cuts": []}))


def _resolution(folder: Path, plan: Plan, counts: pd.DataFrame) -> Resolution | None:
    study = linked_study(folder, plan)
    if study is None:
        return None
    spreads = spreads_for(study, plan)
    asked = [(claim, margin) for claim in plan.claims if (margin := margin_of(claim)) is not None]
    found = [_resolved(claim, margin, cuts, spreads) for claim, margin in asked
             if (cuts := _cuts(claim, counts, plan)) is not None]  # fmt: skip
    notes = [*spreads.notes]
    if len(found) < len(asked):
        notes.append(Note("cuts-unknown", "The plan does not say how many cuts an edge gets, so nothing can be said "
                          "before the first reading. Write `cuts` in [layout]."))  # fmt: skip
    return Resolution(study=study, spreads=spreads, claims=tuple(found), planned=counts.empty, notes=tuple(notes))


def margin_of(claim: Claim) -> Quantity | None:
    """Return the difference that a claim turns on; None for a claim that has none, or none above zero."""
    if isinstance(claim, Same | NoWorse | Gap):
        margin = claim.margin
    elif isinstance(claim, Keener):
        margin = claim.by
    else:
        return None
    return margin if margin.value > 0 else None


def _cuts_of_edges(trial: Trial) -> pd.DataFrame:
    """Cuts on each edge of the comparison, with its medium."""
    readings = trial.readings[trial.readings["role"] != "control"]
    return readings.groupby(["medium", "edge"], observed=True).size().rename("cuts").reset_index()


def _cuts(claim: Claim, counts: pd.DataFrame, plan: Plan) -> float | None:
    """Harmonic mean, since the variance of an edge's mean goes with one over its cuts."""
    assert isinstance(claim, Comparison)
    own = counts.loc[counts["medium"].isin([claim.medium, claim.than]), "cuts"]
    if len(own):
        return float(len(own) / np.sum(1 / own.to_numpy(dtype=float)))
    return None if plan.layout.cuts is None else float(plan.layout.cuts)


def _resolved(claim: Claim, margin: Quantity, cuts: float, spreads: Spreads) -> Resolved:
    factor = np.sqrt(2) if isinstance(claim, Gap) else 1.0
    other: Way = "two operators"
    apart = difference_at(spreads, cuts, other).times(factor) if other in ways_of(spreads) else None
    size = margin_on_scale(margin, spreads.unit, spreads.scale)
    return Resolved(
        claim=claim, margin=margin, cuts=cuts, smallest=difference_at(spreads, cuts).times(factor), apart=apart,
        margin_on_scale=size, enough=cuts_needed(spreads, size / factor).cuts,
    )  # fmt: skip
