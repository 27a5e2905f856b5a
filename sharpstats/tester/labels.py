"""Labels of shops, lots and batches: their order, and how one is called in a sentence."""

from __future__ import annotations

import re


def natural(label: str) -> list[tuple[int, int, str]]:
    """Return a key that puts shop 10 after shop 2.

    Examples
    --------
    >>> sorted(["shop 10", "shop 2"], key=natural)
    ['shop 2', 'shop 10']
    """
    return [(0, int(part), part) if part.isdecimal() else (1, 0, part) for part in re.split(r"(\d+)", label) if part]


def called(kind: str, label: str) -> str:
    """Return a label with what it is, unless it says so itself.

    Examples
    --------
    >>> called("shop", "A"), called("Shop", "shop 3"), called("lot", "lotus")
    ('shop A', 'Shop 3', 'lot lotus')
    """
    bare = re.sub(rf"^{kind}(\s+|$)", "", label, flags=re.IGNORECASE)
    return f"{kind} {bare}" if bare else label
