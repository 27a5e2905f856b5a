"""A picture: what was drawn, the numbers that were drawn, and the sentence for who cannot see it."""

from __future__ import annotations

import base64
import re
from collections.abc import Collection
from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from io import BytesIO
from pathlib import Path
from typing import Any

import pandas as pd
from matplotlib.figure import Figure

from sharpstats.figures.style import DPI, FINE, styled
from sharpstats.words.labels import one_line

_PREAMBLE = re.compile(r"<!DOCTYPE[^>]*>\s*", re.DOTALL)
_QUICK = {"compress_level": 3}  # a third of the time for a few per cent of the size
_NOT_XML = re.compile("[\ud800-\udfff\ufffe\uffff]")


@dataclass(frozen=True, eq=False)
class Picture:
    """A drawn result. In a notebook it shows itself, with its sentence as the alternative text.

    Attributes
    ----------
    name : str
        Short, fit for a file name.
    title : str
        What it shows, as a phrase.
    alt : str
        What it shows, as a sentence with the numbers.
    data : DataFrame
        What was drawn, one row a mark.
    figure : matplotlib.figure.Figure
    fine : int
        Pixels to the inch in the PNG file.
    """

    name: str
    title: str
    alt: str
    data: pd.DataFrame = field(repr=False)
    figure: Figure = field(repr=False)
    fine: int = FINE

    @cached_property
    def png_bytes(self) -> bytes:
        """The picture as the content of a PNG file; the same each time."""
        stream = BytesIO()
        about = {"Software": None, "Title": one_line(self.title), "Description": one_line(self.alt)}
        with styled():
            self.figure.savefig(stream, format="png", dpi=self.fine, metadata=about, pil_kwargs=_QUICK)
        return stream.getvalue()

    @cached_property
    def svg_text(self) -> str:
        """The picture as the content of an SVG file; the same each time, with title and description."""
        stream = BytesIO()
        unsaid = {"Date": None, "Creator": None, "Type": None, "Format": None}
        with styled():
            self.figure.savefig(stream, format="svg", dpi=FINE, metadata=unsaid)
        bare = _PREAMBLE.sub("", stream.getvalue().decode("utf-8"))
        start, rest = bare.split("<svg ", 1)
        opening, rest = rest.split(">", 1)
        told = f"<title>{_xml(self.title)}</title>\n <desc>{_xml(self.alt)}</desc>"
        return f'{start}<svg role="img" {opening}>\n {told}{rest}'

    def png(self, path: str | Path) -> Path:
        """Write the picture as a PNG file."""
        Path(path).write_bytes(self.png_bytes)
        return Path(path)

    def svg(self, path: str | Path) -> Path:
        """Write the picture as an SVG file."""
        Path(path).write_text(self.svg_text, encoding="utf-8", newline="\n")
        return Path(path)

    def __str__(self) -> str:
        return self.alt

    def _repr_mimebundle_(
        self, include: Collection[str] | None = None, exclude: Collection[str] | None = None
    ) -> tuple[dict[str, str], dict[str, Any]]:
        width, height = (round(length * DPI) for length in self.figure.get_size_inches())
        shown = {"image/png": base64.b64encode(self.png_bytes).decode("ascii"), "text/plain": one_line(self.alt)}
        return shown, {"image/png": {"alt": one_line(self.alt), "width": width, "height": height}}


def _xml(text: str) -> str:
    return escape(_NOT_XML.sub("", one_line(text)))
