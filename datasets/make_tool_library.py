"""Invent the readings of the demo trial `tool-library`.

Nothing here was measured. This script makes up what a careful bench test might have read:

    log(reading) = true log mean of the medium on that steel
                   + blade + blade x medium + edge + cut        (all normal, independent)

The sizes of the four spreads stand in `SPREAD`, the true means in `TRUE_GF`. After that the
bench gets its say: lost cuts, a slip of the pen, an over-range cut by accident, rows set aside by hand.
`READING_SEED` was picked so that the claims of the plan come out all three ways, which makes
a good demonstration and is exactly what nobody may do with real readings.

    python datasets/make_tool_library.py [FOLDER]

writes FOLDER/readings.csv (default: the folder `tool-library` beside this script). The same
seeds give the same bytes.
"""

from __future__ import annotations

import csv
import sys
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

ORDER_SEED = 20260411  # the random order of the edges; also named in trial.toml
READING_SEED = 1774

TRUE_GF = {  # on plain carbon, on stainless
    "oilstone": (158.0, 172.0),
    "diamond plate": (140.0, 152.0),
    "roofing slate": (149.0, 163.0),
    "lapping film": (122.0, 140.0),
}
SPREAD = {"blade": 0.08, "blade x medium": 0.03, "edge": 0.05, "cut": 0.08}  # sd on the log scale
MINUTES = {"oilstone": 9.0, "diamond plate": 6.0, "roofing slate": 12.0, "lapping film": 7.0}
STATE = {"oilstone": "worn in", "diamond plate": "worn in",
         "roofing slate": "flattened", "lapping film": "fresh"}  # fmt: skip

STEELS = ("plain carbon", "stainless")
BLADES = {"C1": "chisel", "C2": "chisel", "C3": "kitchen knife", "C4": "kitchen knife",
          "S1": "chisel", "S2": "chisel", "S3": "kitchen knife", "S4": "kitchen knife"}  # fmt: skip
CONTROL = ("C9", "chisel", "oilstone")
EDGES_PER_CELL = 2
CUTS = 5
DAYS = ("2026-04-11", "2026-04-18", "2026-04-25", "2026-05-02")
OPERATORS = ("volunteer A", "volunteer B", "volunteer C")
POSITIONS_MM = {"chisel": (4, 8, 12, 16, 20), "kitchen knife": (20, 50, 80, 110, 140)}

COLUMNS = (
    "run", "edge", "cut", "medium", "steel", "blade", "operator",
    "day", "tester", "filament_lot", "position_mm", "start_reading", "medium_state", "burr_check", "role",
    "minutes", "reading", "taken_at", "note", "set_aside",
    "tool",  # not one of ours: a column of the library's own is carried along
)  # fmt: skip

# (run, cut) -> what the bench did to that row
BENCH = {
    (3, 1): {"note": "first edge of the morning, tester warmed up on a spare blade"},
    (7, 4): {"reading": "", "note": "lost: filament slipped in the clamp"},
    (13, 2): {"reading": "1S2", "note": "typed at the bench, not checked"},
    (19, 5): {"reading": "", "note": "lost: filament parted while it was being laid on"},
    (22, 3): {"set_aside": "blade was not clamped and moved during the cut", "note": "said beforehand"},
    (31, 1): {"reading": "-148"},
    (36, 1): {"note": "new filament lot from here on"},
    (44, 2): {"reading": ">1500", "set_aside": "filament caught beside the edge"},
    (52, 5): {"reading": "", "note": "lost: ran out of edge at the toe"},
    (59, 1): {"note": "slate splashed again half way, it had dried"},
    (63, 4): {"reading": "", "note": "lost: nobody wrote it down"},
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """One sharpening, as laid out."""

    medium: str
    blade: str
    tool: str
    operator: str
    day: int
    role: str = "trial"

    @property
    def steel(self) -> str:
        """Steel of the blade, from its letter."""
        return STEELS[0] if self.blade.startswith("C") else STEELS[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What was noted beside the readings of an edge."""

    start_reading: int
    minutes: int
    burr_check: str
    first_cut: datetime


def lay_out() -> list[Edge]:
    """Order all edges: two blades a day, one of each steel, each blade's edges at random."""
    rng = np.random.default_rng(ORDER_SEED)
    carbon, stainless = (rng.permutation([b for b in BLADES if b.startswith(letter)]) for letter in "CS")
    edges = control_edges(day=0, count=2)
    for day in range(len(DAYS)):
        if day == 2:
            edges += control_edges(day=2, count=1)
        pair = rng.permutation([str(carbon[day]), str(stainless[day])])
        for place, blade in enumerate(pair):
            edges += block(str(blade), day, OPERATORS[(2 * day + place) % len(OPERATORS)], rng)
        if day == 1:
            edges += control_edges(day=1, count=1)
    return edges + control_edges(day=3, count=2)


def control_edges(*, day: int, count: int) -> list[Edge]:
    """Make the same blade and medium again, always by the same pair of hands."""
    blade, tool, medium = CONTROL
    edge = Edge(medium=medium, blade=blade, tool=tool, operator=OPERATORS[0], day=day, role="control")
    return [edge] * count


def block(blade: str, day: int, operator: str, rng: np.random.Generator) -> list[Edge]:
    """All edges of one blade, in random order, by one operator on one day."""
    media = rng.permutation([medium for medium in TRUE_GF for _ in range(EDGES_PER_CELL)])
    return [Edge(medium=str(m), blade=blade, tool=BLADES[blade], operator=operator, day=day) for m in media]


def invent(edges: list[Edge]) -> list[list[int]]:
    """Draw the readings of every edge from the model above, to the full gram-force."""
    rng = np.random.default_rng(READING_SEED)
    blade = {b: SPREAD["blade"] * rng.standard_normal() for b in (*BLADES, CONTROL[0])}
    cell = {(b, m): SPREAD["blade x medium"] * rng.standard_normal() for b in blade for m in TRUE_GF}
    readings = []
    for edge in edges:
        level = np.log(TRUE_GF[edge.medium][STEELS.index(edge.steel)]) + blade[edge.blade]
        level += cell[edge.blade, edge.medium] + SPREAD["edge"] * rng.standard_normal()
        cuts = np.exp(level + SPREAD["cut"] * rng.standard_normal(CUTS))
        readings.append([round(float(cut)) for cut in cuts])
    return readings


def look_around(edges: list[Edge]) -> list[Around]:
    """Invent the circumstances of each edge: dulled start, minutes, burr, time of the first cut."""
    rng = np.random.default_rng([ORDER_SEED, 1])
    found: list[Around] = []
    clock, today = datetime.min, -1
    for edge in edges:
        if edge.day != today:
            today, clock = edge.day, datetime.fromisoformat(f"{DAYS[edge.day]}T09:30")
        minutes = round(MINUTES[edge.medium] * rng.uniform(0.85, 1.25))
        clock += timedelta(minutes=4 + minutes)  # dulling and the start reading take four
        burr = "felt, stropped again" if rng.random() < 0.1 else "none felt"
        start = round(rng.uniform(450, 650))
        found.append(Around(start_reading=start, minutes=minutes, burr_check=burr, first_cut=clock))
        clock += timedelta(minutes=CUTS)
    return found


def rows() -> list[dict[str, object]]:
    """Every row of readings.csv, damage included."""
    edges = lay_out()
    table: list[dict[str, object]] = []
    made = zip(edges, invent(edges), look_around(edges), strict=True)
    for run, (edge, readings, around) in enumerate(made, start=1):
        for cut, reading in enumerate(readings, start=1):
            table.append(row(run, edge, cut, reading, around) | BENCH.get((run, cut), {}))
    return table


def row(run: int, edge: Edge, cut: int, reading: int, around: Around) -> dict[str, object]:
    """One cut as a careful person would have written it down."""
    return {
        "run": run, "edge": f"e{run:02d}", "cut": cut,
        "medium": edge.medium, "steel": edge.steel, "blade": edge.blade, "operator": edge.operator,
        "day": f"day {edge.day + 1}", "tester": "bench tester",
        "filament_lot": "lot 1" if edge.day < 2 else "lot 2",
        "position_mm": POSITIONS_MM[edge.tool][cut - 1], "start_reading": around.start_reading,
        "medium_state": STATE[edge.medium], "burr_check": around.burr_check,
        "role": edge.role, "minutes": around.minutes, "reading": reading,
        "taken_at": (around.first_cut + timedelta(minutes=cut - 1)).isoformat(timespec="minutes"),
        "tool": edge.tool,
    }  # fmt: skip


def write(folder: Path) -> Path:
    """Write readings.csv into the folder, which is made if need be."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "readings.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows())
    return path


if __name__ == "__main__":
    here = Path(__file__).parent / "tool-library"
    print(write(Path(sys.argv[1]) if len(sys.argv) > 1 else here))
