"""Invented tester studies for tests: folders with cuts on edges, and what is true in them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd


def cuts_on_edges(
    seed: int, *, operators: int = 3, edges: int = 8, cuts: int = 4, sd: tuple[float, float, float] = (0.03, 0.3, 0.09)
) -> pd.DataFrame:
    """Every operator cuts every edge so often, in random order; readings in gf.

    `sd` belongs to operator, edge and cut, on the log scale.
    """
    rng = np.random.default_rng(seed)
    operator, edge, cut = np.indices((operators, edges, cuts)).reshape(3, -1)
    value = 5 + sd[0] * rng.standard_normal(operators)[operator] + sd[1] * rng.standard_normal(edges)[edge]
    return pd.DataFrame({
        "run": rng.permutation(operator.size) + 1,
        "edge": [f"e{i}" for i in edge],
        "operator": [f"o{i}" for i in operator],
        "cut": cut + 1,
        "reading": np.exp(value + sd[2] * rng.standard_normal(operator.size)).round(1),
    })  # fmt: skip


def made_study(folder: Path, table: pd.DataFrame | None = None, plan: str = "", **others: pd.DataFrame) -> Path:
    """Write the folder of a tester study with its tables, and return it."""
    folder.mkdir(parents=True)
    (folder / "tester.toml").write_text(f'title = "Made"\n{plan}', encoding="utf-8")
    for name, rows in {"readings": cuts_on_edges(1) if table is None else table, **others}.items():
        rows.to_csv(folder / f"{name}.csv", index=False)
    return folder
