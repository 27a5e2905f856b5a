"""`results.json`: written with a report, and compared with by whoever runs the report's notebook again."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import singledispatch
from pathlib import Path
from typing import Any

from sharpstats.claims.finding import Findings
from sharpstats.publish.plain import to_json
from sharpstats.publish.publication import RESULTS
from sharpstats.publish.testerresults import study_results
from sharpstats.publish.trialresults import trial_results
from sharpstats.tester.examine import Examination
from sharpstats.words.tables import safe

RELATIVE, ABSOLUTE = 1e-6, 1e-9
"""How far a number may move between two computers before a rerun says that it differs."""


@singledispatch
def results(result: Any) -> dict[str, Any]:
    """Gather a result, what it rests on and its provenance as plain data.

    Parameters
    ----------
    result : Findings or Examination

    Returns
    -------
    dict
        Only texts, numbers, truth values, None, lists and dictionaries; a number that is missing or infinite is None.
    """
    raise TypeError(f"results.json cannot hold a {type(result).__name__}")


results.register(Findings, trial_results)
results.register(Examination, study_results)


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


def keep(result: Findings | Examination, folder: str | Path = ".") -> Rerun:
    """Write results.json or, where there is one already, compare with it and leave it.

    Parameters
    ----------
    result : Findings or Examination
        What `trial.judge()` or `study.examine()` gave.
    folder : str or Path
        The report folder.

    Returns
    -------
    Rerun
    """
    file = Path(folder, RESULTS)
    fresh = results(result)
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
