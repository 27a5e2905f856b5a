"""What stands around a drawing: the title and the small lines above it, a strip for a key, rules across the axes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sharpstats.figures.style import GROUND, LARGE, RULE, SMALL, SOFT, WIDTH, line_height, place, sheet, wrapped, write

MARGIN = 0.2
ROOM = WIDTH - 2 * MARGIN
BELOW = 0.62
"""Inches that the numbers and the label of an axis take."""


def titled(title: str, height: float) -> Figure:
    """Make a sheet of a height in inches, with its title."""
    figure = sheet(height)
    write(figure, MARGIN, 0.15, title, size=LARGE, bold=True)
    return figure


def small_lines(*texts: str, lines: int = 4) -> list[str]:
    """Break sentences into small lines as wide as the sheet, each sentence on lines of its own.

    Examples
    --------
    >>> small_lines("Dots: edges.", "Dashed: limits.")
    ['Dots: edges.', 'Dashed: limits.']
    """
    return [line for text in texts for line in wrapped(text, ROOM, size=SMALL, lines=lines)]


def headed(title: str, lines: Sequence[str], rest: float) -> tuple[Figure, float]:
    """Make a sheet with a title, small lines below it, and room for the rest.

    Parameters
    ----------
    title : str
    lines : sequence of str
    rest : float
        Inches below the lines.

    Returns
    -------
    figure : Figure
    top : float
        Where the rest begins, in inches from the top of the sheet.
    """
    top = 0.5 + line_height(SMALL) * len(lines)
    figure = titled(title, top + rest)
    write(figure, MARGIN, 0.5, "\n".join(lines), size=SMALL, colour=SOFT)
    return figure, top


def strip(figure: Figure, top: float, height: float) -> Axes:
    """Add a bare strip as wide as the sheet, measured in inches from its top left, for the marks of a key."""
    axes = place(figure, MARGIN, top, ROOM, height)
    axes.set_xlim(0, ROOM)
    axes.set_ylim(height, 0.0)
    axes.axis("off")
    return axes


def ruled(axes: Axes, along: Literal["x", "y", "both"] = "y") -> None:
    """Draw faint rules at the ticks of an axis, behind everything else."""
    axes.grid(axis=along, color=RULE, linewidth=0.5, alpha=0.6)
    axes.set_axisbelow(True)


def ground(alpha: float = 0.9) -> dict[str, Any]:
    """Return the box behind a text that keeps it legible across lines."""
    return {"facecolor": GROUND, "edgecolor": "none", "pad": 1, "alpha": alpha}
