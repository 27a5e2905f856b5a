"""The report folder: built beside its place, then put there whole.

A report is written into a hidden folder next to where it will stand, and takes that place by
renaming. So a reader always meets a whole report, old or new, whatever stops the writing.
"""

from __future__ import annotations

import os
import secrets
import shutil
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from glob import escape
from pathlib import Path

from sharpstats.errors import PublishError
from sharpstats.publish.kinds import kind_of_report

DAY = 86_400.0


@contextmanager
def building(target: Path) -> Iterator[Path]:
    """Give an empty folder to build a report in; when the block ends well it becomes `target`.

    Parameters
    ----------
    target : Path
        Where the report shall stand. What is there now stays untouched until the new one is whole.

    Yields
    ------
    Path
        An empty hidden folder beside `target`.

    Raises
    ------
    PublishError
        If something that is not a report stands at `target`, or the place cannot be written.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as place, building(Path(place) / "report") as folder:
    ...     _ = (folder / "results.json").write_text('{"format": "sharpstats-results/1"}')
    """
    target = target.absolute()
    refuse_foreign(target)
    build = target.with_name(f".{target.name}-building-{secrets.token_hex(4)}")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with _locked(target.parent):
            _clear_leftovers(target)
            build.mkdir()
            mine = _lock(build)
        try:
            yield build
            with _locked(target.parent):
                _swap(build, target)
        finally:
            _unlock(mine)
            shutil.rmtree(build, ignore_errors=True)
    except OSError as error:
        raise PublishError(
            f"The report cannot be written at {target.name}: {error.strerror or error}. "
            "Choose a folder that you may write to, for example with --out, and see that the disk is not full."
        ) from error


def refuse_foreign(target: Path) -> None:
    """Raise if something stands at `target` that is not a report of sharpstats.

    Raises
    ------
    PublishError
        If `target` is a file, or a folder with anything in it but a report.
    """
    if target.is_symlink() or (target.exists() and not target.is_dir()):
        raise PublishError(
            f"{target.name} is not a folder, so no report is written there. Move it or choose another --out."
        )
    if target.is_dir() and any(target.iterdir()) and not is_report(target):
        raise PublishError(
            f"The folder {target.name} holds something that is not a sharpstats report; nothing was changed. "
            "Move it or choose another --out."
        )


def is_report(folder: Path) -> bool:
    """Tell whether a folder is a report: its results.json says so.

    Examples
    --------
    >>> is_report(Path("no such folder"))
    False
    """
    return kind_of_report(folder) is not None


def _swap(build: Path, target: Path) -> None:
    """Put `build` in the place of `target`; on any trouble the old report is back where it was."""
    old = target.with_name(f".{target.name}-old-{secrets.token_hex(4)}")
    try:
        if target.exists():
            target.rename(old)
        build.rename(target)
    except BaseException:  # Ctrl-C as well
        if old.exists() and not target.exists():
            old.rename(target)
        raise
    _retire(old, target)


def _retire(old: Path, target: Path) -> None:
    """Remove a replaced report, after handing what its owner had put there to the new one."""
    if not old.exists():
        return
    kind = kind_of_report(old)
    ours = frozenset() if kind is None else kind.files
    for entry in old.iterdir():
        if entry.name not in ours and not (target / entry.name).exists():
            entry.rename(target / entry.name)
    shutil.rmtree(old, ignore_errors=True)


def _clear_leftovers(target: Path) -> None:
    """Clear what a publish that was killed left behind; put a report back that it had just moved."""
    for old in target.parent.glob(f".{escape(target.name)}-old-*"):
        if target.exists():
            _retire(old, target)
        else:
            old.rename(target)
    for build in target.parent.glob(f".{escape(target.name)}-building-*"):
        if _abandoned(build):
            shutil.rmtree(build, ignore_errors=True)


def _abandoned(folder: Path) -> bool:
    """Tell whether nobody works in a folder: its lock is free or, without locks, it is a day old."""
    if not LOCKS:
        with suppress(OSError):
            return time.time() - folder.stat().st_mtime > DAY
        return False
    held = _lock(folder)
    _unlock(held)
    return held is not None


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Keep other publishes out of a folder while leftovers are cleared or a report is swapped in."""
    held = _lock(folder, wait=True)
    try:
        yield
    finally:
        _unlock(held)


# A lock on the folder itself needs no lock file and ends with its process, however that ends.
if sys.platform == "win32":
    LOCKS = False

    def _lock(folder: Path, *, wait: bool = False) -> int | None:
        return None
else:
    import fcntl

    LOCKS = True

    def _lock(folder: Path, *, wait: bool = False) -> int | None:
        """Lock a folder; None if another process holds it or the file system knows no locks."""
        handle = os.open(folder, os.O_RDONLY)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
        except OSError:
            os.close(handle)
            return None
        return handle


def _unlock(handle: int | None) -> None:
    if handle is not None:
        os.close(handle)
