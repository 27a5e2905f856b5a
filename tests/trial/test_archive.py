from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from sharpstats.errors import TrialError
from sharpstats.trial.archive import check_archive
from sharpstats.trial.read import read_table

BILLION = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "ha"><!ENTITY c "&b;&b;">]><a>&c;</a>'


def archive(path: Path, **parts: bytes) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in parts.items():
            file.writestr(name.replace("__", "/").replace("_xml", ".xml"), data)
    return path


def test_a_bomb_is_refused_before_it_goes_off(tmp_path: Path):
    path = archive(tmp_path / "readings.xlsx", xl__worksheets__sheet1_xml=b"\x20" * 300_000_001)
    assert path.stat().st_size < 1_000_000
    with pytest.raises(TrialError, match=r"^readings\.xlsx would unpack to 300 MB in 1 parts; at most 300 MB in 5,000"):
        read_table(path)


def test_too_many_parts_are_refused(tmp_path: Path):
    path = archive(tmp_path / "readings.ods", **{f"p{i}": b"" for i in range(5_001)})
    with pytest.raises(TrialError, match=r"in 5,001 parts; at most"):
        read_table(path)


@pytest.mark.parametrize("name", ["readings.xlsx", "readings.ods"])
@pytest.mark.parametrize(
    "xml", [BILLION, b" " * 2_000_000 + BILLION, BILLION.decode().encode("utf-16"), b" " * (1048576 - 5) + BILLION]
)
def test_entities_are_refused_wherever_they_hide(tmp_path: Path, name: str, xml: bytes):
    path = archive(tmp_path / name, content_xml=xml)
    with pytest.raises(TrialError, match=r"declares entities of its own, which no spreadsheet program does"):
        read_table(path)


@pytest.mark.parametrize("name", ["readings.xlsx", "readings.ods"])
@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"edge,reading\ne1,152\n", bytes(range(256)) * 50])
def test_what_is_no_archive_is_refused(tmp_path: Path, name: str, data: bytes):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(TrialError, match=r"cannot be read as a workbook: it is damaged, protected by a password"):
        read_table(tmp_path / name)


@pytest.mark.parametrize("name", ["readings.xlsx", "readings.ods"])
def test_an_archive_of_something_else_is_refused(tmp_path: Path, name: str):
    path = archive(tmp_path / name, hello=b"world")
    check_archive(path, name)
    with pytest.raises(TrialError, match="cannot be read as a workbook"):
        read_table(path)
