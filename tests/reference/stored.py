"""Read the stored reference files. Numbers meant as text stay text until they are asked for."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any

import pandas as pd

FOLDER = Path(__file__).parent


@lru_cache
def stored_json(name: str) -> dict[str, Any]:
    """One of the JSON files, for example ``r/lmm_oats``."""
    found: dict[str, Any] = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    return found


@lru_cache
def stored_text(name: str) -> pd.DataFrame:
    """One of the CSV files, every cell as its printed text."""
    return pd.read_csv(FOLDER / f"{name}.csv", dtype=str, keep_default_na=False)


@lru_cache
def stored_table(name: str) -> pd.DataFrame:
    """One of the CSV files, columns of numbers as the nearest doubles."""
    text = stored_text(name)
    return text.assign(**{column: text[column].astype(float) for column in text if _is_numeric(text[column])})


def _is_numeric(column: pd.Series) -> bool:
    try:
        column.astype(float)
    except ValueError:
        return False
    return True
