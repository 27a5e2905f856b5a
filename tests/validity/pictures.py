"""The study's pictures: error rates over the grid, and power."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullLocator
from validity.draw import SHAPES
from validity.grid import RIGHT, SPREADS
from validity.layouts import KINDS, SIZES
from validity.reaches import EXACT
from validity.shares import NOMINAL, OFF
from validity.tables import worst

from sharpstats.figures.style import INKS, MARKS, RULE, SOFT, styled

WRONG = "scale wrong"
DPI = 110


def draw_all(tables: Mapping[str, pd.DataFrame], folder: Path) -> None:
    """Write every picture."""
    pictures = {
        "errors": errors(tables["differences"]),
        "power": power(tables["differences"]),
        "reaches": of_reaches(tables["reaches"]),
    }
    with styled():
        for name, figure in pictures.items():
            figure.savefig(folder / f"{name}.png", dpi=DPI, metadata={"Software": None})


def errors(table: pd.DataFrame) -> Figure:
    """Error of the claim about a difference that errs most, a point a setting, a panel a layout."""
    table = table.assign(worst=100 * worst(table), look=table["shape"].where(table["scale"] == RIGHT, WRONG))
    with styled():
        figure, axes = _panels("claim wrongly shown most often, of 100 trials")
        for axis, kind in zip(axes, KINDS, strict=True):
            _limits(axis)
            for place, look in enumerate((*SHAPES, WRONG)):
                part = table[(table["layout"] == kind) & (table["look"] == look)]
                for lost in (False, True):
                    _points(axis, part[part["lost"] == lost], place, look, hollow=lost)
            axis.set_title(kind, fontsize=9, loc="left")
            axis.set_xticks(range(len(SIZES)), [str(size) for size in SIZES])
            axis.set_ylim(0, 12)
        _legend(figure, axes[0], "filled: as many edges each; hollow: a third of one medium's edges and some cuts lost")
    return figure


def _points(axis: Axes, part: pd.DataFrame, place: int, label: str, *, hollow: bool) -> None:
    across = part["edges"].map(SIZES.index) + 0.11 * (2 * place + hollow - 3.5)
    ink = INKS[place]
    axis.plot(across, part["worst"], MARKS[place], ms=4, mfc="none" if hollow else ink, mec=ink, mew=0.9, ls="none",
              label=None if hollow else label)  # fmt: skip


def power(table: pd.DataFrame) -> Figure:
    """Power of `same` where there is no difference, a line a spread."""
    plain = table[(table["scale"] == RIGHT) & (table["shape"] == "normal") & ~table["lost"]]
    with styled():
        figure, axes = _panels("`same` shown where there is no difference, of 100 trials")
        for axis, kind in zip(axes, KINDS, strict=True):
            _sized(axis)
            for place, spread in enumerate(SPREADS):
                part = plain[(plain["layout"] == kind) & (plain["spread"] == spread)]
                axis.plot(np.log2(part["edges"]), 100 * part["power_same"], color=INKS[place], marker=MARKS[place],
                          ms=5, lw=1.3, label=spread)  # fmt: skip
            axis.set_title(kind, fontsize=9, loc="left")
            axis.set_ylim(-2, 102)
        _legend(figure, axes[-1], "margin 15 %, normal errors, three cuts an edge; most of the spread:")
    return figure


def of_reaches(table: pd.DataFrame) -> Figure:
    """Errors of `reaches` by its exact bound, a line a shape, a panel a way to be wrong and a share."""
    table = table[table["method"] == EXACT]
    with styled():
        figure = Figure(figsize=(8.2, 5.6), layout="constrained")
        axes = figure.subplots(2, 3, sharex=True, sharey=True)
        for row, (column, said) in enumerate({"shown": "shown", "contradicted": "contradicted"}.items()):
            for axis, share in zip(axes[row], sorted(set(table["share"])), strict=True):
                _sized(axis)
                _limits(axis)
                for place, shape in enumerate(SHAPES):
                    part = table[(table["share"] == share) & (table["shape"] == shape)]
                    axis.plot(np.log2(part["edges"]), 100 * part[column], color=INKS[place], marker=MARKS[place], ms=5,
                              lw=1.3, label=shape)  # fmt: skip
                axis.set_title(f"{100 * share:.0f} %, wrongly {said}", fontsize=9, loc="left")
                axis.set_ylim(0, 50)
            axes[row][0].set_ylabel("of 100 trials")
        _legend(figure, axes[0][0], "`reaches` by its bound, claimed where just that share of the edges reads below")
        figure.supxlabel("edges of the medium", fontsize=9)
    return figure


def _panels(label: str) -> tuple[Figure, list[Axes]]:
    figure = Figure(figsize=(8.2, 6.4), layout="constrained")
    axes = list(figure.subplots(2, 2, sharex=True, sharey=True).ravel())
    figure.supxlabel("edges a medium", fontsize=9)
    figure.supylabel(label, fontsize=9)
    return figure, axes


def _sized(axis: Axes) -> None:
    axis.xaxis.set_major_locator(FixedLocator(list(np.log2(SIZES))))
    axis.xaxis.set_minor_locator(NullLocator())
    axis.set_xticks(np.log2(SIZES), [str(size) for size in SIZES])
    axis.set_xlim(np.log2(SIZES[0]) - 0.4, np.log2(SIZES[-1]) + 0.4)
    axis.grid(axis="y", color=RULE, lw=0.5)


def _limits(axis: Axes) -> None:
    axis.axhline(100 * NOMINAL, color=SOFT, lw=1.0)
    axis.axhline(100 * OFF, color=SOFT, lw=1.0, ls=(0, (4, 3)))


def _legend(figure: Figure, axis: Axes, title: str) -> None:
    handles, labels = axis.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper left", ncols=len(labels), frameon=False, fontsize=9, title=title,
                  title_fontsize=9, alignment="left")  # fmt: skip
