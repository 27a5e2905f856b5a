"""What results.json holds of a trial: the findings and what they rest on.

Nothing is computed here. The same dictionary serves `results.json` and `sharpstats judge --json`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sharpstats.claims.finding import Finding, Findings
from sharpstats.claims.resolving import Resolution
from sharpstats.model.trialfit import TrialFit
from sharpstats.publish.plain import plain, records
from sharpstats.publish.provenance import provenance
from sharpstats.publish.trial import TRIAL
from sharpstats.trial.trial import Trial

FINDING = (
    "claim", "says", "kind", "finding", "primary", "medium", "than", "where",
    "estimate", "low", "high", "level", "unit", "df", "p", "p_adjusted", "bound_low", "bound_high", "outside",
    "estimate_on_scale", "se", "real", "edges", "cuts", "parts", "more_edges", "more_edges_capped", "opinions", "notes",
)  # fmt: skip
"""What is told of each finding, in this order."""


def trial_results(findings: Findings) -> dict[str, Any]:
    """Gather the findings, the fit behind them and their provenance as plain data.

    Parameters
    ----------
    findings : Findings
        What `trial.judge()` gave.

    Returns
    -------
    dict
        Only texts, numbers, truth values, None, lists and dictionaries; a number that is missing or
        infinite is None. Means and contrasts are on the scale of the fit, named in ``trial``.
    """
    trial, fit = findings.trial, findings.fit
    return plain({
        "format": f"{TRIAL.mark}1",
        "trial": _trial(trial),
        "counts": _counts(trial, fit),
        "components": records(fit.components.table),
        "components_by_mean_squares": _by_mean_squares(fit),
        "means": _means(fit),
        "contrasts": records(fit.contrasts.table),
        "findings": [_finding(finding) for finding in findings.findings],
        "fragility": [row for finding in findings.findings for row in _fragility(findings, finding)],
        "drift": _drift(fit),
        "resolution": _resolution(findings.resolution),
        "notes": [*findings.notes, *findings.fragility.notes, *fit.notes, *trial.cautions, *trial.repairs],
        "provenance": provenance(trial),
    })  # fmt: skip


def _resolution(found: Resolution | None) -> dict[str, Any] | None:
    """Tell which study of the tester was asked, and what it says of each margin."""
    if found is None:
        return None
    study = found.study
    verdicts = [{**row, "verdict": one.verdict, "enough": one.enough}
                for row, one in zip(records(found.table), found.claims, strict=True)]  # fmt: skip
    return {
        "study": study.plan.title, "plan_sha256": study.plan_sha256, "data_sha256": study.data_sha256,
        "planned": found.planned, "claims": verdicts,
    }  # fmt: skip


def _trial(trial: Trial) -> dict[str, Any]:
    plan = trial.plan
    return {
        "title": plan.title, "question": plan.question, "unit": plan.unit, "scale": plan.scale,
        "alpha": plan.alpha, "family": plan.family, "invented": plan.publishing.invented,
        "plan_sha256": trial.plan_sha256, "data_sha256": trial.data_sha256,
    }  # fmt: skip


def _counts(trial: Trial, fit: TrialFit) -> dict[str, int]:
    counts = trial.counts
    return {
        "readings_read": counts["read"], "readings_used": counts["used"],
        "readings_set_aside": counts["set_aside"], "over_range": counts["over_range"],
        "edges": counts["edges"], "edges_over_range": int((fit.edges["over_range"] > 0).sum()),
        "edges_left_out": len(fit.left_out), "control_edges": counts["control_edges"],
    }  # fmt: skip


def _means(fit: TrialFit) -> list[dict[str, Any]]:
    """Put the means on the scale of the fit and the readings they stand for in one row each."""
    rows = zip(records(fit.means.table), records(fit.readings), strict=True)
    return [
        {**mean, "reading": row["estimate"], "reading_low": row["low"], "reading_high": row["high"]}
        for mean, row in rows
    ]


def _finding(finding: Finding) -> dict[str, Any]:
    return {name: getattr(finding, name) for name in FINDING}


def _fragility(findings: Findings, finding: Finding) -> Iterator[dict[str, Any]]:
    """Give one row for each kind of change: how many were tried, and which gave another finding or none."""
    for group in findings.fragility.groups(finding.claim):
        yield {
            "claim": finding.claim, "change": group.kind, "tried": len(group.members),
            "changed": {one.change.name: one.finding for one in group.other},
            "unanswered": {one.change.name: one.reason for one in group.unanswered},
            "low": min((one.low for one in group.answered), default=None),
            "high": max((one.high for one in group.answered), default=None),
        }  # fmt: skip


def _drift(fit: TrialFit) -> dict[str, Any] | None:
    if fit.drift is None:
        return None
    names = ("estimate", "se", "df", "p", "low", "high", "level", "edges")
    return {name: getattr(fit.drift, name) for name in names}


def _by_mean_squares(fit: TrialFit) -> list[dict[str, Any]]:
    """Components with the limits of a balanced layout; none if it is not balanced."""
    return [] if fit.mixed.strata is None else records(fit.mean_squares.components.table)
