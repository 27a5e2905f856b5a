"""Where a result comes from: versions, fingerprints, seeds and departures from the frozen plan.

No user name, no path and no host: who ran it and where is nobody's business.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import singledispatch
from typing import Any

from sharpstats.model.tolerance import SEED
from sharpstats.tester.seeds import seed_of
from sharpstats.tester.study import TesterStudy
from sharpstats.trial.freeze import Freeze, amendments
from sharpstats.trial.toml import DESCRIPTOR
from sharpstats.trial.trial import Trial
from sharpstats.versions import versions
from sharpstats.words.labels import one_line
from sharpstats.words.tables import safe

CAPTION = "What this report was made from and with"


@dataclass(frozen=True, slots=True)
class Provenance:
    """The provenance of a result, as it is shown in a notebook.

    Attributes
    ----------
    content : mapping
        What `provenance` gave.
    """

    content: Mapping[str, Any]

    def _facts(self) -> Iterator[tuple[str, str]]:
        content = self.content
        whose = "operators" if "frozen" in content else "operators and shops"
        yield "plan, SHA-256", content["plan_sha256"]
        if content["source_plan_sha256"] != content["plan_sha256"]:
            yield f"plan as written, with the names of {whose}, SHA-256", content["source_plan_sha256"]
        if "frozen" in content:
            yield from self._freezing(content["frozen"])
        yield "readings as published, SHA-256", content["data_sha256"]
        yield "readings as they came, SHA-256", content["source_sha256"]
        yield from (("repaired in order to read them", text) for text in content["repairs"])
        yield from ((f"seed, {name}", str(seed)) for name, seed in content["seeds"].items() if seed is not None)
        yield "made with", ", ".join(f"{name} {version}" for name, version in content["versions"].items())

    def _freezing(self, frozen: Mapping[str, Any] | None) -> Iterator[tuple[str, str]]:
        if frozen is None:
            yield "plan frozen", "no: nothing shows that the claims were there before the readings"
            return
        content = self.content
        yield "plan frozen", f"{frozen['frozen_at']}, SHA-256 {frozen['plan_sha256']}"
        if content["source_frozen_sha256"] != frozen["plan_sha256"]:
            yield "frozen plan as written, with the names of operators, SHA-256", content["source_frozen_sha256"]
        yield from (("amended", sentence) for sentence in frozen["amendments"])
        changed = content["differences"] or ["nothing"]
        yield from (("changed since it was frozen", sentence) for sentence in changed)

    # Nothing is cut here, as long cells of other tables are: half a fingerprint is none.
    def _repr_html_(self) -> str:
        rows = "".join(
            f'<tr style="text-align:left"><th scope="row" style="font-weight:normal">{safe(what)}</th>'
            f'<td style="text-align:left;overflow-wrap:anywhere">{safe(value)}</td></tr>'
            for what, value in self._facts()
        )
        return f'<table><caption style="text-align:left">{CAPTION}</caption><tbody>{rows}</tbody></table>'

    def __str__(self) -> str:
        return "\n".join(one_line(f"{what}: {value}") for what, value in self._facts())

    __repr__ = __str__


def provenance(opened: Trial | TesterStudy) -> dict[str, Any]:
    """Tell what a result was made from and with.

    Parameters
    ----------
    opened : Trial or TesterStudy
        What was analysed.

    Returns
    -------
    dict
        ``versions``, ``plan_sha256``, ``data_sha256``, ``source_sha256`` (of the files that published readings
        were made from), ``source_plan_sha256`` (of the plan before names were replaced), ``repairs`` made in
        order to read them, and ``seeds``. Of a trial also ``source_frozen_sha256``, ``frozen`` (when, with which
        fingerprint, and what was amended since; None for a plan that was not frozen) and ``differences`` from
        the frozen plan.
    """
    return {
        "versions": versions(),
        "plan_sha256": opened.plan_sha256,
        "data_sha256": opened.data_sha256,
        **_published_origin(opened),
        **_promises(opened),
    }


@singledispatch
def origin(opened: Any) -> dict[str, Any]:
    """Tell what is lost when readings are published as mended tables, and plans without names."""
    raise TypeError(f"There is no origin of a {type(opened).__name__}.")


@origin.register
def _(trial: Trial) -> dict[str, Any]:
    return {
        "source_sha256": trial.data_sha256,
        "source_plan_sha256": trial.plan_sha256,
        "source_frozen_sha256": None if trial.frozen is None else trial.frozen.plan_sha256,
        "repairs": [str(note) for note in trial.repairs],
    }


@origin.register
def _(study: TesterStudy) -> dict[str, Any]:
    return {
        "source_sha256": study.data_sha256,
        "source_plan_sha256": study.plan_sha256,
        "repairs": [str(note) for note in study.repairs],
    }


@singledispatch
def _promises(opened: Any) -> dict[str, Any]:
    """Tell what was fixed beforehand: seeds, and the frozen plan."""
    raise TypeError(f"A {type(opened).__name__} promises nothing.")


@_promises.register
def _(trial: Trial) -> dict[str, Any]:
    return {
        "seeds": {"layout": trial.plan.layout.seed, "tolerance bounds": SEED},
        "frozen": None if trial.frozen is None else _frozen(trial.frozen),
        "differences": list(trial.differences),
    }


@_promises.register
def _(study: TesterStudy) -> dict[str, Any]:
    return {"seeds": {"layout": study.plan.layout.seed, "drawn studies": seed_of(study.plan)}}


def _published_origin(opened: Trial | TesterStudy) -> dict[str, Any]:
    """Return the origin that a published folder remembers; that of the folder itself in any other."""
    own = origin(opened)
    try:
        remembered = json.loads((opened.folder / DESCRIPTOR).read_text(encoding="utf-8"))
        return {name: remembered[name] for name in own}
    except (OSError, ValueError, LookupError, TypeError):
        return own


def _frozen(freeze: Freeze) -> dict[str, Any]:
    return {
        "frozen_at": freeze.frozen_at,
        "plan_sha256": freeze.plan_sha256,
        "amendments": list(amendments(freeze)),
    }
