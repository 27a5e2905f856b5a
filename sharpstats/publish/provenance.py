"""Where a result comes from: versions, fingerprints, seeds and departures from the frozen plan.

No user name, no path and no host: who ran it and where is nobody's business.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sharpstats.trial.freeze import Freeze, amendments
from sharpstats.versions import versions

if TYPE_CHECKING:
    from sharpstats.trial.trial import Trial


def provenance(trial: Trial) -> dict[str, Any]:
    """Tell what a result was made from and with.

    Parameters
    ----------
    trial : Trial
        The trial that was analysed.

    Returns
    -------
    dict
        ``versions``, ``plan_sha256``, ``data_sha256``, ``seeds``, ``frozen`` (when, with which
        fingerprint, and what was amended since; None for a plan that was not frozen) and
        ``differences`` from the frozen plan.
    """
    return {
        "versions": versions(),
        "plan_sha256": trial.plan_sha256,
        "data_sha256": trial.data_sha256,
        "seeds": {"layout": trial.plan.layout.seed},
        "frozen": None if trial.frozen is None else _frozen(trial.frozen),
        "differences": list(trial.differences),
    }


def _frozen(freeze: Freeze) -> dict[str, Any]:
    return {
        "frozen_at": freeze.frozen_at,
        "plan_sha256": freeze.plan_sha256,
        "amendments": list(amendments(freeze)),
    }
