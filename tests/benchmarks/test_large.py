"""A file too large to hold, against a plain group-by of the same file by the same library.

Run with ``python -m pytest tests/benchmarks/test_large.py -s``: 3,000 edges, and with ``-m slow`` two million (about
ten million cuts). Ratios are printed; what is asserted is what was computed, never how long it took.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from .scale import large_file

pytest.importorskip("duckdb")


@pytest.mark.parametrize(
    ("edges", "blades", "operators"), [(3000, 10, 3), pytest.param(2_000_000, 200, 50, marks=pytest.mark.slow)]
)
def test_a_large_file_against_a_plain_group_by(tmp_path: Path, edges: int, blades: int, operators: int) -> None:
    found = large_file(tmp_path, edges, blades, operators)
    print(f"\n{edges:,} edges\n{found.round(2).to_string(index=False)}")
    assert found["found"].tolist() == [edges, edges, 2, edges, edges]
