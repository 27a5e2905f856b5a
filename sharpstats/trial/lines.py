"""Where each key of a TOML text stands: `tomllib` reads the values and forgets the lines."""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left

KeyPath = tuple[str | int, ...]
"""Keys and places from the top of the file down: ``("claim", 0, "margin")``."""

_BLANK = re.compile(r"(?:[ \t\n]+|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\n]+")
_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"""(?:"{0,2})'  # up to two more quotes belong to the text
    r"|'''.*?'''(?:'{0,2})"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)


def key_lines(text: str) -> dict[KeyPath, int]:
    r"""Return the line of every key, table and list element of a TOML text.

    Parameters
    ----------
    text : str
        A text that `tomllib` accepts; anything else gives nonsense.

    Returns
    -------
    dict of path to int
        Lines count from 1. A list of tables is reached by its index, as in the parsed data.

    Examples
    --------
    >>> key_lines('title = "a"\n[[claim]]\nid = "b"\n')[("claim", 0, "id")]
    3
    """
    scanner = _Scanner(text.replace("\r\n", "\n"))
    scanner.scan()
    return scanner.lines


class _Scanner:
    """Walks once over the text and notes where each key begins."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[KeyPath, int] = {}
        self._ends = [match.start() for match in re.finditer("\n", text)]
        self._tables: dict[KeyPath, int] = {}  # how many elements each list of tables has so far

    def scan(self) -> None:
        here: KeyPath = ()
        while self._skip(_BLANK) < len(self.text):
            if self._looking_at("[["):
                here = self._header(brackets=2)
            elif self._looking_at("["):
                here = self._header(brackets=1)
            else:
                self._pair(here)

    def _header(self, *, brackets: int) -> KeyPath:
        line = self._line()
        self._skip_mark(brackets)
        keys = self._key()
        self._skip_mark(brackets)
        path: KeyPath = ()
        for place, key in enumerate(keys, start=1):
            path = self._note((*path, key), line)
            if brackets == 2 and place == len(keys):
                self._tables[path] = self._tables.get(path, 0) + 1
            if path in self._tables:
                path = self._note((*path, self._tables[path] - 1), line)
        return path

    def _pair(self, path: KeyPath) -> None:
        line = self._line()
        for key in self._key():
            path = self._note((*path, key), line)
        self._skip_mark(1)  # the equals sign
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        if self._looking_at("["):
            self._list(path)
        elif self._looking_at("{"):
            self._inline_table(path)
        else:
            self._skip(_STRING if self.text[self.at] in "\"'" else _SCALAR)

    def _list(self, path: KeyPath) -> None:
        self._skip_mark(1)
        index = 0
        while self._skip(_BLANK) and not self._looking_at("]"):
            self._value(self._note((*path, index), self._line()))
            index += 1
            self._skip_comma()
        self.at += 1

    def _inline_table(self, path: KeyPath) -> None:
        self._skip_mark(1)
        while self._skip(_BLANK) and not self._looking_at("}"):
            self._pair(path)
            self._skip_comma()
        self.at += 1

    def _key(self) -> list[str]:
        """Read a key, dotted or not, and the space after it."""
        parts = [self._key_part()]
        while self._looking_at("."):
            self._skip_mark(1)
            parts.append(self._key_part())
        return parts

    def _key_part(self) -> str:
        start = self.at
        quoted = self.text[start] in "\"'"
        raw = self.text[start : self._skip(_STRING if quoted else _BARE)]
        self._skip(_SPACE)
        return str(tomllib.loads(f"key = {raw}")["key"]) if quoted else raw

    def _note(self, path: KeyPath, line: int) -> KeyPath:
        self.lines.setdefault(path, line)
        return path

    def _line(self) -> int:
        return bisect_left(self._ends, self.at) + 1

    def _looking_at(self, mark: str) -> bool:
        return self.text.startswith(mark, self.at)

    def _skip(self, pattern: re.Pattern[str]) -> int:
        match = pattern.match(self.text, self.at)
        self.at = match.end() if match else len(self.text)
        return self.at

    def _skip_mark(self, length: int) -> None:
        self.at += length
        self._skip(_SPACE)

    def _skip_comma(self) -> None:
        self._skip(_BLANK)
        if self._looking_at(","):
            self.at += 1
