"""The cells of a report's notebook, before they are run."""

from __future__ import annotations

import nbformat
import pytest
from hostile import ALL
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from sharpstats.publish.kinds import KINDS
from sharpstats.publish.notebook import build, take_warnings
from sharpstats.publish.publication import Publication, PublicPlan
from sharpstats.publish.tester import TESTER
from sharpstats.publish.trial import TRIAL
from sharpstats.tester.plan import StudyPublishing, TesterPlan
from sharpstats.trial.plan import Plan, Publishing

both = pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.plan_file)


def a_plan(kind: Publication, title: str = "Slate", *, invented: bool = False) -> PublicPlan:
    if kind is TRIAL:
        return Plan(title=title, question="Is it keen?", factors={}, publishing=Publishing(invented=invented))
    return TesterPlan(title=title, question="Is it steady?", publishing=StudyPublishing(invented=invented))


@both
def test_two_notebooks_of_a_folder_are_the_same_and_valid(kind: Publication) -> None:
    first, second = build(kind, a_plan(kind)), build(kind, a_plan(kind))
    nbformat.validate(first)
    assert first == second


def headings(kind: Publication) -> list[str]:
    cells = build(kind, a_plan(kind)).cells
    return [cell.source.splitlines()[0] for cell in cells if cell.source.startswith("## ")]


@both
def test_the_comparison_comes_last(kind: Publication) -> None:
    assert headings(kind)[-1] == "## Run it again"
    assert len(headings(kind)) == sum(1 for part in kind.parts if part.heading)


def test_what_matters_comes_first() -> None:
    assert headings(TRIAL)[0] == "## Findings"
    assert headings(TESTER)[0] == "## In short"


@both
def test_cells_are_short(kind: Publication) -> None:
    assert max(cell.source.count("\n") + 1 for cell in build(kind, a_plan(kind)).cells) <= 12


@both
def test_invented_readings_are_said_on_top_and_only_then(kind: Publication) -> None:
    said = f"**The readings of this {kind.noun} are invented.**"
    assert said in build(kind, a_plan(kind, invented=True)).cells[0].source
    assert "invented" not in build(kind, a_plan(kind)).cells[0].source


@both
def test_a_title_is_one_heading_whatever_it_holds(kind: Publication) -> None:
    for label in ALL:
        first = build(kind, a_plan(kind, label)).cells[0].source
        assert [line for line in first.splitlines() if line.startswith("#")] == [first.splitlines()[0]]
        assert "<s" not in first.replace("<span>", "")


def test_warnings_are_taken_out_and_told() -> None:
    warning = new_output("stream", name="stderr", text="/somewhere/x.py:1: UserWarning: old\n")
    shown = new_output("stream", name="stdout", text="shown")
    notebook = new_notebook(cells=[new_markdown_cell("text"), new_code_cell("x", outputs=[warning, shown])])
    assert take_warnings(notebook) == ["/somewhere/x.py:1: UserWarning: old\n"]
    assert notebook.cells[1].outputs == [shown]
