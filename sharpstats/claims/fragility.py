"""Fragility: what becomes of each finding when the trial is judged without one of its parts, or otherwise.

Each edge is left out in turn, then each level of every block, of `blade` and of `operator`; rows that
were set aside by hand are put back; and the readings are analysed on the other scale. Each time the model is
fitted anew and the claims share the error rate anew, just as if the files had been so.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property, partial

import numpy as np
import pandas as pd

from sharpstats.claims.compare import edges_where
from sharpstats.claims.evidence import Evidence
from sharpstats.claims.family import Shared
from sharpstats.claims.finding import Finding, Findings, Outcome
from sharpstats.claims.judge import REGIONS, evidence_for, region_for, share_out
from sharpstats.errors import FitError, SharpstatsError
from sharpstats.late import Shown
from sharpstats.model.largetrial import LargeTrial
from sharpstats.model.trialfit import EDGE, TrialFit
from sharpstats.notes import Note
from sharpstats.trial.aside import untagged
from sharpstats.trial.check import check
from sharpstats.trial.plan import Claim, Comparison, Scale
from sharpstats.trial.trial import Trial

SET_ASIDE, SCALE = "set aside", "scale"
"""Kinds of change that leave nothing out."""
MOST = 100
"""Edges, or levels of a block, that are left out one by one; a fit takes some hundredths of a second."""
WORK = 1_000_000
"""Readings that the fits for all edges, or all levels of a block, may take in together."""
LARGE = 100_000
"""A fit that takes in more readings than this is not made again."""


@dataclass(frozen=True, slots=True)
class Change:
    """One way in which the trial was changed.

    Attributes
    ----------
    kind : str
        ``edge`` or the name of the block whose level was left out, ``set aside`` or ``scale``.
    name : str
        The edge or level that was left out, the number of rows put back, or the other scale.
    """

    kind: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """A claim judged under a change.

    Attributes
    ----------
    claim : str
    change : Change
    finding : str or None
        None where the changed trial cannot answer.
    estimate, low, high : float
        In the unit of the claim's own finding.
    level : float
        Level of the interval.
    reason : str
        Why there is no answer.
    """

    claim: str
    change: Change
    finding: Outcome | None
    estimate: float = math.nan
    low: float = math.nan
    high: float = math.nan
    level: float = math.nan
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """What became of one claim under all changes of one kind.

    Attributes
    ----------
    kind : str
    own : str
        The finding without any change.
    members : tuple of Changed
    """

    kind: str
    own: Outcome
    members: tuple[Changed, ...]

    @property
    def other(self) -> tuple[Changed, ...]:
        """Those with another finding."""
        return tuple(one for one in self.answered if one.finding != self.own)

    @property
    def answered(self) -> tuple[Changed, ...]:
        """Those that can be judged."""
        return tuple(one for one in self.members if one.finding is not None)

    @property
    def unanswered(self) -> tuple[Changed, ...]:
        """Those that cannot be judged."""
        return tuple(one for one in self.members if one.finding is None)


@dataclass(frozen=True, eq=False)
class Fragility(Shown):
    """All claims of a trial under all changes.

    Attributes
    ----------
    findings : Findings
        What was found without any change.
    changed : tuple of Changed
        Change by change, the claims in the order of the plan.
    notes : tuple of Note
    """

    findings: Findings = field(repr=False)
    changed: tuple[Changed, ...] = field(repr=False)
    notes: tuple[Note, ...] = ()

    def groups(self, claim: str) -> tuple[Group, ...]:
        """Return what became of one claim, kind of change by kind of change."""
        own = self.findings[claim].finding
        members: dict[str, list[Changed]] = {}
        for one in self.changed:
            if one.claim == claim:
                members.setdefault(one.change.kind, []).append(one)
        return tuple(Group(kind, own, tuple(changed)) for kind, changed in members.items())

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a claim and change: claim, change, name, finding, estimate, low, high, level, unit, reason."""
        units = {finding.claim: finding.unit for finding in self.findings.findings}
        return pd.DataFrame([
            {"claim": one.claim, "change": one.change.kind, "name": one.change.name, "finding": one.finding,
             "estimate": one.estimate, "low": one.low, "high": one.high, "level": one.level,
             "unit": units[one.claim], "reason": one.reason}
            for one in self.changed
        ])  # fmt: skip


def fragility(findings: Findings) -> Fragility:
    """Judge the claims again without each edge, without each level of a block, and otherwise.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    Fragility
    """
    if _work(findings.fit) > LARGE:
        note = Note("large-trial", "The trial is too large to leave one of its parts out after the other and see what "
                    "changes.")  # fmt: skip
        return Fragility(findings, (), (note,))
    changed: list[Changed] = []
    for change, altered in _changes(findings):
        changed += _judged(findings, change, altered)
    return Fragility(findings, tuple(changed), tuple(_notes(findings)))


Altered = Callable[[], Trial]


def _changes(findings: Findings) -> Iterator[tuple[Change, Altered]]:
    """Name every change, and give what makes the changed trial."""
    trial, fit = _bare(findings.trial), findings.fit
    for name in (EDGE, *_blocks(fit)):
        for level in _picked(fit, name):
            yield Change(name, level), partial(_without, trial, name, level)
    if isinstance(trial, LargeTrial):
        return
    restored = _restored(findings.trial)
    if restored is not None:
        back = len(restored.readings) - len(findings.trial.readings)
        yield Change(SET_ASIDE, str(back)), partial(_bare, restored)
    other: Scale = "as read" if fit.scale == "log" else "log"
    yield Change(SCALE, other), partial(_on_scale, trial, other)


def _bare(trial: Trial) -> Trial:
    """Keep only what a fit asks for: each one copies its columns."""
    readings, plan = trial.readings, trial.plan
    if isinstance(trial, LargeTrial):  # one row an edge
        return trial
    wanted = {EDGE, "cut", *plan.factors, *plan.layout.blocks, "blade", "operator", "role", "reading", "over_range"}
    columns = [name for name in readings.columns if name in wanted]
    return replace(trial, readings=readings.loc[readings["role"] != "control", columns])


def _blocks(fit: TrialFit) -> list[str]:
    """Blocks of the layout, blades and operators: those with several levels that are not the edges themselves."""
    names = dict.fromkeys([*fit.trial.plan.layout.blocks, "blade", "operator"])
    levels = {name: fit.data[name].nunique() for name in names if name in fit.data and not _blank(fit.data[name])}
    return [name for name, count in levels.items() if 1 < count < fit.data[EDGE].nunique()]


def _blank(column: pd.Series) -> bool:
    return bool((column.astype(str).str.strip() == "").any())


def _work(fit: TrialFit) -> float:
    """Cost of a fit, in readings that take as long; that of blocks grows with the cube of their levels."""
    return len(fit.data) + 0.003 * float(sum(fit.mixed.units.levels)) ** 3


def _most(fit: TrialFit) -> int:
    return min(MOST, int(WORK / _work(fit)))


def _picked(fit: TrialFit, name: str) -> list[str]:
    """Levels to leave out: all or, where they are too many, those with the most influential edges, if that is known."""
    edges = fit.data.drop_duplicates(EDGE).set_index(EDGE, drop=False)[name]
    levels = sorted(set(edges.astype(str)))
    if len(levels) <= _most(fit):
        return levels
    if fit.edges["influence"].isna().all():
        return []
    strongest = fit.edges.sort_values("influence", ascending=False, kind="stable", na_position="first")[EDGE]
    first = dict.fromkeys(edges.loc[strongest].astype(str))
    picked = set(list(first)[: _most(fit)])
    return [level for level in levels if level in picked]


def _without(trial: Trial, name: str, level: str) -> Trial:
    return replace(trial, readings=trial.readings[trial.readings[name].astype(str) != level])


def _restored(trial: Trial) -> Trial | None:
    """Put back the rows set aside by hand whose readings can be used; None where there are none.

    A row that was cut again in its place has its number of the cut taken off, so that it counts as a further cut.
    """
    if not (trial.set_aside["code"] == "by-hand").any() or "set_aside" not in trial.text.names:
        return None
    frame = trial.text.frame.assign(set_aside="")
    if "cut" in trial.text.names:
        hand = trial.text.frame["set_aside"].map(lambda text: bool(text.strip()) and untagged(text)[0] == "by-hand")
        place = frame["edge"].str.strip() + "\n" + frame["cut"].str.strip()
        frame["cut"] = frame["cut"].mask(hand & place.isin(place[~hand]), "")
    checked = check(replace(trial.text, frame=frame), trial.plan)
    if len(checked.readings) == len(trial.readings):
        return None
    return replace(trial, readings=checked.readings, set_aside=checked.set_aside)


def _on_scale(trial: Trial, scale: Scale) -> Trial:
    if scale == "log" and (trial.readings["reading"] <= 0).any():
        raise FitError("A reading of zero has no logarithm.")
    return replace(trial, plan=replace(trial.plan, scale=scale))


def _judged(findings: Findings, change: Change, altered: Altered) -> list[Changed]:
    """Judge all claims of a changed trial."""
    try:
        fit = altered().fit()
        evidence = [_evidence(findings.fit, fit, finding.declared) for finding in findings.findings]
        parts = share_out(findings.trial.plan, evidence)
    except (SharpstatsError, np.linalg.LinAlgError) as error:
        return [Changed(claim=finding.claim, change=change, finding=None, reason=str(error))
                for finding in findings.findings]  # fmt: skip
    told = zip(findings.findings, evidence, parts, strict=True)
    return [_told(findings.fit, change, finding, one, part) for finding, one, part in told]


def _evidence(own: TrialFit, fit: TrialFit, claim: Claim) -> Evidence:
    """Evidence from a changed trial; on the other scale the claim keeps its margin at the usual reading."""
    if fit.scale == own.scale or not isinstance(claim, Comparison) or type(claim) not in REGIONS:
        return evidence_for(claim, fit)
    region, usual = region_for(claim, own.scale), _usual(own, claim)
    low, high = (_turned(limit, usual, own.scale) for limit in (region.low, region.high))
    return evidence_for(claim, fit, replace(region, low=low, high=high))


def _usual(fit: TrialFit, claim: Comparison) -> float:
    """Usual reading of the medium that a claim compares with, where the claim is made."""
    edges = edges_where(fit, claim.where)
    means = edges.loc[edges["medium"] == claim.than, "mean"]
    return float(fit.as_reading((means if len(means) else fit.edges["mean"]).mean()))


def _turned(limit: float, usual: float, scale: Scale) -> float:
    """Turn a difference on one scale into that on the other which is as much at the usual reading.

    Examples
    --------
    >>> round(_turned(math.log(1.15), 200.0, "log"), 6), abs(_turned(30.0, 200.0, "as read") - math.log(1.15)) < 1e-12
    (30.0, True)
    """
    if scale == "log":
        return usual * math.expm1(limit)
    return math.log1p(limit / usual) if limit > -usual else -math.inf


def _told(own: TrialFit, change: Change, finding: Finding, evidence: Evidence, part: Shared) -> Changed:
    if math.isnan(evidence.p_shown):
        reason = next((note.text for note in evidence.notes if note.code == "not-answered"), "")
        return Changed(claim=finding.claim, change=change, finding=None, reason=reason)
    factor = 1.0
    if evidence.unit != finding.unit and isinstance(finding.declared, Comparison):
        usual = _usual(own, finding.declared)
        factor = 100 / usual if finding.unit == "%" else usual / 100
    estimate, low, high = (factor * value for value in (evidence.estimate, *evidence.interval(part.rate)))
    return Changed(claim=finding.claim, change=change, finding=part.finding, level=1 - 2 * part.rate,
                   estimate=estimate, low=low, high=high)  # fmt: skip


def _notes(findings: Findings) -> Iterator[Note]:
    """Say what was picked out of many, and how a margin fares on the other scale."""
    fit = findings.fit
    most = _most(fit)
    for name in (EDGE, *_blocks(fit)):
        count = fit.data[name].nunique()
        if count > most and fit.edges["influence"].isna().all():
            yield Note("too-many", f"The {count:,} {name}s are too many to leave each out in turn.")
        elif count > most:
            whose = "whose influence is largest" if name == EDGE else "that have the most influential edges"
            yield Note("most-influential", f"Of the {count:,} {name}s the {most:,} {whose} were left out in turn.")
    if isinstance(findings.trial, LargeTrial):
        yield Note("added-up", "The readings of a large trial are added up as the plan says, so its other scale was "
                   "not looked at, and no row was put back.")  # fmt: skip
        return
    if any(type(finding.declared) in REGIONS for finding in findings.findings):
        turned = "as a percentage" if fit.scale == "as read" else f"in {fit.unit}"
        yield Note("other-scale", f"On the other scale a margin counts {turned}: as much as it is at the usual reading "
                   "of the medium that is compared with.")  # fmt: skip
