"""Invented tester studies."""

from __future__ import annotations

import numpy as np
import pandas as pd

SDS = {"operator": 0.04, "both": 0.03, "edge": 0.2, "cut": 0.06}


def crossed(
    seed: int = 1, *, operators: int = 3, edges: int = 8, cuts: int = 4, level: float = 150.0,
    operator: float = 0.04, both: float = 0.03, edge: float = 0.2, cut: float = 0.06,
) -> pd.DataFrame:  # fmt: skip
    """Every operator cuts every edge so many times; SDs are of the logarithm."""
    rng = np.random.default_rng(seed)
    o, e, c = np.indices((operators, edges, cuts)).reshape(3, -1)
    log = (
        np.log(level) + operator * rng.standard_normal(operators)[o] + edge * rng.standard_normal(edges)[e]
        + both * rng.standard_normal((operators, edges))[o, e] + cut * rng.standard_normal(o.size)
    )  # fmt: skip
    return pd.DataFrame({"operator": [f"p{i}" for i in o], "edge": [f"e{i}" for i in e], "cut": c + 1,
                         "reading": np.exp(log)})  # fmt: skip


def nested(seed: int = 1, *, operators: int = 3, edges: int = 5, cuts: int = 3) -> pd.DataFrame:
    """Each operator cuts edges of his own."""
    table = crossed(seed, operators=operators, edges=edges, cuts=cuts, edge=0.0, both=0.2)
    return table.assign(edge=table["operator"] + table["edge"])
