"""What the kernel does before the notebook starts: lay out the published data in its folder."""

from __future__ import annotations

import json
from pathlib import Path

from sharpstats.errors import PublishError
from sharpstats.publish.kinds import kind_of_folder
from sharpstats.publish.provenance import origin
from sharpstats.trial.toml import DESCRIPTOR


def prepare(plan_file: str, known: tuple[str, str] | None) -> None:
    """Open a folder and write the data to publish into the working folder.

    Parameters
    ----------
    plan_file : str
        The plan in the folder.
    known : tuple of str or None
        Fingerprints of plan and data that the folder had when it was opened, if it was.

    Raises
    ------
    PublishError
        If the files have changed since the folder was opened.
    """
    kind, _ = kind_of_folder(Path(plan_file))
    opened = kind.open_folder(plan_file)
    if known is not None and known != (opened.plan_sha256, opened.data_sha256):
        raise PublishError(
            f"The plan or the readings have changed since the {kind.noun} was opened, so the report would not show "
            f"what you have looked at. Open the {kind.noun} again, then publish."
        )
    kind.write_data(opened, Path())
    _remember(DESCRIPTOR, origin(opened))


def _remember(descriptor: str, extra: dict[str, object]) -> None:
    """Add to the descriptor what the published table cannot tell: what it was made from."""
    file = Path(descriptor)
    content = {**json.loads(file.read_text(encoding="utf-8")), **extra}
    file.write_text(json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False) + "\n", encoding="utf-8")
