"""Labels as people wrote them, made fit for a sentence, a cell or an axis: one line, not too long."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

LONGEST = 60
"""Labels longer than this are cut in a sentence. Tables and files keep them whole."""

_SPACE = re.compile("[^\\S\u00a0]+")  # a no-break space holds a number and its unit together
_UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
_JOINERS = "\u200d\u200c"
"""Invisible, but part of how emoji and some scripts are written."""


def one_line(text: object) -> str:
    r"""Return a text on one line, without characters that steer a terminal or turn the writing round.

    Examples
    --------
    >>> one_line("slate\n (old)\x1b[31m")
    'slate (old)[31m'
    """
    spaced = _SPACE.sub(" ", str(text))
    seen = "".join(sign for sign in spaced if sign in _JOINERS or unicodedata.category(sign) not in _UNSEEN)
    return _SPACE.sub(" ", seen).strip()


def clip(text: object, longest: int = LONGEST) -> str:
    """Return a label on one line, cut at the end where it is too long.

    Examples
    --------
    >>> clip("roofing slate"), clip("a very long name of a stone", 12)
    ('roofing slate', 'a very long…')
    """
    line = one_line(text)
    return line if len(line) <= longest else f"{line[: longest - 1].rstrip()}…"


def listing(parts: Sequence[str], last: str = "and") -> str:
    """Join parts as one would say them.

    Examples
    --------
    >>> listing(["film"]), listing(["film", "slate"]), listing(["film", "slate", "plate"])
    ('film', 'film and slate', 'film, slate and plate')
    """
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} {last} {parts[-1]}"


def sentence(text: str) -> str:
    """Begin with a capital and end with a stop, and leave the rest as it is.

    Examples
    --------
    >>> sentence("lapping film reads 3 gf lower"), sentence("Why?")
    ('Lapping film reads 3 gf lower.', 'Why?')
    """
    return text if not text else f"{text[0].upper()}{text[1:]}{'' if text[-1] in '.?!' else '.'}"


def cell_width(text: str) -> int:
    """Return how many columns of a terminal a text takes.

    Examples
    --------
    >>> cell_width("slate"), cell_width("砥石")
    (5, 4)
    """
    return sum(_sign_width(sign) for sign in text)


def _sign_width(sign: str) -> int:
    if sign in _JOINERS or unicodedata.combining(sign):
        return 0
    return 2 if unicodedata.east_asian_width(sign) in "WF" else 1
