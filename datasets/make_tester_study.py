"""Invent the tables of the demo study `tester-study`: cuts on edges, check masses, a round of several libraries.

Nothing here was measured. This script makes up what a careful bench might have read:

    cuts      log(reading) = true log mean of the edge + volunteer + volunteer x edge
                             + lot of filament + wear by the cuts made on the edge before + cut
    masses    reading      = zero + slope x force, lower on the way up, higher on the way down, + chance
    shops     log(reading) = true log mean of the batch + library + cut

The sizes stand in capitals below. After that the bench gets its say: lost cuts, a slip of the pen, a reading set
aside by hand, a volunteer who rounds. `READING_SEED` was picked: it is the first from 20260313 on with which the
study finds about what was put in (SD between cuts off by less than 0.4 points, between volunteers 2 to 4.2 %,
volunteer x edge and evenings below 1.2 %). A real study has no such luck, and nobody may pick there.

    python datasets/make_tester_study.py [FOLDER]

writes readings.csv, masses.csv and shops.csv into FOLDER (default: the folder `tester-study` beside this script).
The same seeds give the same bytes.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from itertools import product
from pathlib import Path

import numpy as np

ORDER_SEED = 20260306  # the random order of the cuts and of the spots along each edge; also named in tester.toml
READING_SEED = 20260318  # of the cuts
OTHER_SEED = 20260313  # of the check masses and of the round of libraries

EDGE_GF = {"e1": 95.0, "e2": 115.0, "e3": 140.0, "e4": 165.0, "e5": 200.0, "e6": 240.0, "e7": 285.0, "e8": 340.0}
VOLUNTEER = {"volunteer A": -0.03, "volunteer B": 0.0, "volunteer C": 0.03}  # on the log scale: about so many percent
ROUNDS_TO_FIVE = "volunteer C"
LOT = {"lot 1": 0.0, "lot 2": 0.04}
WEAR = 0.005  # each cut makes the edge read so much higher for all cuts that follow, log scale
SPREAD = {"cut": 0.09, "volunteer x edge": 0.01}  # sd on the log scale

ROUNDS = (("evening 1", "lot 1"), ("evening 1", "lot 2"), ("evening 2", "lot 2"), ("evening 2", "lot 1"))
EVENINGS = {"evening 1": "2026-03-06", "evening 2": "2026-03-13"}
TESTER = "bench tester"
SPOT_MM = 10  # distance of one cut from the next along a kitchen knife

LOADS_G = (50, 100, 200, 300, 400, 500)
SERIES = 3
GRAVITY = 9.81  # m/s2, also named in tester.toml; a gram weighs a gram-force at 9.80665
SLOPE, ZERO, ZERO_AFTER = 1.015, 0.5, 1.0  # the tester reads 1.5 % high; without a load, before and after a descent
HYSTERESIS, MASS_SD = 1.5, 0.6  # gf, down minus up; gf

BATCH_GF = {"keen": 110.0, "middling": 190.0, "blunt": 320.0}
LIBRARIES = ("bridge", "chapel", "forge", "harbour", "mill", "orchard", "quarry")
LIBRARY_SD = 0.03
OFF = {"quarry": 0.45}  # its spring had been replaced, and no check mass ever hung on it since
SHOP_CUTS = 4

COLUMNS = {
    "readings": ("run", "edge", "cut", "operator", "day", "tester", "filament_lot", "position_mm", "reading",
                 "taken_at", "note", "set_aside"),
    "masses": ("run", "mass_g", "direction", "series", "operator", "day", "tester", "reading", "taken_at"),
    "shops": ("shop", "batch", "cut", "reading", "note"),
}  # fmt: skip

# run -> what the bench did to that row of readings.csv
BENCH: dict[int, dict[str, object]] = {
    9: {"reading": "", "set_aside": "lost: filament slipped in the clamp"},
    66: {"reading": "", "set_aside": "lost: nobody wrote it down"},
    58: {"set_aside": "the blade moved in the slot during the cut"},
    8: {"reading": "1S5"},
    22: {"reading": "220,0"},
    49: {"note": "second evening: lamp on the other side of the bench"},
}

Row = dict[str, object]


def cut_order(rng: np.random.Generator) -> list[tuple[int, str, str]]:
    """Order all cuts: in each round everybody cuts each edge once, in random order."""
    pairs = list(product(VOLUNTEER, EDGE_GF))
    return [(number, *pairs[place]) for number in range(len(ROUNDS)) for place in rng.permutation(len(pairs))]


def cuts() -> Iterator[Row]:
    """Every cut as a careful person would have written it down."""
    order_rng, rng = np.random.default_rng(ORDER_SEED), np.random.default_rng(READING_SEED)
    order = cut_order(order_rng)
    on_an_edge = len(order) // len(EDGE_GF)
    spots = {edge: list(order_rng.permutation(on_an_edge)) for edge in EDGE_GF}
    both = {pair: SPREAD["volunteer x edge"] * rng.standard_normal() for pair in product(VOLUNTEER, EDGE_GF)}
    made = dict.fromkeys(EDGE_GF, 0)
    for run, (number, volunteer, edge) in enumerate(order, start=1):
        day, lot = ROUNDS[number]
        log = np.log(EDGE_GF[edge]) + VOLUNTEER[volunteer] + both[volunteer, edge] + LOT[lot] + WEAR * made[edge]
        reading = float(np.exp(log + SPREAD["cut"] * rng.standard_normal()))
        made[edge] += 1
        yield {
            "run": run, "edge": edge, "cut": made[edge], "operator": volunteer, "day": day, "tester": TESTER,
            "filament_lot": lot, "position_mm": SPOT_MM * (1 + int(spots[edge].pop())),
            "reading": shown(reading, volunteer), "taken_at": moment(run, number),
        }  # fmt: skip


def shown(reading: float, volunteer: str) -> int:
    """Return what is written down: the tester shows full gf, and one volunteer rounds further."""
    return 5 * round(reading / 5) if volunteer == ROUNDS_TO_FIVE else round(reading)


def moment(run: int, number: int) -> str:
    """Two minutes for a cut, a quarter of an hour to change the filament half way through the evening."""
    day = ROUNDS[number][0]
    first = datetime.fromisoformat(f"{EVENINGS[day]}T18:30")
    of_evening = (run - 1) % 48
    return (first + timedelta(minutes=2 * of_evening + 15 * (number % 2))).isoformat(timespec="minutes")


def masses() -> Iterator[Row]:
    """Check masses up and down again before the first cut, without a load before and after."""
    rng = np.random.default_rng([OTHER_SEED, 1])
    start = datetime.fromisoformat(f"{EVENINGS['evening 1']}T17:30")
    up, down = [(load, "up") for load in LOADS_G], [(load, "down") for load in LOADS_G[-2::-1]]
    steps = [(0, ""), *up, *down, (0, "")]
    for run, (series, place) in enumerate(product(range(1, SERIES + 1), range(len(steps))), start=1):
        load, direction = steps[place]
        force = load * GRAVITY / 9.80665
        offset = {"up": -HYSTERESIS / 2, "down": HYSTERESIS / 2}.get(direction, 0.0)
        zero = ZERO_AFTER if place == len(steps) - 1 else ZERO
        yield {
            "run": run, "mass_g": load, "direction": direction, "series": series, "operator": "volunteer A",
            "day": "evening 1", "tester": TESTER,
            "reading": round(float(zero + SLOPE * force + offset + MASS_SD * rng.standard_normal())),
            "taken_at": (start + timedelta(minutes=run - 1)).isoformat(timespec="minutes"),
        }  # fmt: skip


def shops() -> Iterator[Row]:
    """Four cuts of each library on an edge of each batch."""
    rng = np.random.default_rng([OTHER_SEED, 2])
    level = {library: LIBRARY_SD * rng.standard_normal() + OFF.get(library, 0.0) for library in LIBRARIES}
    for library, batch, cut in product(LIBRARIES, BATCH_GF, range(1, SHOP_CUTS + 1)):
        log = np.log(BATCH_GF[batch]) + level[library] + SPREAD["cut"] * rng.standard_normal()
        yield {"shop": library, "batch": batch, "cut": cut, "reading": round(float(np.exp(log)))}


def readings() -> Iterator[Row]:
    """Every row of readings.csv, damage included."""
    for row in cuts():
        yield row | BENCH.get(int(str(row["run"])), {})


def write(folder: Path) -> tuple[Path, ...]:
    """Write the three tables into the folder, which is made if need be."""
    folder.mkdir(parents=True, exist_ok=True)
    tables: dict[str, Iterable[Row]] = {"readings": readings(), "masses": masses(), "shops": shops()}
    return tuple(write_table(folder / f"{name}.csv", COLUMNS[name], rows) for name, rows in tables.items())


def write_table(path: Path, columns: tuple[str, ...], rows: Iterable[Row]) -> Path:
    """Write one table."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return path


if __name__ == "__main__":
    here = Path(__file__).parent / "tester-study"
    print(*write(Path(sys.argv[1]) if len(sys.argv) > 1 else here), sep="\n")
