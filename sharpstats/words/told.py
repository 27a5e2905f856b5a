"""`blocks`: a result told once, for every output. `display.py` says which words belong to which result."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import singledispatch
from typing import Any

import pandas as pd

from sharpstats.words.blocks import Block, Line, Table
from sharpstats.words.onfit import notes_blocks


@singledispatch
def blocks(result: Any) -> Iterator[Block]:
    """Tell a result as blocks; one without words of its own is shown as its `.table` with its notes."""
    name = " ".join(re.findall("[A-Z][a-z]*", type(result).__name__)).capitalize()
    table = getattr(result, "table", None)
    if isinstance(table, pd.DataFrame):
        yield Table(table, name)
    else:
        yield Line(name)
    yield from notes_blocks(getattr(result, "notes", ()))
