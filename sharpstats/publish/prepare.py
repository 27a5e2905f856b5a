"""What the kernel does before the notebook starts: lay out the published data in its folder."""

from __future__ import annotations

import json
from pathlib import Path

from sharpstats.errors import PublishError
from sharpstats.publish.provenance import origin
from sharpstats.trial.package import write_package
from sharpstats.trial.trial import DESCRIPTOR, open_trial


def prepare(source: str, known: tuple[str, str] | None) -> None:
    """Read the trial and write the data to publish into the working folder.

    Parameters
    ----------
    source : str
        The trial folder.
    known : tuple of str or None
        Fingerprints of plan and data that the trial had when it was opened, if it was.

    Raises
    ------
    PublishError
        If the files have changed since the trial was opened.
    """
    trial = open_trial(source)
    if known is not None and known != (trial.plan_sha256, trial.data_sha256):
        raise PublishError(
            "The plan or the readings have changed since the trial was opened, so the report would not show "
            "what you have looked at. Open the trial again, then publish."
        )
    write_package(trial, Path())
    _remember(DESCRIPTOR, origin(trial))


def _remember(descriptor: str, extra: dict[str, object]) -> None:
    """Add to the descriptor what the published table cannot tell: what it was made from."""
    file = Path(descriptor)
    content = {**json.loads(file.read_text(encoding="utf-8")), **extra}
    file.write_text(json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False) + "\n", encoding="utf-8")
