"""Meet a folder that may not be written as a person does who is not root."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

NOBODY = 65534


@contextmanager
def place_for_all() -> Iterator[Path]:
    """Give a temporary folder that every user may reach."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder


@contextmanager
def read_only(folder: Path) -> Iterator[None]:
    """Take the right to write a folder away; root steps down, since it may write anywhere."""
    is_root = os.geteuid() == 0
    folder.chmod(0o555)
    if is_root:
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        if is_root:
            os.seteuid(0)
        folder.chmod(0o755)
