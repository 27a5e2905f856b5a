"""One value of the plan with its place, and the plain kinds of value it may have.

A reader takes an `Item` and returns the value, or raises a `PlanError` with what is wrong.
Tables and lists catch it, keep it and go on, so that one pass finds all mistakes of a file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from sharpstats.errors import PlanError, Problem
from sharpstats.trial.lines import KeyPath
from sharpstats.trial.spelling import quoted, suggest, tidy

T = TypeVar("T")

_TYPES: tuple[tuple[type, str], ...] = (
    (str, "text"),
    (bool, "true or false"),
    (int, "a number"),
    (float, "a number"),
    (list, "a list"),
    (dict, "a table"),
)
@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One value of the plan, its place, and the list to which its mistakes go.

    Attributes
    ----------
    raw : object
        The value as TOML gives it.
    path : tuple of str or int
        Where it stands.
    example : str
        How its key is written when it is right; empty where there is none to show.
    file : str
    lines : mapping of path to int
    problems : list of Problem
        Shared by all items of a file; the only thing that changes.
    """

    raw: Any
    path: KeyPath = ()
    example: str = ""
    file: str = ""
    lines: Mapping[KeyPath, int]
    problems: list[Problem]

    @property
    def name(self) -> str:
        """The nearest key, for use in a sentence."""
        return next((part for part in reversed(self.path) if isinstance(part, str)), "")

    @property
    def line(self) -> int:
        """Line of the item, or else of what it stands in."""
        for length in range(len(self.path), 0, -1):
            if self.path[:length] in self.lines:
                return self.lines[self.path[:length]]
        return 1

    @property
    def key(self) -> str:
        """The place in words: ``layout.blocks``, or ``claim 2, margin``."""
        if self.path[:1] == ("claim",) and len(self.path) > 1 and isinstance(self.path[1], int):
            return ", ".join([f"claim {self.path[1] + 1}", *_dotted(self.path[2:])])
        return "".join(_dotted(self.path))

    def child(self, key: str | int, *, example: str = "") -> Item:
        """Return the item inside this one."""
        return replace(self, raw=self.raw[key], path=(*self.path, key), example=example)

    def children(self) -> Iterable[Item]:
        """Return the items of a list or table, in order."""
        keys = self.raw if isinstance(self.raw, dict) else range(len(self.raw))
        return [self.child(key) for key in keys]

    def wrong(self, code: str, says: str, mend: str = "", *, missing: str = "") -> PlanError:
        """Make the error that says what is wrong here; `missing` names a key that a table lacks."""
        place = replace(self, path=(*self.path, missing)).key if missing else self.key
        value = "" if missing else self.raw if isinstance(self.raw, str) else quoted(self.raw)
        return PlanError.gather(
            [Problem(code=code, says=says, mend=mend, file=self.file, line=self.line, key=place, value=value)]
        )

    def wrong_type(self, wanted: str) -> PlanError:
        """Make the error for a value of the wrong type."""
        found = next((words for kind, words in _TYPES if isinstance(self.raw, kind)), "a date or time")
        return self.wrong("wrong-type", f"`{self.name}` must be {wanted}, not {found}.", self.hint)

    def report(self, error: PlanError) -> None:
        """Keep a mistake and go on."""
        self.problems.extend(error.problems)

    def attempt(self, read: Callable[[Item], T]) -> T | None:
        """Read the value, or keep what is wrong with it and return None."""
        try:
            return read(self)
        except PlanError as error:
            self.report(error)
            return None

    def attempt_whole(self, read: Callable[[Item], T]) -> T | None:
        """Read the value, or keep what is wrong and return None even if only a part of it is."""
        before = len(self.problems)
        value = self.attempt(read)
        return value if len(self.problems) == before else None

    @property
    def hint(self) -> str:
        """The mend that shows how the key is written."""
        return f"Write for example: {self.example}" if self.example else ""


def _dotted(path: KeyPath) -> list[str]:
    text = ".".join(part if isinstance(part, str) else f"[{part + 1}]" for part in path)
    return [text.replace(".[", "[")] if text else []


Complaint = Callable[[Item], PlanError]


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """A key that a table may have, and how its value is read.

    Attributes
    ----------
    name : str
    read : callable
        Takes the `Item` and returns the value, or raises a `PlanError`.
    example : str
        The value as it may stand after the equals sign.
    required : bool
    """

    name: str
    read: Callable[[Item], Any]
    example: str
    required: bool = False

    @property
    def line(self) -> str:
        """The key as it may stand in the file."""
        return f"{self.name} = {self.example}"


def read_table(item: Item, keys: Iterable[Key], *, unknown: Complaint | None = None) -> dict[str, Any]:
    """Read the keys of a table; keep what is wrong with those unknown, missing or unreadable.

    Parameters
    ----------
    item : Item
        The table.
    keys : iterable of Key
        What the table may have.
    unknown : callable, optional
        Makes the error for a key that is not among them; the default proposes the nearest.

    Returns
    -------
    dict
        The values that could be read.
    """
    known = {key.name: key for key in keys}
    complain = unknown or (lambda child: unknown_key(child, known))
    found: dict[str, Any] = {}
    for name in item.raw:
        if name not in known:
            item.report(complain(item.child(name)))
            continue
        value = item.child(name, example=known[name].line).attempt(known[name].read)
        if value is not None:
            found[name] = value
    for key in known.values():
        if key.required and key.name not in item.raw:
            item.report(missing_key(item, key))
    return found


def unknown_key(item: Item, known: Iterable[str]) -> PlanError:
    """Make the error for a key that the table does not have."""
    return item.wrong("unknown-key", f"There is no key {quoted(item.name)} here.", suggest(item.name, known))


def missing_key(item: Item, key: Key) -> PlanError:
    """Make the error for a key that the table lacks."""
    return item.wrong(
        "missing-key", f"`{key.name}` is missing.", f"Write for example: {key.line}", missing=key.name
    )


def list_of(read: Callable[[Item], T | None]) -> Callable[[Item], tuple[T, ...]]:
    """Make a reader of a list; what cannot be read is kept as a mistake and left out."""

    def read_list(item: Item) -> tuple[T, ...]:
        if not isinstance(item.raw, list):
            raise item.wrong_type("a list")
        found = [replace(child, example=item.example).attempt(read) for child in item.children()]
        return tuple(value for value in found if value is not None)

    return read_list


def report_repeats(items: Iterable[Item], code: str, mend: str, *, same: Callable[[Any], object]) -> None:
    """Keep a mistake for each item that repeats an earlier one.

    `same` gives what two items must share to be the same; None is never the same.
    """
    seen: dict[object, Item] = {}
    for item in items:
        mark = same(item.raw)
        first = item if mark is None else seen.setdefault(mark, item)
        if first is not item:
            says = f"{quoted(item.raw)} stands here twice: first in line {first.line}."
            item.report(item.wrong(code, says, mend))


def folded(raw: Any) -> str | None:
    """Return a name in the form in which names are the same: spaces and capitals do not count."""
    return tidy(raw).casefold() if isinstance(raw, str) else None
