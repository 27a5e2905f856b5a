"""How long publishing takes, against running and exporting a notebook that only imports the same.

Each runs in a process of its own, in turn; the quickest of each counts. At most 1.5 times is meant.
Run with ``python -m pytest tests/benchmarks -m slow -s``: the ratio is printed.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from demos import copy_of

from sharpstats.publish.trial import OPENING

from .timing import best

ROUNDS = 3

EMPTY = """
import nbclient, nbformat
from nbconvert import HTMLExporter
notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell({imports!r})])
nbclient.NotebookClient(notebook, kernel_name="python3").execute()
page, _ = HTMLExporter().from_notebook_node(notebook)
print(len(page))
"""


def imports() -> str:
    """The imports of a published notebook, with what stands behind its lazy names."""
    lines = [line for line in OPENING.splitlines() if line.startswith(("import ", "from "))]
    return "\n".join([*lines, "ss.open_trial, ss.TrialFit, ss.Findings"])


def run(*command: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run([sys.executable, *command], check=True, capture_output=True)


@pytest.mark.slow
def test_publishing_against_an_otherwise_empty_notebook(demo: Path, tmp_path: Path) -> None:
    folder = copy_of(demo, tmp_path)
    empty_notebook = EMPTY.format(imports=imports())
    assert int(run("-c", empty_notebook).stdout) > 100_000
    empty, whole = [], []
    for _ in range(ROUNDS):
        empty.append(best(lambda: run("-c", empty_notebook), repeats=1))
        whole.append(best(lambda: run("-m", "sharpstats", "publish", str(folder)), repeats=1))
    assert (folder / "report" / "index.html").exists()
    ratio = min(whole) / min(empty)
    print(f"\npublish {min(whole):.2f} s, empty notebook {min(empty):.2f} s: {ratio:.2f} times as long")
