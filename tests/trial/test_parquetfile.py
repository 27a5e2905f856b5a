"""A Parquet file gives the same table of text as the CSV file with the same rows."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from demos import copy_of

from sharpstats.errors import TrialError
from sharpstats.trial.read import read_table
from sharpstats.trial.trial import open_trial


def written(folder: Path, **columns: object) -> Path:
    pq.write_table(pa.table(columns), folder / "readings.parquet")
    return folder / "readings.parquet"


def test_values_become_what_a_csv_file_would_hold(tmp_path: Path) -> None:
    path = written(
        tmp_path, edge=[1, 2, 3], reading=[152.0, np.nan, 150.25], cut=pa.array([1, None, 2]), note=["a", None, " b"],
        taken_at=[dt.datetime(2026, 4, 11, 9, 44)] * 3, medium=pa.array(["film", "slate", "film"]).dictionary_encode(),
    )  # fmt: skip
    frame = read_table(path).frame
    assert frame["edge"].tolist() == ["1", "2", "3"]
    assert frame["reading"].tolist() == ["152", "", "150.25"]
    assert frame["cut"].tolist() == ["1", "", "2"]
    assert frame["note"].tolist() == ["a", "", " b"]
    assert frame["medium"].tolist() == ["film", "slate", "film"]
    assert frame["taken_at"][0].startswith("2026-04-11 09:44")
    assert frame["row"].tolist() == [1, 2, 3]


def test_names_are_mended_as_in_other_files(tmp_path: Path) -> None:
    table = read_table(written(tmp_path, **{"Edge": ["e1"], "Reading (gf)": [152.5]}))
    assert table.names == ("edge", "reading")
    assert dict(table.units["readings.parquet"]) == {"reading": "gf"}


def test_the_demo_is_the_same_trial(demo: Path, tmp_path: Path) -> None:
    folder = copy_of(demo, tmp_path)
    table = pd.read_csv(folder / "readings.csv", dtype="str", keep_default_na=False)
    typed = table.assign(cut=table["cut"].astype(int))
    typed.to_parquet(folder / "readings.parquet", index=False)
    (folder / "readings.csv").unlink()
    found, expected = open_trial(folder), open_trial(demo)
    pd.testing.assert_frame_equal(
        found.readings.drop(columns=["file", "row"]), expected.readings.drop(columns=["file", "row"])
    )
    assert found.set_aside["code"].tolist() == expected.set_aside["code"].tolist()
    assert (found.set_aside["row"] + 1).tolist() == expected.set_aside["row"].tolist()  # no row for the header


def test_what_is_no_cell_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, edge=["e1"], reading=[[151.0, 152.0]])
    with pytest.raises(TrialError, match=r'the column "reading" holds list<.*>\. A cell must be a text, a number or a'):
        read_table(path)


def test_a_damaged_file_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, edge=["e1"], reading=[151.0])
    path.write_bytes(path.read_bytes()[:-9])
    with pytest.raises(TrialError, match=r"^readings\.parquet is damaged, or no Parquet file\. Write it again"):
        read_table(path)


def test_a_file_without_edges_is_refused(tmp_path: Path) -> None:
    with pytest.raises(TrialError, match="edge"):
        read_table(written(tmp_path, reading=[151.0]))
