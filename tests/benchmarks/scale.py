"""What is measured about scale: a large file against a plain group-by of it, and the cost of a fit against edges.

`scale_study.py` runs both in full and writes RESULTS.md; `test_large.py` and `test_kr_cost.py` run them small.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq

from sharpstats import MixedFit, fit_mixed
from sharpstats.model.freedom import fixed_effects
from sharpstats.model.reml import maximise

SEED, BATCH = 6, 200_000
MEDIA = ("film", "plate", "slate", "strop")
SUMS = "SELECT edge, count(*), avg(reading), var_pop(reading) FROM {} GROUP BY edge"
"""The plain group-by: what any fit needs of each edge."""

PLAIN = """
import duckdb, tempfile
with tempfile.TemporaryDirectory() as spill:
    base = duckdb.connect(config={{"threads": 2, "memory_limit": "2GB", "temp_directory": spill}})
    base.execute("SET enable_progress_bar = false")
    base.execute("CREATE TEMP TABLE edges AS {sums}")
    found = base.execute("SELECT count(*) FROM edges").fetchone()[0]
"""
FIT = """
from sharpstats import fit_mixed
fit = fit_mixed({path!r}, response="reading", fixed=["medium"], random=["blade", "operator", "edge"])
fit.contrasts("medium").table
found = fit.reduced.units
"""
JUDGE = """
from sharpstats import open_large
found = len(open_large({folder!r}).judge().findings)
"""
MEASURE = """
import json, re, time
start = time.perf_counter()
{work}
seconds = time.perf_counter() - start
# Not ru_maxrss: a process inherits that of the one that started it.
peak = int(re.search(r"VmHWM:\\s+(\\d+)", open("/proc/self/status").read())[1]) / 1000
print(json.dumps([found, seconds, peak]))
"""

PLAN = """\
title = "Do the media of a large trial differ?"
readings = ["readings.parquet"]
[factors]
medium = ["film", "plate", "slate", "strop"]
[layout]
blocks = ["blade", "operator"]
[publishing]
invented = true
[[claim]]
id = "alike"
says = "Plate and strop read alike"
kind = "same"
medium = "plate"
than = "strop"
margin = "5 %"
[[claim]]
id = "keener"
says = "Film is keener than slate"
kind = "keener"
medium = "film"
than = "slate"
by = "10 %"
"""


def make_trial(folder: Path, edges: int, blades: int, operators: int) -> None:
    """Write an invented trial as Parquet and CSV, four to six cuts an edge, a batch of edges at a time."""
    rng = np.random.default_rng(SEED)
    spread = {"blade": rng.normal(0, 0.1, blades), "operator": rng.normal(0, 0.05, operators),
              "medium": [0, 0.1, 0.2, 0.1]}  # fmt: skip
    names = {"blade": [f"b{b:03d}" for b in range(blades)], "operator": [f"o{o:02d}" for o in range(operators)],
             "medium": MEDIA}  # fmt: skip
    writers = []
    for start in range(0, edges, BATCH):
        size = min(BATCH, edges - start)
        codes = {name: rng.integers(0, len(labels), size) for name, labels in names.items()}
        mean = 5 + rng.normal(0, 0.1, size) + sum(np.asarray(spread[name])[code] for name, code in codes.items())
        edge = np.repeat(np.arange(size), rng.choice([4, 5, 6], size, p=[0.1, 0.85, 0.05]))
        labels = [f"e{e:07d}" for e in range(start, start + size)]
        table = pa.table({
            "edge": pa.array(labels).take(pa.array(edge)),
            **{name: pa.array(names[name]).take(pa.array(code[edge])) for name, code in codes.items()},
            "reading": np.exp(mean[edge] + rng.normal(0, 0.08, edge.size)).round(1),
        })  # fmt: skip
        writers = writers or [pq.ParquetWriter(folder / "readings.parquet", table.schema),
                              pa.csv.CSVWriter(folder / "readings.csv", table.schema)]  # fmt: skip
        for writer in writers:
            writer.write_table(table)
    for writer in writers:
        writer.close()
    (folder / "trial.toml").write_text(PLAN)


def alone(work: str) -> tuple[int, float, float]:
    """Do something in a process of its own: what it found, seconds and peak memory in MB."""
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run([sys.executable, "-c", MEASURE.format(work=work)], check=True, capture_output=True,
                          text=True, env=environment)  # fmt: skip
    found, seconds, memory = json.loads(done.stdout)
    return int(found), float(seconds), float(memory)


def large_file(folder: Path, edges: int, blades: int = 200, operators: int = 50) -> pd.DataFrame:
    """Time and peak memory of each route, a row each, beside the plain group-by of the same file."""
    make_trial(folder, edges, blades, operators)
    rows = []
    for name in ("readings.parquet", "readings.csv"):
        path = str(folder / name)
        plain = alone(PLAIN.format(sums=SUMS.format(f"'{path}'")))
        rows.append((f"plain group-by, {name}", *plain, 1.0, 1.0))
        works = {"fit and contrasts": FIT.format(path=path)}
        if name.endswith(".parquet"):
            works["check, fit and claims"] = JUDGE.format(folder=str(folder))
        for what, work in works.items():
            found, seconds, memory = alone(work)
            rows.append((f"{what}, {name}", found, seconds, memory, seconds / plain[1], memory / plain[2]))
    return pd.DataFrame(rows, columns=["what", "found", "seconds", "MB", "time, ratio", "memory, ratio"])


def crossed(edges: int, cuts: int = 5) -> pd.DataFrame:
    """An unbalanced trial in memory: 20 blades and 10 operators crossed, a tenth of the cuts lost."""
    rng = np.random.default_rng(edges)
    edge = np.repeat(np.arange(edges), cuts)
    codes = {"medium": rng.integers(0, 4, edges)[edge]}
    y = 5 + rng.normal(0, 0.1, edges)[edge] + rng.normal(0, 0.1, edge.size)
    for name, levels in (("blade", 20), ("operator", 10)):
        codes[name] = rng.integers(0, levels, edges)[edge]
        y += rng.normal(0, 0.1, levels)[codes[name]]
    table = pd.DataFrame({"edge": edge, **codes, "y": y})
    return table.iloc[rng.permutation(edge.size)[: int(0.9 * edge.size)]].reset_index(drop=True)


def model(table: pd.DataFrame) -> MixedFit:
    return fit_mixed(table, response="y", fixed=["medium"], random=["blade", "operator", "edge"])


def solve(fit: MixedFit) -> None:
    """All that comes after the reduction: variances by REML, and what Kenward and Roger need."""
    fixed_effects(fit.reduced, maximise(fit.reduced))
    fit.contrasts("medium")


@dataclass(frozen=True)
class Cost:
    """Seconds of a whole fit with contrasts, and of what comes after the reduction, for each number of edges."""

    edges: np.ndarray
    whole: np.ndarray
    solving: np.ndarray

    @property
    def reducing(self) -> np.ndarray:
        return self.whole - self.solving

    def slope(self, seconds: np.ndarray) -> float:
        """Slope on a log-log plot, by least squares."""
        return float(np.polyfit(np.log(self.edges), np.log(seconds), 1)[0])


def cost(sizes: Sequence[int], repeats: int = 5) -> Cost:
    """Measure the cost for trials of several sizes."""
    from .timing import best

    whole, solving = [], []
    for edges in sizes:
        table = crossed(edges)
        fit = model(table)
        whole.append(best(lambda table=table: model(table).contrasts("medium"), repeats))
        solving.append(best(lambda fit=fit: solve(fit), repeats))
    return Cost(np.array(sizes, dtype=float), np.array(whole), np.array(solving))
