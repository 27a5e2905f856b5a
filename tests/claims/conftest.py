"""Small trials to judge: readings are drawn here, plans are written here."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import sharpstats as ss
from sharpstats.trial.trial import Trial

Claim = Mapping[str, Any]
MEDIA = ("film", "slate", "stone")


def draw_table(
    means: Mapping[str, float] | None = None,
    *,
    blades: Sequence[str] = ("b1", "b2", "b3", "b4"),
    edges: int = 2,
    cuts: int = 3,
    seed: int = 1,
    sd: tuple[float, float, float] = (0.06, 0.08, 0.05),
    **others: Mapping[str, str] | Sequence[str],
) -> pd.DataFrame:
    """Draw a table of readings: every medium on every blade.

    Parameters
    ----------
    means : mapping of str to float
        Medium -> typical reading, in gf.
    sd : tuple of float
        Between blades, edges and cuts, on the log scale.
    **others
        Further columns: a mapping says which blade has which level, a sequence gives every
        level to each blade.
    """
    rng = np.random.default_rng(seed)
    means = means or dict.fromkeys(MEDIA, 150.0)
    crossed = {name: levels for name, levels in others.items() if not isinstance(levels, Mapping)}
    of_blade = {name: levels for name, levels in others.items() if isinstance(levels, Mapping)}
    rows: list[dict[str, Any]] = []
    blade_effects = dict(zip(blades, rng.normal(0, sd[0], len(blades)), strict=True))
    cells = itertools.product(blades, means, *crossed.values(), range(edges))
    for number, (blade, medium, *levels, _) in enumerate(cells, start=1):
        typical = np.log(means[medium]) + blade_effects[blade] + rng.normal(0, sd[1])
        known = dict(zip(crossed, levels, strict=True)) | {name: each[blade] for name, each in of_blade.items()}
        for cut, error in enumerate(rng.normal(0, sd[2], cuts), start=1):
            rows.append({"run": number, "edge": f"e{number:02d}", "cut": cut, "medium": medium, "blade": blade, **known,
                         "reading": round(float(np.exp(typical + error)), 3)})  # fmt: skip
    return pd.DataFrame(rows)


def plan_text(
    table: pd.DataFrame,
    claims: Sequence[Claim],
    *,
    factors: Sequence[str] = (),
    layout: Mapping[str, Any] | None = None,
    levels: Mapping[str, Sequence[str]] | None = None,
    **keys: Any,
) -> str:
    """Write a plan for a table: its media, the factors named, blades as blocks.

    `levels` names levels of factors that the table need not hold.
    """
    found = {name: sorted(set(table[name].astype(str))) for name in ("medium", *factors)} | dict(levels or {})
    lines = [
        *_pairs({"title": "A made trial"} | keys),
        "[factors]", *_pairs(found),
        "[layout]", *_pairs({"blocks": ["blade"]} | dict(layout or {})),
    ]  # fmt: skip
    for number, claim in enumerate(claims, start=1):
        lines += ["[[claim]]", *_pairs({"id": f"claim-{number}", "says": "A claim"} | dict(claim))]
    return "\n".join(lines) + "\n"


def _pairs(table: Mapping[str, Any]) -> list[str]:
    return [f"{key} = {_toml(value)}" for key, value in table.items()]


def _toml(value: Any) -> str:
    if isinstance(value, Mapping):
        return f"{{ {', '.join(_pairs(value))} }}"
    return json.dumps(value, ensure_ascii=False)


OpenMade = Callable[..., Trial]


@pytest.fixture(scope="session")
def draw() -> Callable[..., pd.DataFrame]:
    """The function that draws a table of readings."""
    return draw_table


@pytest.fixture(scope="session")
def open_made(tmp_path_factory: pytest.TempPathFactory) -> OpenMade:
    """Write a table and a plan for it into a new folder, and open the trial."""

    def made(
        table: pd.DataFrame, claims: Sequence[Claim], *, suffix: str = ".csv", parts: int = 1, **plan: Any
    ) -> Trial:
        folder: Path = tmp_path_factory.mktemp("trial")
        names = [f"readings{part or ''}{suffix}" for part in range(parts)]
        pieces = [table.iloc[rows] for rows in np.array_split(np.arange(len(table)), parts)]
        for name, piece in zip(names, pieces, strict=True):
            _write(piece, folder / name)
        text = plan_text(table, claims, readings=names, **plan)
        (folder / "trial.toml").write_text(text, encoding="utf-8")
        return ss.open_trial(folder)

    return made


def _write(table: pd.DataFrame, path: Path) -> None:
    if path.suffix == ".csv":
        table.to_csv(path, index=False)
    else:
        table.to_excel(str(path), index=False)  # given a Path, pandas writes XLSX whatever its ending
