"""Invented layouts for tests: small and unbalanced for the dense formulas, balanced for mean squares."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pandas as pd

from reference.dense import Dense, same_level
from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.trial.trial import Trial, open_trial


def unbalanced(seed: int, *, media: int = 3, blades: int = 5, days: int = 3, edges: int = 18) -> pd.DataFrame:
    """Edges spread at random over media, blades and days, one to four cuts each.

    `start` is constant within an edge, `position` is not.
    """
    rng = np.random.default_rng(seed)
    edge = np.arange(edges)
    table = pd.DataFrame({
        "edge": [f"e{i:02d}" for i in edge],
        "medium": np.array([f"m{i}" for i in range(media)])[(edge + rng.integers(0, 2, edges)) % media],
        "steel": np.array(["carbon", "stainless"])[rng.permutation(edge % 2)],
        "blade": np.array([f"b{i}" for i in range(blades)])[rng.permutation(edge % blades)],
        "day": np.array([f"d{i}" for i in range(days)])[rng.permutation(edge % days)],
        "start": rng.normal(500, 40, edges).round(),
        "own": rng.normal(0, 0.2, edges),
    })  # fmt: skip
    table = table.loc[np.repeat(edge, rng.integers(1, 5, edges))].reset_index(drop=True)
    table["position"] = rng.uniform(0, 60, len(table)).round(1)
    blade, day = (table[name].str[1:].astype(int).to_numpy() for name in ("blade", "day"))
    table["y"] = (
        5 + 0.1 * table["medium"].str[1:].astype(int) + 0.001 * table["position"] + table["own"]
        + rng.normal(0, 0.3, blades)[blade] + rng.normal(0, 0.2, days)[day] + rng.normal(0, 0.25, len(table))
    )  # fmt: skip
    return table


def crossed(
    rng: np.random.Generator, *, media: int = 3, blades: int = 4, edges: int = 2, cuts: int = 3,
    sd: tuple[float, float, float, float] = (0.3, 0.2, 0.2, 0.1),
) -> pd.DataFrame:  # fmt: skip
    """Every blade with every medium, so many edges each and so many cuts on each.

    `sd` belongs to blade, blade x medium, edge and cut.
    """
    medium, blade, edge, cut = np.indices((media, blades, edges, cuts)).reshape(4, -1)
    cell = medium * blades + blade
    return pd.DataFrame({
        "medium": [f"m{i}" for i in medium],
        "blade": [f"b{i}" for i in blade],
        "edge": [f"e{i}" for i in cell * edges + edge],
        "y": 5 + 0.2 * medium + sd[0] * rng.standard_normal(blades)[blade]
             + sd[1] * rng.standard_normal(cell.max() + 1)[cell]
             + sd[2] * rng.standard_normal((cell.max() + 1) * edges)[cell * edges + edge]
             + sd[3] * rng.standard_normal(len(cut)),
    })  # fmt: skip


def nested(rng: np.random.Generator, *, media: int = 3, blades: int = 3, edges: int = 3, cuts: int = 2,
           sd: tuple[float, float, float] = (0.3, 0.2, 0.1)) -> pd.DataFrame:  # fmt: skip
    """Blades of their own for each medium. `sd` belongs to blade, edge and cut."""
    table = crossed(rng, media=media, blades=blades, edges=edges, cuts=cuts, sd=(0.0, *sd))
    return table.assign(blade=table["medium"] + table["blade"])


def design(table: pd.DataFrame, *columns: str) -> np.ndarray:
    """X against each first level, made from the labels alone; a column of numbers is a covariate."""
    parts = [np.ones((len(table), 1))]
    for name in columns:
        values = table[name]
        if values.dtype.kind == "f":
            parts.append(values.to_numpy()[:, None])
        else:
            parts.append(np.column_stack([(values == level) for level in sorted(values.unique())[1:]]).astype(float))
    return np.column_stack(parts)


def both(table: pd.DataFrame, fixed: list[str], random: list[str | tuple[str, str]],
         covariates: tuple[str, ...] = (), spread_by: str | None = None
         ) -> tuple[MixedFit, Dense, list[int]]:  # fmt: skip
    """Our fit, the dense formulas at its variances, and the place of each of their variances in ours."""
    fit = fit_mixed(table, response="y", fixed=fixed, random=random, covariates=covariates, spread_by=spread_by)
    structure, g = fit.structure, []
    for k, term in enumerate((*structure.kept, ())):
        own = np.eye(len(table)) if not term else same_level(table[list(term)].agg(" ".join, axis=1).tolist())
        differs = k == (len(structure.kept) if structure.own is None else structure.own)
        there = [(table[spread_by] == level).to_numpy() for level in structure.levels] if differs else []
        g += [own * level[:, None] for level in there] or [own]
    places = fit.structure.positions
    return fit, Dense(table["y"].to_numpy(), design(table, *fixed), g, fit.optimum.variances[places]), places


def made_trial(folder: Path, table: pd.DataFrame, *, blocks: Sequence[str] = ("blade",), files: int = 1,
               factors: Sequence[str] = (), plan: Mapping[str, str] = MappingProxyType({})) -> Trial:  # fmt: skip
    """Write a trial folder with the readings in so many files, and open it."""
    folder.mkdir()
    names = [f"part{i}.csv" for i in range(files)]
    lines = ['title = "Made"', f"readings = {json.dumps(names)}"]
    lines += [f"{key} = {json.dumps(value)}" for key, value in plan.items()]
    lines.append("[factors]")
    lines += [f"{name} = {json.dumps(sorted(table[name].unique()))}" for name in ("medium", *factors)]
    lines += ["[layout]", f"blocks = {json.dumps(list(blocks))}"]
    (folder / "trial.toml").write_text("\n".join(lines), encoding="utf-8")
    for name, rows in zip(names, np.array_split(np.arange(len(table)), files), strict=True):
        table.iloc[rows].to_csv(folder / name, index=False)
    return open_trial(folder)


def as_readings(table: pd.DataFrame, factor: float = 1.0) -> pd.DataFrame:
    """Readings in gf (times a factor) from a response on the log scale, with cuts numbered."""
    numbered = table.assign(cut=table.groupby("edge").cumcount() + 1)
    return numbered.assign(reading=np.exp(table["y"]).round(6) * factor).drop(columns="y")
