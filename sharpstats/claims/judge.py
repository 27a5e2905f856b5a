"""`trial.judge()`: every claim of the plan against the readings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np

from sharpstats.claims import gap, keener, noworse, reaches, same, steadier
from sharpstats.claims.compare import comparison
from sharpstats.claims.contrast import Contrast, Place
from sharpstats.claims.evidence import Evidence
from sharpstats.claims.family import Shared, share
from sharpstats.claims.finding import Finding, Findings
from sharpstats.claims.region import Region
from sharpstats.errors import ClaimError
from sharpstats.model.trialfit import TrialFit
from sharpstats.notes import Note
from sharpstats.trial.plan import Claim, Comparison, Gap, Keener, NoWorse, Plan, Reaches, Same, Scale, Steadier
from sharpstats.trial.trial import Trial

REGIONS: dict[type[Comparison], Callable[..., Region]] = {
    Same: same.region,
    NoWorse: noworse.region,
    Keener: keener.region,
    Gap: gap.region,
}
"""Claims about a difference: each kind says which differences make it true."""

OTHERS: dict[type[Claim], Callable[..., Evidence]] = {Reaches: reaches.evidence, Steadier: steadier.evidence}
"""Claims that bring their own evidence."""


@lru_cache(maxsize=4)
def judge_trial(trial: Trial) -> Findings:
    """Judge all claims of a trial's plan.

    Parameters
    ----------
    trial : Trial

    Returns
    -------
    Findings

    Raises
    ------
    FitError
        If the readings cannot be fitted.
    ClaimError
        If the plan has no claims.
    """
    plan = trial.plan
    if not plan.claims:
        raise ClaimError("The plan makes no claim. Add a [[claim]] to trial.toml; `sharpstats new` shows some.")
    fit: TrialFit = trial.fit()
    evidence = [evidence_for(claim, fit) for claim in plan.claims]
    parts = share_out(plan, evidence)
    findings = tuple(map(_finding, plan.claims, evidence, parts, [fit] * len(parts)))
    return Findings(trial, fit, findings, _notes(fit, findings, sum(_family(plan))))


def share_out(plan: Plan, evidence: Sequence[Evidence]) -> list[Shared]:
    """Share the plan's error rate among its claims."""
    return share(evidence, _family(plan), plan.alpha)


def _family(plan: Plan) -> list[bool]:
    """Which claims share the error rate."""
    return [plan.family == "holm" and claim.primary for claim in plan.claims]


def region_for(claim: Comparison, scale: Scale) -> Region:
    """Differences, on a scale, that make a claim true."""
    return REGIONS[type(claim)](claim, scale)


def evidence_for(claim: Claim, fit: TrialFit, region: Region | None = None) -> Evidence:
    """Evidence on one claim.

    Parameters
    ----------
    claim : Claim
    fit : TrialFit
    region : Region, optional
        Differences that make it true, where the fit's scale is not the one that its margin is for.
    """
    if type(claim) in OTHERS:
        return OTHERS[type(claim)](claim, fit)
    assert isinstance(claim, Comparison)
    region = region or region_for(claim, fit.scale)
    places = gap.places(claim) if isinstance(claim, Gap) else (Place(claim.where),)
    return comparison(fit, region, Contrast(claim.medium, claim.than, places))


def _finding(claim: Claim, evidence: Evidence, part: Shared, fit: TrialFit) -> Finding:
    low, high = evidence.interval(part.rate)
    unknown = np.isnan(evidence.p_shown)
    more = evidence.more_edges(part.rate) if part.finding == "open" and not unknown else None
    return Finding(
        declared=claim, finding=part.finding, scale=fit.scale, unit=evidence.unit, estimate=evidence.estimate,
        low=low, high=high, level=1 - 2 * part.rate, df=evidence.df, p=evidence.p_shown,
        p_adjusted=part.p_adjusted, bound_low=evidence.bound_low, bound_high=evidence.bound_high,
        outside=evidence.tails > 1, parts=evidence.parts(part.rate),
        estimate_on_scale=evidence.estimate_on_scale, se=evidence.se, real=_real(evidence, low, high),
        edges=evidence.edges, cuts=evidence.cuts, more_edges=more,
        more_edges_capped=part.finding == "open" and not unknown and more is None,
        opinions=() if unknown else evidence.opinions(part.rate, part.finding),
        notes=evidence.notes if unknown else (*evidence.notes, *evidence.further_notes()),
    )  # fmt: skip


def _real(evidence: Evidence, low: float, high: float) -> bool | None:
    """Call a difference real only where the interval that the reader sees leaves out zero, too."""
    return evidence.real if evidence.real is None else evidence.real and not low <= 0 <= high


def _notes(fit: TrialFit, findings: Sequence[Finding], family: int) -> tuple[Note, ...]:
    notes, trial = [], fit.trial
    if family > 1:
        notes.append(Note("family", f"{family} primary claims share the error rate {trial.plan.alpha:g} by Holm's "
                          "method, so their intervals are wider than they would be alone."))  # fmt: skip
    blocks = " and ".join(name for name in trial.plan.layout.blocks if fit.data[name].nunique() > 1)
    if blocks and any(finding.more_edges for finding in findings):
        notes.append(Note("new-blocks", f"Where an open claim asks for more edges, a new {blocks} is reckoned with for "
                          f"as many edges as one {blocks} has here: more on the same {blocks} would tell less."))
    notes += [Note("changed-plan", text) for text in trial.differences]
    return tuple(notes)
