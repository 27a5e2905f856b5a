"""XLSX and ODS are archives of XML. Refuse those that are made to do harm, before anything is read."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path

from sharpstats.errors import TrialError

LARGEST = 300_000_000
"""Bytes that all parts may have together when unpacked."""
MOST = 5_000
"""Parts that an archive may have."""

_CHUNK = 1 << 20
_FORBIDDEN = (b"<!DOCTYPE", b"<!ENTITY", b"\x00")  # a NUL byte: XML in a wide encoding, which could hide the others
_XML = (".xml", ".rels", ".vml")


def check_archive(path: Path, name: str) -> None:
    """Refuse an archive that is too large when unpacked, or whose XML declares entities.

    Parameters
    ----------
    path : Path
    name : str
        What the file is called in messages.

    Raises
    ------
    TrialError
        If the archive is damaged or not to be trusted.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            _check_size(archive, name)
            for part in archive.infolist():
                if part.filename.lower().endswith(_XML):
                    _check_xml(archive, part, name)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, RuntimeError, EOFError, ValueError) as error:
        raise unreadable(name) from error
    except Exception as error:
        if isinstance(error, TrialError | OSError):
            raise
        raise unreadable(name) from error


def unreadable(name: str) -> TrialError:
    """Return the error for a workbook that is damaged, locked, or none at all."""
    return TrialError(
        f"{name} cannot be read as a workbook: it is damaged, protected by a password, or of another kind. "
        "Open it in a spreadsheet program and save it again, or save it as CSV."
    )


def _check_size(archive: zipfile.ZipFile, name: str) -> None:
    parts = archive.infolist()
    size = sum(part.file_size for part in parts)
    if size > LARGEST or len(parts) > MOST:
        raise TrialError(
            f"{name} would unpack to {size / 1e6:,.0f} MB in {len(parts):,} parts; at most "
            f"{LARGEST / 1e6:,.0f} MB in {MOST:,} parts are read. Save the readings as CSV, which has no such limit."
        )


def _check_xml(archive: zipfile.ZipFile, part: zipfile.ZipInfo, name: str) -> None:
    kept = b""
    for chunk in _chunks(archive, part):
        if any(mark in kept + chunk for mark in _FORBIDDEN):
            raise TrialError(
                f"{name} declares entities of its own, which no spreadsheet program does; it is not read. "
                "Open it in a spreadsheet program you trust and save the readings as CSV."
            )
        kept = chunk[-16:]


def _chunks(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> Iterator[bytes]:
    with archive.open(part) as stream:
        while chunk := stream.read(_CHUNK):
            yield chunk
