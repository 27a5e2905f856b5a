"""Results as plain data, and plain data as JSON that any program reads."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, is_dataclass
from typing import Any


def plain(value: Any) -> Any:
    """Turn a value into what JSON knows: no NaN, no infinity, no arrays, no classes.

    Examples
    --------
    >>> plain({"p": float("nan"), "edges": (1, 2)})
    {'p': None, 'edges': [1, 2]}
    """
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return plain(asdict(value))
    if hasattr(value, "tolist"):  # numpy scalars and arrays
        return plain(value.tolist())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, Iterable):
        return [plain(item) for item in value]
    raise TypeError(f"results.json cannot hold a {type(value).__name__}")


def records(table: Any) -> list[dict[str, Any]]:
    """Return a table as a dictionary for each row."""
    found: list[dict[str, Any]] = table.to_dict("records")
    return found


def to_json(content: Any) -> str:
    r"""Write plain data as strict JSON text that differs between two runs only where a value does.

    Examples
    --------
    >>> to_json([])
    '[]\n'
    """
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
