"""The cells of a report's notebook, before they are run."""

from __future__ import annotations

import nbformat
from hostile import ALL
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from sharpstats.publish.notebook import SECTIONS, build, take_warnings
from sharpstats.trial.plan import Plan, Publishing


def a_plan(title: str = "Slate", *, invented: bool = False) -> Plan:
    return Plan(title=title, question="Is it keen?", factors={}, publishing=Publishing(invented=invented))


def test_two_notebooks_of_a_trial_are_the_same_and_valid() -> None:
    first, second = build(a_plan()), build(a_plan())
    nbformat.validate(first)
    assert first == second


def test_findings_come_first_and_the_comparison_last() -> None:
    headings = [cell.source.splitlines()[0] for cell in build(a_plan()).cells if cell.source.startswith("## ")]
    assert headings[0] == "## Findings"
    assert headings[-1] == "## Run it again"
    assert len(headings) == sum(1 for _, heading, _ in SECTIONS if heading)


def test_cells_are_short() -> None:
    assert max(cell.source.count("\n") + 1 for cell in build(a_plan()).cells) <= 9


def test_invented_readings_are_said_on_top_and_only_then() -> None:
    assert "**The readings of this trial are invented.**" in build(a_plan(invented=True)).cells[0].source
    assert "invented" not in build(a_plan()).cells[0].source


def test_a_title_is_one_heading_whatever_it_holds() -> None:
    for label in ALL:
        first = build(a_plan(label)).cells[0].source
        assert [line for line in first.splitlines() if line.startswith("#")] == [first.splitlines()[0]]
        assert "<s" not in first.replace("<span>", "")


def test_warnings_are_taken_out_and_told() -> None:
    warning = new_output("stream", name="stderr", text="/somewhere/x.py:1: UserWarning: old\n")
    shown = new_output("stream", name="stdout", text="shown")
    notebook = new_notebook(cells=[new_markdown_cell("text"), new_code_cell("x", outputs=[warning, shown])])
    assert take_warnings(notebook) == ["/somewhere/x.py:1: UserWarning: old\n"]
    assert notebook.cells[1].outputs == [shown]
