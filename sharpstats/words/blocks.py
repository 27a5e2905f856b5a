"""What a display is made of, written once and shown twice: as HTML and as plain text.

The HTML takes its colours from the page around it and holds no script, so that it reads in a
notebook with a dark theme as well as in the published page. Class names begin with `ss-`.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from sharpstats.words.labels import one_line
from sharpstats.words.tables import Form, html_table, safe, text_table

COLUMNS = 100
"""Width of a terminal's text."""
_MARKS = {"shown": "●", "contradicted": "✕", "open": "○"}
"""A shape for each finding; the word always stands beside it."""
_CARD = "border-left:3px solid rgba(128,128,128,.6);padding:.1rem 0 .1rem .8rem;margin:0 0 1.1rem;max-width:46rem"
_SOFT = "opacity:.85;margin:.15rem 0;font-size:.92em"
_WIDEST = "max-width:46rem;overflow-wrap:anywhere"


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading."""

    text: str

    def html(self) -> str:
        """Return it as HTML."""
        return f'<p class="ss-heading" style="font-weight:bold;margin:.9rem 0 .3rem;{_WIDEST}">{safe(self.text)}</p>'

    def plain(self, width: int = COLUMNS) -> str:
        """Return it as text."""
        return _filled(self.text, width=width)


@dataclass(frozen=True, slots=True)
class Line:
    """A sentence or a few."""

    text: str

    def html(self) -> str:
        """Return it as HTML."""
        return f'<p class="ss-line" style="margin:.2rem 0 .5rem;{_WIDEST}">{safe(self.text)}</p>'

    def plain(self, width: int = COLUMNS) -> str:
        """Return it as text."""
        return _filled(self.text, width=width)


@dataclass(frozen=True, slots=True)
class Points:
    """A list of sentences; empty ones show nothing."""

    items: tuple[str, ...]

    def html(self) -> str:
        """Return it as HTML."""
        items = "".join(f'<li style="margin:.15rem 0">{safe(item)}</li>' for item in self.items)
        return f'<ul class="ss-points" style="margin:.2rem 0 .8rem;padding-left:1.2rem;{_WIDEST}">{items}</ul>'

    def plain(self, width: int = COLUMNS) -> str:
        """Return it as text."""
        return "\n".join(_filled(item, "- ", "  ", width) for item in self.items)


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """A table with its caption; without columns they are chosen by the frame."""

    frame: pd.DataFrame
    caption: str
    columns: tuple[Form, ...] = ()

    def html(self) -> str:
        """Return it as HTML."""
        return html_table(self.frame, self.caption, self.columns)

    def plain(self, width: int = COLUMNS) -> str:
        """Return it as text."""
        return text_table(self.frame, self.caption, self.columns)


@dataclass(frozen=True, slots=True)
class Card:
    """A finding: the claim, the finding in one word, the verdict, and details."""

    finding: str
    headline: str
    verdict: str
    details: tuple[str, ...]

    def html(self) -> str:
        """Return it as HTML."""
        mark = _MARKS.get(self.finding, "")
        details = "".join(f'<p class="ss-detail" style="{_SOFT}">{safe(text)}</p>' for text in self.details)
        return (
            f'<div class="ss-card ss-{safe(self.finding)}" style="{_CARD};overflow-wrap:anywhere">'
            f'<p class="ss-claim" style="margin:0 0 .15rem;font-weight:bold">{safe(self.headline)}</p>'
            f'<p class="ss-verdict" style="margin:0 0 .3rem"><span aria-hidden="true">{mark}</span> '
            f"<strong>{safe(self.finding)}</strong>: {safe(self.verdict)}.</p>{details}</div>"
        )

    def plain(self, width: int = COLUMNS) -> str:
        """Return it as text."""
        indent = " " * 16
        verdict = _filled(f"{self.verdict}.", f"  {self.finding:<14}", indent, width)
        details = (_filled(text, indent, indent, width) for text in self.details)
        return "\n".join([_filled(self.headline, width=width), verdict, *details])


@dataclass(frozen=True, slots=True)
class Folded:
    """Blocks that a page shows when asked; on a terminal its tables are left out."""

    summary: str
    blocks: tuple[Block, ...]

    def html(self) -> str:
        """Return it as HTML."""
        return (
            '<details class="ss-more" style="margin:.2rem 0 .8rem">'
            f'<summary style="cursor:pointer">{safe(self.summary)}</summary>'
            f"{''.join(block.html() for block in self.blocks)}</details>"
        )

    def plain(self, width: int = COLUMNS) -> str:
        """Return it as text."""
        told = [block.plain(width) for block in self.blocks if isinstance(block, Points)]
        summary = self.summary if told else f"({self.summary}: shown in a notebook)"
        return "\n".join([_filled(summary, width=width), *told])


Block = Heading | Line | Points | Table | Card | Folded


def to_html(blocks: Sequence[Block]) -> str:
    """Return blocks as one piece of HTML.

    Examples
    --------
    >>> "slate &lt;old&gt;" in to_html([Line("slate <old>")])
    True
    """
    return f'<div class="ss-result">{"".join(block.html() for block in blocks)}</div>'


def to_text(blocks: Sequence[Block], width: int = COLUMNS) -> str:
    """Return blocks as plain text; headings and cards have an empty line before them.

    Examples
    --------
    >>> print(to_text([Line("A sentence."), Heading("Notes"), Points(("One.", "Two."))]))
    A sentence.
    <BLANKLINE>
    Notes
    - One.
    - Two.
    """
    parts: list[str] = []
    apart: tuple[type[Block], ...] = (Card, Table)
    for before, block in zip((None, *blocks), blocks, strict=False):
        spaced = before is not None and (isinstance(block, Heading | Card | Table) or isinstance(before, apart))
        parts.append(f"\n{block.plain(width)}" if spaced else block.plain(width))
    return "\n".join(parts)


def _filled(text: str, first: str = "", rest: str = "", width: int = COLUMNS) -> str:
    wrapper = textwrap.TextWrapper(
        width=width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False, break_long_words=True
    )
    return wrapper.fill(one_line(text)) or first.rstrip()
