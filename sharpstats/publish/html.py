"""The report as one page: the executed notebook through a small template of our own."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

TEMPLATES = Path(__file__).parent / "templates"
NAME = "sharpstats"

_HEADING = "## "
_MEANING = re.compile(r"[\\`*_{}\[\]<>()#+\-.!|~^$&=:/@]")
"""Signs that mean something in Markdown, HTML, a formula or an address."""


@dataclass(slots=True)
class Section:
    """A heading of the second level and the cells under it."""

    heading: str
    cells: list[Any] = field(default_factory=list)

    @property
    def id(self) -> str:
        """What a link to the section ends in."""
        return re.sub(r"[^a-z0-9]+", "-", self.heading.lower()).strip("-")


def page(notebook: Any) -> str:
    """Return an executed notebook as one self-contained HTML page.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        With its title in ``metadata.title``, and a Markdown cell ``## ...`` before each section.

    Returns
    -------
    str
        A page that asks for nothing: pictures are inside it, and it holds no script.
    """
    from nbconvert import HTMLExporter

    exporter = HTMLExporter(
        template_name=NAME, extra_template_basedirs=[str(TEMPLATES)], exclude_anchor_links=True, embed_images=False
    )
    head, sections = divide(notebook.cells)
    text, _ = exporter.from_notebook_node(notebook, {NAME: {"head": head, "sections": sections}})
    return str(text)


def load() -> None:
    """Load what `page` needs, while there is time."""
    import nbconvert  # noqa: F401


def divide(cells: Sequence[Any]) -> tuple[list[Any], list[Section]]:
    """Divide cells into those before the first section, and the sections."""
    head: list[Any] = []
    sections: list[Section] = []
    for cell in cells:
        if cell.cell_type == "markdown" and cell.source.startswith(_HEADING):
            heading, _, rest = cell.source.removeprefix(_HEADING).partition("\n")
            sections.append(Section(heading.strip()))
            if rest.strip():
                sections[-1].cells.append({**cell, "source": rest.strip()})
        else:
            (sections[-1].cells if sections else head).append(cell)
    return head, sections


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
