"""Where a result comes from: versions, fingerprints, seeds and departures from the frozen plan.

No user name, no path and no host: who ran it and where is nobody's business.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sharpstats.model.tolerance import SEED
from sharpstats.trial.freeze import Freeze, amendments
from sharpstats.trial.trial import DESCRIPTOR, Trial
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
        content, frozen = self.content, self.content["frozen"]
        yield "plan, SHA-256", content["plan_sha256"]
        if content["source_plan_sha256"] != content["plan_sha256"]:
            yield "plan as written, with the names of operators, SHA-256", content["source_plan_sha256"]
        if frozen is None:
            yield "plan frozen", "no: nothing shows that the claims were there before the readings"
        else:
            yield "plan frozen", f"{frozen['frozen_at']}, SHA-256 {frozen['plan_sha256']}"
            if content["source_frozen_sha256"] != frozen["plan_sha256"]:
                yield "frozen plan as written, with the names of operators, SHA-256", content["source_frozen_sha256"]
            yield from (("amended", sentence) for sentence in frozen["amendments"])
            changed = content["differences"] or ["nothing"]
            yield from (("changed since it was frozen", sentence) for sentence in changed)
        yield "readings as published, SHA-256", content["data_sha256"]
        yield "readings as they came, SHA-256", content["source_sha256"]
        yield from (("repaired in order to read them", text) for text in content["repairs"])
        yield from ((f"seed, {name}", str(seed)) for name, seed in content["seeds"].items() if seed is not None)
        yield "made with", ", ".join(f"{name} {version}" for name, version in content["versions"].items())

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


def provenance(trial: Trial) -> dict[str, Any]:
    """Tell what a result was made from and with.

    Parameters
    ----------
    trial : Trial
        The trial that was analysed.

    Returns
    -------
    dict
        ``versions``, ``plan_sha256``, ``data_sha256``, ``source_sha256`` (of the files that published
        readings were made from), ``source_plan_sha256`` and ``source_frozen_sha256`` (of the plans before
        names of operators were replaced), ``repairs`` made in order to read them, ``seeds``, ``frozen`` (when,
        with which fingerprint, and what was amended since; None for a plan that was not frozen) and
        ``differences`` from the frozen plan.
    """
    return {
        "versions": versions(),
        "plan_sha256": trial.plan_sha256,
        "data_sha256": trial.data_sha256,
        **_published_origin(trial),
        "seeds": {"layout": trial.plan.layout.seed, "tolerance bounds": SEED},
        "frozen": None if trial.frozen is None else _frozen(trial.frozen),
        "differences": list(trial.differences),
    }


def origin(trial: Trial) -> dict[str, Any]:
    """Tell what is lost when readings are published as one mended table, and plans without names."""
    return {
        "source_sha256": trial.data_sha256,
        "source_plan_sha256": trial.plan_sha256,
        "source_frozen_sha256": None if trial.frozen is None else trial.frozen.plan_sha256,
        "repairs": [str(note) for note in trial.repairs],
    }


def _published_origin(trial: Trial) -> dict[str, Any]:
    """Return the origin that a published folder remembers; that of the trial itself in any other."""
    own = origin(trial)
    try:
        remembered = json.loads((trial.folder / DESCRIPTOR).read_text(encoding="utf-8"))
        return {name: remembered[name] for name in own}
    except (OSError, ValueError, LookupError, TypeError):
        return own


def _frozen(freeze: Freeze) -> dict[str, Any]:
    return {
        "frozen_at": freeze.frozen_at,
        "plan_sha256": freeze.plan_sha256,
        "amendments": list(amendments(freeze)),
    }
