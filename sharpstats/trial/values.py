"""The plain kinds of value that a plan may hold, each with its reader."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from math import isfinite

from sharpstats.errors import PlanError
from sharpstats.trial.item import Item
from sharpstats.trial.spelling import did_you_mean, listed, quoted, tidy
from sharpstats.units import ForceUnit, Quantity, Unit, parse_quantity

LARGEST = 2**63 - 1
"""The largest whole number of TOML."""

_NUMBER = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?)\s*(\S*)\s*", re.DOTALL)


def table(item: Item) -> Item:
    """Read a table: its keys are read later."""
    if not isinstance(item.raw, dict):
        raise item.wrong_type("a table")
    return item


def text(item: Item) -> str:
    """Read a text that is not blank; space around it and double space inside it do not count."""
    value = tidy(any_text(item))
    if not value:
        raise item.wrong("blank", f"`{item.name}` is blank.", item.hint)
    return value


def any_text(item: Item) -> str:
    """Read a text that may be blank."""
    if not isinstance(item.raw, str):
        raise item.wrong_type("text in quotes")
    return item.raw.strip()


def yes_no(item: Item) -> bool:
    """Read true or false."""
    if not isinstance(item.raw, bool):
        raise item.wrong_type("true or false, without quotes")
    return item.raw


def number_between(low: float, high: float) -> Callable[[Item], float]:
    """Make a reader of a number between two limits, neither of them allowed."""

    def read(item: Item) -> float:
        if isinstance(item.raw, bool) or not isinstance(item.raw, int | float):
            raise item.wrong_type("a number without quotes")
        if not low < item.raw < high:
            says = f"`{item.name}` must lie between {low:g} and {high:g}; it is {quoted(item.raw)}."
            raise item.wrong("out-of-range", says, item.hint)
        return float(item.raw)

    return read


def whole_number(at_least: int) -> Callable[[Item], int]:
    """Make a reader of a whole number with a lower limit, itself allowed."""

    def read(item: Item) -> int:
        if isinstance(item.raw, bool) or not isinstance(item.raw, int):
            raise item.wrong_type("a whole number without quotes")
        if not at_least <= item.raw <= LARGEST:
            says = f"`{item.name}` must be a whole number from {at_least} up; it is {quoted(item.raw)}."
            raise item.wrong("out-of-range", says, item.hint)
        return item.raw

    return read


def choice(options: Iterable[str]) -> Callable[[Item], str]:
    """Make a reader of one of a few texts."""
    allowed = tuple(options)

    def read(item: Item) -> str:
        value = text(item)
        if value not in allowed:
            says = f"`{item.name}` must be {listed(allowed)}; it is {quoted(value)}."
            raise item.wrong(f"unknown-{item.name}", says, did_you_mean(value, allowed) or item.hint)
        return value

    return read


def quantity(item: Item, unit: Unit) -> Quantity:
    """Read a number with its unit; `unit` is the one to propose where it is missing."""
    if isinstance(item.raw, int | float) and not isinstance(item.raw, bool):
        raise item.wrong("no-unit", f"{quoted(item.raw)} has no unit.", f'Write "{quoted(item.raw)} {unit}".')
    value = text(item)
    found = parse_quantity(value)
    if found is None or not isfinite(found.value):
        raise _not_a_quantity(item, value, unit)
    return found


def _not_a_quantity(item: Item, value: str, unit: Unit) -> PlanError:
    match = _NUMBER.fullmatch(value)
    if match is None or parse_quantity(value) is not None:
        return item.wrong("not-a-number", f"{quoted(value)} is not a number with a unit.", item.hint)
    number, found = match.groups()
    if not found:
        return item.wrong("no-unit", f"{quoted(value)} has no unit.", f'Write "{number} {unit}".')
    says = f"{quoted(found)} is not a unit known here; known are {listed(('gf', 'N', '%'), last='and')}."
    return item.wrong("unknown-unit", says, item.hint)


def force(item: Item, unit: ForceUnit) -> Quantity:
    """Read a force above zero and give it in the plan's unit."""
    found = quantity(item, unit)
    if found.unit == "%":
        raise item.wrong("not-a-force", f"{quoted(item.raw)} is a percentage, not a force.", item.hint)
    if found.value <= 0:
        raise item.wrong("out-of-range", f"A reading must be more than zero; this is {found}.", item.hint)
    return found.to(unit)
