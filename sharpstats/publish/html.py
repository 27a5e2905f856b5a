"""The report as one page: the executed notebook through a small template of our own."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sharpstats.publish.publication import Publication

if TYPE_CHECKING:
    from nbconvert import HTMLExporter

TEMPLATES = Path(__file__).parent / "templates"
NAME = "sharpstats"

_HEADING = "## "
_MEANING = re.compile(r"[\\`*_{}\[\]<>()#+\-.!|~^$&=:/@]")
"""Signs that mean something in Markdown, HTML, a formula or an address."""


@dataclass(frozen=True, slots=True)
class Section:
    """A heading of the second level and the cells under it."""

    heading: str
    cells: tuple[Any, ...]

    @property
    def id(self) -> str:
        """What a link to the section ends in."""
        return re.sub(r"[^a-z0-9]+", "-", self.heading.lower()).strip("-")

    @property
    def shows(self) -> bool:
        """Whether anything stands under the heading but code."""
        return any(cell["cell_type"] == "markdown" or cell.get("outputs") for cell in self.cells)


def page(notebook: Any, kind: Publication, files: Collection[str]) -> str:
    """Return an executed notebook as one self-contained HTML page.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        With its title in ``metadata.title``, and a Markdown cell ``## ...`` before each section.
    kind : Publication
        What is published.
    files : collection of str
        Names of the files beside the page; it has links to the tables among them.

    Returns
    -------
    str
        A page that asks for nothing: pictures are inside it, and it holds no script. A section that shows
        nothing is left out.
    """
    exporter = load()
    head, sections = divide(notebook.cells)
    sections = tuple(section for section in sections if section.shows)
    tables = [(name, words) for name, words in kind.tables if name in files]
    told = {"head": head, "sections": sections, "kind": kind, "tables": tables}
    text, _ = exporter.from_notebook_node(notebook, {NAME: told})
    return str(text)


@cache
def load() -> HTMLExporter:
    """Load what `page` needs; to be called while there is time."""
    from nbconvert import HTMLExporter

    exporter = HTMLExporter(
        template_name=NAME, extra_template_basedirs=[str(TEMPLATES)], exclude_anchor_links=True, embed_images=False
    )
    exporter.template  # noqa: B018  reads and compiles the template
    return exporter


def divide(cells: Sequence[Any]) -> tuple[tuple[Any, ...], tuple[Section, ...]]:
    """Divide cells into those before the first section, and the sections."""
    starts = [i for i, cell in enumerate(cells) if _begins_section(cell)]
    ends = [*starts[1:], len(cells)]
    head = tuple(cells[: starts[0] if starts else len(cells)])
    return head, tuple(_section(cells[start:end]) for start, end in zip(starts, ends, strict=True))


def _begins_section(cell: Any) -> bool:
    return bool(cell.cell_type == "markdown" and cell.source.startswith(_HEADING))


def _section(cells: Sequence[Any]) -> Section:
    """Make a section of its first cell, which has the heading and perhaps more, and the others."""
    first, *others = cells
    heading, _, more = first.source.removeprefix(_HEADING).partition("\n")
    said = [{**first, "source": more.strip()}] if more.strip() else []
    return Section(heading.strip(), (*said, *others))


def as_markdown(text: str) -> str:
    """Return a person's text so that Markdown, HTML and formulas in it stay letters.

    Every sign that could mean something is written as a character reference. A dollar sign or
    backslash gets an element of its own as well, since formulas are looked for in the finished page.

    Examples
    --------
    >>> as_markdown("slate *or* <film>")
    'slate &#42;or&#42; &#60;film&#62;'
    """
    one_line = " ".join(text.split())
    written = _MEANING.sub(lambda sign: f"&#{ord(sign[0])};", one_line)
    return re.sub(r"&#(36|92);", r"<span>&#\1;</span>", written)
