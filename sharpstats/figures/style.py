"""What all pictures share: inks, marks, letters, and the sheet they are drawn on.

Everything is drawn with the object-oriented interface under one fixed style: settings of the user's
own have no influence, and no text is taken for a formula. Lengths are in inches from the top left.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, get_font
from matplotlib.textpath import text_to_path

from sharpstats.words.labels import one_line

INKS = ("#14365c", "#b96d00", "#0b6b60", "#a84b93", "#4a94d0", "#5b5a12")
"""Told apart by lightness as well as hue, for all common kinds of colour vision."""
MARKS = ("o", "s", "D", "^", "v", "P", "X", "h", "p", "d", "<", ">")
"""Every ink comes with a shape, so that a picture reads in grey."""
INK, SOFT, RULE, TINT, GROUND = "#20262b", "#566069", "#c6cbc4", "#e4e9f0", "#ffffff"

WIDTH = 6.4
"""Inches. Letters of 11 points on this width are legible on a telephone."""
DPI, FINE = 100, 200
"""Pixels to the inch on a page, and in the file (for screens with fine dots)."""
SMALL, NORMAL, LARGE = 10.0, 11.0, 13.5
FONT = "DejaVu Sans"
BLANK = "\u25a1"
"""Stands for a sign that the letters at hand do not have."""

_STYLE: dict[str, Any] = {
    "font.family": [FONT], "font.size": NORMAL, "text.parse_math": False, "text.usetex": False,
    "text.color": INK, "axes.edgecolor": SOFT, "axes.labelcolor": INK, "axes.linewidth": 0.8,
    "xtick.color": SOFT, "ytick.color": SOFT, "xtick.labelcolor": INK, "ytick.labelcolor": INK,
    "xtick.labelsize": SMALL, "ytick.labelsize": SMALL, "axes.labelsize": SMALL,
    "axes.spines.top": False, "axes.spines.right": False, "figure.facecolor": GROUND, "savefig.facecolor": GROUND,
    "svg.hashsalt": "sharpstats", "svg.fonttype": "path", "path.simplify": True, "figure.dpi": DPI,
}  # fmt: skip
_IGNORED = ("\ufe0f", "\ufe0e", "\u200d", "\u200c")
"""Signs that only change the look of the one before them."""


@contextmanager
def styled() -> Iterator[None]:
    """Draw or write under the fixed style, whatever the user's settings are."""
    own = {key: value for key, value in matplotlib.rcParamsDefault.items() if not key.startswith("backend")}
    settings: Any = {**own, **_STYLE}
    with matplotlib.rc_context(settings):
        yield


def ink(place: int) -> str:
    """Return the ink of the medium at a place in the plan."""
    return INKS[place % len(INKS)]


def mark(place: int) -> str:
    """Return the mark of the medium at a place in the plan."""
    return MARKS[place % len(MARKS)]


def sheet(height: float, width: float = WIDTH) -> Figure:
    """Make an empty figure of a size in inches."""
    return Figure(figsize=(width, height), dpi=DPI)


def place(figure: Figure, left: float, top: float, width: float, height: float) -> Axes:
    """Add axes at a distance in inches from the figure's left and top."""
    across, down = figure.get_size_inches()
    return figure.add_axes((left / across, 1 - (top + height) / down, width / across, height / down))


def write(
    figure: Figure, left: float, top: float, text: str, *, size: float = NORMAL, bold: bool = False,
    colour: str = INK, side: str = "left",
) -> None:  # fmt: skip
    """Write lines of text on the sheet, their top at a distance in inches."""
    across, down = figure.get_size_inches()
    figure.text(
        left / across, 1 - top / down, text, fontsize=size, fontweight="bold" if bold else "normal", color=colour,
        ha=side, va="top", linespacing=1.25, parse_math=False,
    )  # fmt: skip


def drawable(text: object) -> str:
    r"""Return a label that can be drawn: on one line, in signs that the letters have.

    Examples
    --------
    >>> drawable("slate\n石 $x$")
    'slate □ $x$'
    """
    known = _signs()
    line = "".join(sign for sign in one_line(text) if sign not in _IGNORED)
    return "".join(sign if ord(sign) in known else BLANK for sign in line)


@lru_cache(maxsize=1)
def _signs() -> frozenset[int]:
    path = matplotlib.font_manager.findfont(FONT)
    return frozenset(get_font(path).get_charmap())


@lru_cache(maxsize=4096)
def text_width(text: str, size: float, bold: bool = False) -> float:
    """Return the width of a line of text in inches.

    Examples
    --------
    >>> text_width("", 11.0)
    0.0
    """
    if not text:
        return 0.0
    letters = FontProperties(family=FONT, size=size, weight="bold" if bold else "normal")
    return float(text_to_path.get_text_width_height_descent(text, letters, ismath=False)[0]) / 72


def line_height(size: float) -> float:
    """Return the height of a line of text in inches.

    Examples
    --------
    >>> round(line_height(11.52), 3)
    0.2
    """
    return size * 1.25 / 72


def wrapped(text: object, room: float, *, size: float = NORMAL, bold: bool = False, lines: int = 2) -> list[str]:
    """Break a label into lines that fit in `room` inches; what is too much is cut.

    Examples
    --------
    >>> wrapped("roofing slate from an old barn", 1.1)
    ['roofing slate', 'from an old…']
    >>> len(wrapped("x" * 300, 2.0, lines=3))
    3
    """
    words = drawable(text).split(" ")
    found: list[str] = []
    while words and len(found) < lines:
        line = _fitting(words, room, size, bold)
        found.append(line)
    if words:
        found[-1] = _cut(f"{found[-1]} {' '.join(words)}", room, size, bold)
    return found


def _fitting(words: list[str], room: float, size: float, bold: bool) -> str:
    """Take as many words off the list as fit on a line; a word that is too long is broken."""
    line = words.pop(0)
    if text_width(line, size, bold) > room:
        most = _most_signs(line, room, size, bold)
        words.insert(0, line[most:])
        return line[:most]
    while words and text_width(f"{line} {words[0]}", size, bold) <= room:
        line = f"{line} {words.pop(0)}"
    return line


def _most_signs(line: str, room: float, size: float, bold: bool) -> int:
    most = 1
    while most < len(line) and text_width(line[: most + 1], size, bold) <= room:
        most += 1
    return most


def _cut(line: str, room: float, size: float, bold: bool) -> str:
    most = _most_signs(line, room - text_width("…", size, bold), size, bold)
    return f"{line[:most].rstrip()}…"


def clipped(text: object, room: float, *, size: float = NORMAL, bold: bool = False) -> str:
    """Return a label on one line that fits in `room` inches.

    Examples
    --------
    >>> clipped("roofing slate from an old barn", 1.4)
    'roofing slate fro…'
    """
    return wrapped(text, room, size=size, bold=bold, lines=1)[0]
