"""Make cells harmless that a spreadsheet program would run as a formula, and undo it.

A text that begins with ``= + - @``, a tab or a line break (and is no plain number) gets an apostrophe in
front, as does a text that begins with apostrophes and then one of these; reading takes one apostrophe
away again. So every text comes back as it was.
"""

from __future__ import annotations

import re

import pandas as pd

STARTS = "=+\\-@\\t\\r\\n＝＋－＠"
_NUMBER = re.compile(r"^[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?$")
_RISKY = re.compile(f"^'*[{STARTS}]")
_GUARDED = f"^'('*[{STARTS}])"


def guard(text: str) -> str:
    """Return the text as it can be opened safely in a spreadsheet program.

    Examples
    --------
    >>> guard("=1+1"), guard("-5"), guard("lapping film")
    ("'=1+1", '-5', 'lapping film')
    """
    return f"'{text}" if _RISKY.match(text) and not _NUMBER.match(text) else text


def unguard(text: str) -> str:
    """Return the text that `guard` was given.

    Examples
    --------
    >>> unguard("'=1+1"), unguard("'152")
    ('=1+1', "'152")
    """
    return re.sub(_GUARDED, r"\1", text)


def guard_column(texts: pd.Series) -> pd.Series:
    """Guard a whole column of text."""
    risky = texts.str.match(_RISKY) & ~texts.str.match(_NUMBER)
    return texts.where(~risky, "'" + texts) if risky.any() else texts


def unguard_column(texts: pd.Series) -> pd.Series:
    """Undo `guard_column`."""
    guarded = texts.str.startswith("'")
    if not guarded.any():
        return texts
    return texts.where(~guarded, texts[guarded].map(unguard).reindex(texts.index))
