"""The notebooks that ship run from top to bottom, are stored without outputs, and show what they say."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))


def shown(cell: nbformat.NotebookNode) -> str:
    """Everything a cell displayed, as text."""
    return "".join(str(out.get("data", out)) for out in cell.outputs)


@pytest.fixture(scope="module")
def run() -> dict[str, dict[str, str]]:
    """What each cell of each notebook showed."""
    results = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("MPLBACKEND", raising=False)  # a reader's kernel shows pictures inline
        for path in NOTEBOOKS:
            notebook = nbformat.read(path, as_version=4)
            where = {"metadata": {"path": FOLDER}}
            NotebookClient(notebook, timeout=120, kernel_name="python3", resources=where).execute()
            results[path.stem] = {cell.id: shown(cell) for cell in notebook.cells if cell.cell_type == "code"}
    return results


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_stored_without_outputs_times_or_private_kernels(path):
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    assert notebook.metadata.kernelspec.name == "python3"
    for cell in notebook.cells:
        assert not cell.get("outputs") and cell.get("execution_count") is None
        assert not cell.metadata


@pytest.mark.filterwarnings("ignore::UserWarning")  # ipykernel says that its loopback is not encrypted
def test_the_walk_shows_rows_means_and_findings(run):
    cells = run["from_readings_to_findings"]
    assert all(cells[name] for name in ("open", "aside", "fit", "edges", "judge", "claims", "table", "look", "drift"))
    for word in ("shown", "contradicted", "open"):
        assert word in cells["judge"]
    assert "image/png" in cells["edges"] and "text/html" in cells["one"]


@pytest.mark.filterwarnings("ignore::UserWarning")
def test_the_experts_notebook_shows_what_alike_scores_would_hide(run):
    cells = run["any_table"]
    assert "worker x machine" in cells["fit"] and "newest minus old" in cells["against"]
    assert "image/png" in cells["draw"]
    assert "each score fresh" in cells["why"]  # and the cell itself asserts which is smaller
    assert "worker x machine" in cells["squares"] and "likelihood" in cells["beside"]


@pytest.mark.filterwarnings("ignore::UserWarning")
def test_the_walk_through_the_tester_answers_every_question_and_draws_it(run):
    cells = {name: text.replace("\\xa0", " ") for name, text in run["trust_the_tester"].items()}
    assert [name for name, text in cells.items() if not text] == []
    pictures = [text for text in cells.values() if "image/png" in text]
    assert len(pictures) == 12
    for name, words in {
        "spreads": "limit r", "agree": "volunteer A and volunteer C", "needed": "To show a difference of 15 %",
        "wear": "each further cut on an edge", "drift": "lot 2 are 5 % higher than with lot 1",
        "masses": "(hysteresis", "rounding": "rounds all to 5 gf", "shops": "shop quarry",
        "budget": "angle of the blade in the slot", "link": "your margin of 15 % is larger than",
    }.items():  # fmt: skip
        assert words in cells[name], name
    assert "operator x edge" in cells["expert-model"] and "angle in the slot" in cells["expert-budget"]
