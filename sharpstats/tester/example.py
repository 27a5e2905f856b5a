"""An example of a tester study to edit: plan, run sheet and check masses, written into a new folder."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import files
from io import StringIO
from pathlib import Path
from string import Template

import numpy as np

from sharpstats.columns import MASSES, TESTED, Schema
from sharpstats.tester.toml import TESTER_FILE
from sharpstats.trial.example import write_new

LOADS = (50, 100, 200, 300, 400, 500)
SERIES = 3
SPOT_MM = 3.0
"""Distance from one cut to the next along an edge, and of the first from the heel."""


@dataclass(frozen=True, slots=True)
class Size:
    """How large an example is, and why it is laid out so."""

    operators: int
    edges: int
    cuts: int
    explained: str


SIZES: dict[str, Size] = {
    "crossed": Size(3, 8, 4, "Three people cut each of eight edges four times."),
    "nested": Size(3, 4, 6, "Each of three people cuts four edges of their own six times."),
    "one operator": Size(1, 8, 6, "One person cuts each of eight edges six times. It says nothing about other hands."),
    "like edges": Size(3, 8, 2, "Each of three people cuts eight like edges twice."),
}


def write_tester_example(folder: str | Path, kind: str = "crossed", *, seed: int | None = None) -> tuple[Path, ...]:
    """Write a filled-in plan, an empty run sheet and an empty sheet for check masses into a folder.

    Nothing is overwritten. Cuts come in rounds: in each round everybody cuts each of their edges once, in random
    order, so that neither a person nor an edge comes early or late as a whole. The spots along an edge are in random
    order too, so that wear by testing and place along the edge can be told apart.

    Parameters
    ----------
    folder : str or Path
        Made if it does not exist.
    kind : {"crossed", "nested", "one operator", "like edges"}
    seed : int, optional
        Seed of the random order, at least 0; a fresh one if left out. The plan names it.

    Returns
    -------
    tuple of Path
        The files written.

    Raises
    ------
    TrialError
        If one of the files exists already, or the folder cannot be written to.

    Examples
    --------
    >>> import tempfile
    >>> folder = tempfile.TemporaryDirectory()
    >>> [path.name for path in write_tester_example(folder.name, seed=1)]
    ['tester.toml', 'readings.csv', 'masses.csv']
    >>> folder.cleanup()
    """
    drawn = int(np.random.default_rng().integers(1, 10**6)) if seed is None else seed
    size = SIZES[kind]
    alone = kind in ("nested", "like edges")
    template = Template((files("sharpstats.tester") / "example.toml").read_text(encoding="utf-8"))
    plan = template.substitute(
        kind=kind, operators=size.operators, edges=size.edges * (size.operators if alone else 1), cuts=size.cuts,
        seed=drawn, explained=size.explained, each=f"            # {size.edges} for each operator" if alone else "",
    )  # fmt: skip
    return write_new(folder, {TESTER_FILE: plan, "readings.csv": cut_sheet(kind, drawn), "masses.csv": mass_sheet()})


def cut_sheet(kind: str, seed: int) -> str:
    r"""Return the example's run sheet as CSV text: one row for each cut, readings empty.

    Examples
    --------
    >>> print(*cut_sheet("one operator", 1).splitlines()[:2], sep="\n")
    run,edge,cut,operator,day,tester,filament_lot,position_mm,reading,taken_at,note,set_aside
    1,e1,1,operator 1,,,,12,,,,
    """
    rng = np.random.default_rng(seed)
    pairs = list(_pairs(kind))
    spots = {edge: list(rng.permutation(_cuts_on_an_edge(kind))) for _, edge in pairs}
    rows: list[dict[str, object]] = []
    for round_number in range(1, SIZES[kind].cuts + 1):
        for place in rng.permutation(len(pairs)):
            operator, edge = pairs[place]
            position = SPOT_MM * (1 + spots[edge].pop())
            rows.append({"edge": edge, "cut": round_number, "operator": operator, "position_mm": f"{position:g}"})
    return _sheet(TESTED, ({"run": run, **row} for run, row in enumerate(rows, start=1)))


def _pairs(kind: str) -> Iterator[tuple[str, str]]:
    """Yield who cuts which edge."""
    size = SIZES[kind]
    for one in range(size.operators):
        first = 0 if kind in ("crossed", "one operator") else one * size.edges
        for edge in range(first + 1, first + size.edges + 1):
            yield f"operator {one + 1}", f"e{edge}"


def _cuts_on_an_edge(kind: str) -> int:
    size = SIZES[kind]
    return size.cuts * (size.operators if kind == "crossed" else 1)


def mass_sheet() -> str:
    """Return an empty sheet for check masses as CSV text: no load, up, down, no load; several times.

    Examples
    --------
    >>> mass_sheet().splitlines()[1:3]
    ['1,0,,1,,,,,,,', '2,50,up,1,,,,,,,']
    """
    rows: list[dict[str, object]] = []
    for series in range(1, SERIES + 1):
        loads = [(0, ""), *((load, "up") for load in LOADS), *((load, "down") for load in LOADS[-2::-1]), (0, "")]
        rows += [{"mass_g": load, "direction": direction, "series": series} for load, direction in loads]
    return _sheet(MASSES, ({"run": run, **row} for run, row in enumerate(rows, start=1)), leave_out=("applied",))


def _sheet(schema: Schema, rows: Iterator[dict[str, object]], leave_out: tuple[str, ...] = ()) -> str:
    text = StringIO()
    names = [name for name in schema.names if name not in leave_out]
    writer = csv.DictWriter(text, names, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()
