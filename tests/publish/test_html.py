"""The page: self-contained, in sections, with every text of the trial as letters only."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import Any

import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from sharpstats.publish.html import as_markdown, divide, page
from sharpstats.publish.trial import TRIAL

HOSTILE = [
    "<script>window.hit = 1</script>",
    "<img src=x onerror='window.hit = 1'>",
    "[click](javascript:hit)",
    "![picture](https://example.org/x.png)",
    "`code` **bold** $x^2$ \\(x\\) \\href{javascript:hit}{x}",
    'a "quoted" label',
    "line one\nline two\n\n# no heading",
    "=1+1",
    "1. no list\n- none",
    "slate 🪨",
    "www.example.org https://example.org/",
    "x" * 300,
]


class Reader(HTMLParser):
    """Collects the elements and the visible text of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.elements if name == tag]


def a_notebook(title: str = "Slate") -> Any:
    picture = new_output(
        "display_data", data={"image/png": "iVBORw0KGgo=\n", "text/plain": "unused"},
        metadata={"image/png": {"alt": 'Four "media" <b>', "width": 700, "height": 400}},
    )  # fmt: skip
    plain = new_output("execute_result", data={"text/plain": "<b>text</b>"}, execution_count=1)
    rich = new_output("execute_result", data={"text/html": "<p>rich</p>", "text/plain": "poor"}, execution_count=2)
    return new_notebook(
        metadata={"title": title},
        cells=[
            new_markdown_cell(f"# {as_markdown(title)}", id="title"),
            new_code_cell("x < 1", id="open"),
            new_markdown_cell("## Findings", id="findings-heading"),
            new_code_cell("findings", id="findings", outputs=[plain, rich]),
            new_markdown_cell("## Every edge", id="edges-heading"),
            new_code_cell("figures.edges(fit)", id="edges", outputs=[picture]),
        ],
    )


def page_of(notebook: Any) -> str:
    return page(notebook, TRIAL, ["readings.csv"])


def test_cells_are_divided_at_headings_of_the_second_level() -> None:
    head, sections = divide(a_notebook().cells)
    assert [cell.id for cell in head] == ["title", "open"]
    assert [(section.id, section.heading) for section in sections] == [
        ("findings", "Findings"),
        ("every-edge", "Every edge"),
    ]
    assert [cell.id for cell in sections[1].cells] == ["edges"]


def test_text_under_a_heading_stays_in_its_section() -> None:
    _, sections = divide([new_markdown_cell("## Findings\n\nSome *more*.", id="one")])
    assert sections[0].cells[0]["source"] == "Some *more*."


def test_the_page_has_landmarks_language_title_and_alternative_text() -> None:
    reader = Reader(page_of(a_notebook()))
    assert reader.all("html") == [{"lang": "en"}]
    assert all(len(reader.all(name)) == 1 for name in ("header", "nav", "main", "footer", "title", "h1"))
    assert [attributes["id"] for attributes in reader.all("h2")] == ["findings", "every-edge"]
    assert reader.all("img")[0]["alt"] == 'Four "media" <b>'
    assert reader.all("img")[0]["src"] == "data:image/png;base64,iVBORw0KGgo="


def test_an_output_is_shown_once_in_its_richest_form_and_plain_text_as_letters() -> None:
    html = page_of(a_notebook())
    assert "<p>rich</p>" in html
    assert "poor" not in html
    assert "&lt;b&gt;text&lt;/b&gt;" in html


def test_code_is_folded_away() -> None:
    reader = Reader(page_of(a_notebook()))
    assert len(reader.all("details")) == 3
    assert all("open" not in attributes for attributes in reader.all("details"))
    assert "x < 1" in reader.text


def test_the_page_asks_for_nothing_and_holds_no_script() -> None:
    html = page_of(a_notebook())
    reader = Reader(html)
    assert not reader.all("script") + reader.all("link") + reader.all("iframe")
    assert re.findall(r"https?://[^\s\"'<]+", html) == []
    assert "default-src 'none'" in html
    assert len(html) < 60_000


def test_two_exports_are_the_same() -> None:
    assert page_of(a_notebook()) == page_of(a_notebook())


@pytest.mark.parametrize("label", HOSTILE)
def test_a_title_is_letters_and_nothing_else(label: str) -> None:
    reader = Reader(page_of(a_notebook(title=label)))
    plain = Reader(page_of(a_notebook(title="Slate")))
    made = [name for name, _ in reader.elements if name != "span"]
    assert made == [name for name, _ in plain.elements]
    assert reader.text.count(" ".join(label.split())) >= 1
    assert not [a for _, attributes in reader.elements for a in attributes if a.startswith("on")]


def test_a_dollar_sign_is_apart_from_its_neighbours_so_that_no_formula_is_seen() -> None:
    assert as_markdown("$x$") == "<span>&#36;</span>x<span>&#36;</span>"


def test_a_section_that_shows_nothing_is_left_out() -> None:
    notebook = a_notebook()
    notebook.cells += [
        new_markdown_cell("## Between shops", id="shops"), new_code_cell("answer(one, two)", id="silent"),
        new_markdown_cell("## Run it again\n\nOpen the notebook.", id="again"), new_code_cell("keep", id="keep"),
    ]  # fmt: skip
    headings = [attributes["id"] for attributes in Reader(page_of(notebook)).all("h2")]
    assert headings == ["findings", "every-edge", "run-it-again"]
