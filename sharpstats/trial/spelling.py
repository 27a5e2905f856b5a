"""Words for choices: quoted values, lists of what is allowed, and "did you mean"."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable

LONGEST = 60
"""Texts longer than this are cut when they are quoted in a message."""


def quoted(value: object) -> str:
    """Return a value as it would stand in a plan, on one line and not too long.

    Examples
    --------
    >>> quoted("oilstone"), quoted(True), quoted(0.05), quoted(["a", "b"])
    ('"oilstone"', 'true', '0.05', '["a", "b"]')
    """
    match value:
        case str():
            return json.dumps(shortened(value), ensure_ascii=False)
        case bool():
            return str(value).lower()
        case int() if abs(value) >= 10**LONGEST:  # Python refuses to write out very long numbers
            return "a very large number"
        case dict():
            return "a table"
        case list():
            return shortened(f"[{', '.join(quoted(element) for element in value)}]")
        case _:
            return shortened(str(value))


def shortened(text: str) -> str:
    """Return the text, cut where it is too long for a message.

    Examples
    --------
    >>> len(shortened(100 * "a"))
    60
    """
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…"


def tidy(text: str) -> str:
    """Return a name without space around it and with single spaces inside.

    Examples
    --------
    >>> tidy(" roofing  slate ")
    'roofing slate'
    """
    return " ".join(text.split())


def listed(options: Iterable[object], *, last: str = "or") -> str:
    """Return the options quoted, in one line.

    Examples
    --------
    >>> listed(["gf", "N"])
    '"gf" or "N"'
    """
    *first, final = [quoted(option) for option in options]
    return f"{', '.join(first)} {last} {final}" if first else final


def counted(number: int, noun: str) -> str:
    """Return a number of things.

    Examples
    --------
    >>> counted(1, "level"), counted(2, "level")
    ('1 level', '2 levels')
    """
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def closest(word: str, options: Iterable[str]) -> str | None:
    """Return the option that was probably meant, or None.

    Capitals do not matter, and a part of a name is enough where only one option has it.

    Examples
    --------
    >>> closest("Slate", ["oilstone", "roofing slate"])
    'roofing slate'
    """
    known = {option.casefold(): option for option in options}
    sought = word[:LONGEST].casefold().strip()
    if not sought:
        return None
    holding = [key for key in known if sought in key]
    near = difflib.get_close_matches(sought, known, n=1) or (holding if len(holding) == 1 else [])
    return known[near[0]] if near else None


def did_you_mean(word: str, options: Iterable[str]) -> str:
    """Return a question that proposes the nearest option; empty if none is near.

    Examples
    --------
    >>> did_you_mean("hom", ["holm", "none"])
    'Did you mean "holm"?'
    """
    meant = closest(word, options)
    return f"Did you mean {quoted(meant)}?" if meant else ""


def suggest(word: str, options: Iterable[str]) -> str:
    """Return the mend for a word that is none of the options.

    Examples
    --------
    >>> suggest("oilstne", ["oilstone", "slate"])
    'Did you mean "oilstone"? Known: "oilstone", "slate".'
    >>> suggest("paper", ["oilstone"])
    'Known: "oilstone".'
    """
    known = tuple(options)
    if not known:
        return ""
    return f"{did_you_mean(word, known)} Known: {', '.join(quoted(option) for option in known)}.".lstrip()
