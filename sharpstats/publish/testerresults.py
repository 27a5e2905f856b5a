"""What results.json holds of a tester study: every number of its examination. Nothing is computed here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import pandas as pd

from sharpstats.publish.plain import plain, records
from sharpstats.publish.provenance import provenance
from sharpstats.publish.tester import TESTER
from sharpstats.tester.examine import Examination
from sharpstats.tester.spreads import Spreads
from sharpstats.tester.study import TesterStudy

WORKED_OUT: Mapping[type, tuple[str, ...]] = {Spreads: ("sds", "shares", "limits", "categories", "by_likelihood")}
"""What a result works out beside its fields and its table."""


def study_results(examination: Examination) -> dict[str, Any]:
    """Gather what a study told, part by part, and its provenance as plain data.

    Parameters
    ----------
    examination : Examination

    Returns
    -------
    dict
        Only texts, numbers, truth values, None, lists and dictionaries; a number that is missing or infinite is
        None. Numbers are on the scale of the analysis, named in ``study``.
    """
    study = examination.study
    return plain({
        "format": f"{TESTER.mark}1",
        "study": _study(study),
        "counts": study.counts,
        "parts": {name: told(part) for name, part in examination.parts.items()},
        "skipped": {note.code: note.text for note in examination.skipped},
        "notes": [*study.cautions, *study.repairs],
        "provenance": provenance(study),
    })  # fmt: skip


def _study(study: TesterStudy) -> dict[str, Any]:
    plan = study.plan
    return {
        "title": plan.title, "question": plan.question, "unit": plan.unit, "scale": plan.scale, "level": plan.level,
        "wanted": None if plan.wanted is None else str(plan.wanted), "layout": plan.layout.kind,
        "invented": plan.publishing.invented, "plan_sha256": study.plan_sha256, "data_sha256": study.data_sha256,
    }  # fmt: skip


def told(result: Any) -> Any:
    """Return a result as plain values: what it shows of itself and its table, without the rows it was made from."""
    if isinstance(result, pd.DataFrame):
        return records(result)
    if isinstance(result, tuple | list):
        return [told(one) for one in result]
    if not is_dataclass(result) or isinstance(result, type):
        return result
    names = [field.name for field in fields(result) if field.repr and not _is_about_rows(result, field.name)]
    names += [*WORKED_OUT.get(type(result), ()), *(["table"] if hasattr(result, "table") else [])]
    return {name: told(getattr(result, name)) for name in names}


def _is_about_rows(result: Any, name: str) -> bool:
    """Tell whether a field holds the rows themselves, which row has which label, or how something is computed."""
    value = getattr(result, name)
    return name == "codes" or isinstance(value, pd.DataFrame) or callable(value)
