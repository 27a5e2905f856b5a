"""Bytes of a text file -> UTF-8, whatever program wrote them; or a clear refusal."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass

from sharpstats.errors import TrialError
from sharpstats.notes import Note

_MARKS = (
    (codecs.BOM_UTF8, "utf-8", "a byte order mark"),
    (codecs.BOM_UTF32_LE, "utf-32-le", "UTF-32"),
    (codecs.BOM_UTF32_BE, "utf-32-be", "UTF-32"),
    (codecs.BOM_UTF16_LE, "utf-16-le", "UTF-16"),
    (codecs.BOM_UTF16_BE, "utf-16-be", "UTF-16"),
)
_CONTROLS = re.compile(rb"[\x01-\x08\x0b\x0e-\x1f\x7f]")
_SAMPLE = 1 << 16
_ARCHIVE = b"PK\x03\x04"


@dataclass(frozen=True, slots=True)
class Decoded:
    """A text as UTF-8 bytes with line feeds at its line ends, and what was repaired."""

    data: bytes
    notes: tuple[Note, ...]


def decode(data: bytes, file: str) -> Decoded:
    r"""Bring the bytes of a text file to UTF-8.

    Raises
    ------
    TrialError
        If the file is empty or is no text.

    Examples
    --------
    >>> decode("edge;reading\nKäthe;152".encode("cp1252"), "readings.csv").data.decode()
    'edge;reading\nKäthe;152'
    """
    _refuse_what_is_no_text(data, file)
    text, notes = _to_utf8(data, file)
    nuls = text.count(b"\0")
    if nuls:
        text = text.replace(b"\0", b"")
        notes.append(Note("nul-bytes", f"{file}: {nuls:,} NUL byte(s) were taken out."))
    if b"\r" in text and b"\n" not in text:
        text = text.replace(b"\r", b"\n")
    if _is_blank(text):
        raise TrialError(f"{file} is empty. Give it a header and a row for each cut.")
    return Decoded(text, tuple(notes))


def _refuse_what_is_no_text(data: bytes, file: str) -> None:
    if _is_blank(data):
        raise TrialError(f"{file} is empty. Give it a header and a row for each cut.")
    if data.startswith(_ARCHIVE):
        raise TrialError(
            f"{file} is a workbook or an archive, not a CSV file. Rename it to end in .xlsx or .ods, or save it as CSV."
        )
    sample = data[:_SAMPLE]
    if len(_CONTROLS.findall(sample)) > max(2, len(sample) // 200):
        raise _no_text(file)


def _is_blank(data: bytes) -> bool:
    return not data[:1024].strip() and not data.strip()


def _no_text(file: str) -> TrialError:
    return TrialError(f"{file} is not a text file. Save the readings as CSV (UTF-8), XLSX or ODS.")


def _to_utf8(data: bytes, file: str) -> tuple[bytes, list[Note]]:
    for mark, encoding, name in _MARKS:
        if data.startswith(mark):
            text = _recode(data[len(mark):], encoding, file)  # fmt: skip
            return text, [Note("encoding", f"{file}: the file begins with {name}; it was read accordingly.")]
    wide = _wide_without_mark(data)
    if wide:
        return _recode(data, wide, file), [Note("encoding", f"{file}: the file was read as UTF-16.")]
    if data.isascii() or _is_utf8(data):
        return data, []
    loose = data.decode("cp1252", errors="replace")
    lost = loose.count("\ufffd")
    says = f"{file}: the file is not UTF-8 and was read as Windows-1252; look at names with accents"
    says += f", of which {lost:,} character(s) could not be read." if lost else "."
    return loose.encode(), [Note("encoding", says)]


def _wide_without_mark(data: bytes) -> str:
    """Tell UTF-16 without a mark by the NUL bytes at every second place."""
    sample = data[:2048]
    even, odd = sample[::2].count(0), sample[1::2].count(0)
    if odd > 0.3 * len(sample) and not even:
        return "utf-16-le"
    return "utf-16-be" if even > 0.3 * len(sample) and not odd else ""


def _is_utf8(data: bytes) -> bool:
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _recode(data: bytes, encoding: str, file: str) -> bytes:
    if encoding == "utf-8" and _is_utf8(data):
        return data
    try:
        return data.decode(encoding).encode("utf-8")
    except UnicodeError as error:
        raise _no_text(file) from error
