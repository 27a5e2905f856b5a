"""`results.json`: the findings and what they rest on, as plain data that any program reads.

Nothing is computed here. The same dictionary serves `results.json` and `sharpstats judge --json`.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, is_dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sharpstats.publish.folder import FORMAT, RESULTS
from sharpstats.publish.provenance import provenance
from sharpstats.words.tables import safe

if TYPE_CHECKING:
    from sharpstats.claims.finding import Finding, Findings
    from sharpstats.model.trialfit import TrialFit
    from sharpstats.trial.trial import Trial

FINDING = (
    "claim", "says", "kind", "finding", "primary", "medium", "than", "where",
    "estimate", "low", "high", "level", "unit", "df", "p", "p_adjusted", "bound_low", "bound_high", "outside",
    "estimate_on_scale", "se", "real", "edges", "cuts", "parts", "more_edges", "more_edges_capped", "opinions", "notes",
)  # fmt: skip
"""What is told of each finding, in this order."""

RELATIVE, ABSOLUTE = 1e-6, 1e-9
"""How far a number may move between two computers before a rerun says that it differs."""


def results(findings: Findings) -> dict[str, Any]:
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
        "format": f"{FORMAT}1",
        "trial": _trial(trial),
        "counts": _counts(trial, fit),
        "components": _rows(fit.components.table),
        "components_by_mean_squares": _by_mean_squares(fit),
        "means": _means(fit),
        "contrasts": _rows(fit.contrasts.table),
        "findings": [_finding(finding) for finding in findings.findings],
        "fragility": [row for finding in findings.findings for row in _fragility(findings, finding)],
        "drift": _drift(fit),
        "notes": [*findings.notes, *findings.fragility.notes, *fit.notes, *trial.cautions, *trial.repairs],
        "provenance": provenance(trial),
    })  # fmt: skip


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
    rows = zip(_rows(fit.means.table), _rows(fit.readings), strict=True)
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
    return [] if fit.mixed.strata is None else _rows(fit.mean_squares.components.table)


def _rows(table: Any) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = table.to_dict("records")
    return rows


def plain(value: Any) -> Any:
    """Turn a value into what JSON knows: no NaN, no infinity, no arrays, no classes.

    Examples
    --------
    >>> plain({"p": float("nan"), "edges": (1, 2)})
    {'p': None, 'edges': [1, 2]}
    """
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return plain(asdict(value))
    if hasattr(value, "tolist"):  # numpy scalars and arrays
        return plain(value.tolist())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, Iterable):
        return [plain(item) for item in value]
    raise TypeError(f"results.json cannot hold a {type(value).__name__}")


def to_json(content: Any) -> str:
    r"""Write plain data as strict JSON text that differs between two runs only where a value does.

    Examples
    --------
    >>> to_json([])
    '[]\n'
    """
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


@dataclass(frozen=True, slots=True)
class Rerun:
    """What came of writing results.json, or of comparing with the one that is there.

    Attributes
    ----------
    compared : int
        Numbers and texts compared; 0 where results.json was written for the first time.
    differences : tuple of str
        The places that differ, each with the stored and the new value.
    """

    compared: int
    differences: tuple[str, ...]

    def __str__(self) -> str:
        if not self.compared:
            return "results.json written. When this notebook is run again, this cell compares with it."
        if not self.differences:
            return f"The same results as in results.json: {self.compared} numbers and texts compared."
        lines = "\n".join(self.differences)
        return f"{len(self.differences)} of {self.compared} numbers and texts differ from results.json:\n{lines}"

    __repr__ = __str__

    def _repr_html_(self) -> str:
        first, *rest = (safe(line) for line in str(self).splitlines())
        items = "".join(f"<li>{line}</li>" for line in rest)
        return f"<p>{first}</p>" + (f"<ul>{items}</ul>" if items else "")


def keep(findings: Findings, folder: str | Path = ".") -> Rerun:
    """Write results.json or, where there is one already, compare with it and leave it.

    Parameters
    ----------
    findings : Findings
        What `trial.judge()` gave.
    folder : str or Path
        The report folder.

    Returns
    -------
    Rerun
    """
    file = Path(folder, RESULTS)
    fresh = results(findings)
    if not file.exists():
        file.write_text(to_json(fresh), encoding="utf-8")
        return Rerun(0, ())
    return compare(json.loads(file.read_text(encoding="utf-8")), fresh)


def compare(stored: Mapping[str, Any], fresh: Mapping[str, Any]) -> Rerun:
    """Compare two results, provenance apart: other versions of a package are no other finding.

    Examples
    --------
    >>> print(compare({"p": 0.03, "unit": "%"}, {"p": 0.04, "unit": "%"}))
    1 of 2 numbers and texts differ from results.json:
    p: 0.03 stored, 0.04 now
    """
    old, new = dict(_leaves(stored)), dict(_leaves(fresh))
    places = list(dict.fromkeys([*old, *new]))
    gone = object()
    differences = (
        f"{place}: {_shown(old, place)} stored, {_shown(new, place)} now"
        for place in places
        if not _alike(old.get(place, gone), new.get(place, gone))
    )
    return Rerun(len(places), tuple(differences))


def _leaves(content: Any, place: str = "") -> Iterator[tuple[str, Any]]:
    """Yield every single value with its place, as `findings.2.p`."""
    if isinstance(content, Mapping | list):
        pairs = content.items() if isinstance(content, Mapping) else enumerate(content)
        for key, item in pairs:
            if place or key != "provenance":
                yield from _leaves(item, f"{place}.{key}" if place else str(key))
    else:
        yield place, content


def _alike(old: Any, new: Any) -> bool:
    if isinstance(old, float) and isinstance(new, float):
        return math.isclose(old, new, rel_tol=RELATIVE, abs_tol=ABSOLUTE)
    return type(old) is type(new) and bool(old == new)


def _shown(values: Mapping[str, Any], place: str) -> str:
    return str(values[place]) if place in values else "nothing"
