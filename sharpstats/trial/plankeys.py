"""The keys of a plan, a list for each table but the claims, and what may stand in them.

What is allowed, what is missing and what is proposed all come from these lists.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import partial
from typing import get_args

from sharpstats.columns import READINGS
from sharpstats.errors import PlanError
from sharpstats.trial.item import Item, Key, folded, list_of, read_table, report_repeats, unknown_key
from sharpstats.trial.plan import DEFAULT_LEVELS, Family, Layout, Level, Operators, Publishing, Scale
from sharpstats.trial.spelling import counted, quoted, suggest, tidy
from sharpstats.trial.values import any_text, choice, force, number_between, table, text, whole_number, yes_no
from sharpstats.units import FORCE_UNITS, ForceUnit, parse_quantity

Factors = Mapping[str, tuple[str, ...] | None]
"""The factors of a plan with their levels; None for one whose levels could not be read."""

SIMPLE_KEYS: tuple[Key, ...] = (
    Key(name="title", read=text, example='"Does slate reach the plate?"', required=True),
    Key(name="question", read=any_text, example='"Is roofing slate enough for chisels?"'),
    Key(name="unit", read=choice(FORCE_UNITS), example='"gf"'),
    Key(name="scale", read=choice(get_args(Scale)), example='"log"'),
    Key(name="alpha", read=number_between(0, 0.5), example="0.05"),
    Key(name="family", read=choice(get_args(Family)), example='"holm"'),
)
"""Keys at the top of the file that stand for themselves."""

PUBLISHING_KEYS: tuple[Key, ...] = (
    Key(name="operators", read=choice(get_args(Operators)), example='"pseudonyms"'),
    Key(name="author", read=any_text, example='"the village tool library"'),
    Key(name="license", read=text, example='"CC-BY-4.0"'),
    Key(name="invented", read=yes_no, example="true"),
)

RESERVED: frozenset[str] = frozenset(
    {column.name for column in READINGS if column.group in ("identity", "outcome", "bookkeeping")}
    | {"role", "file", "row", "over_range"}
)
"""Columns that say which row it is, what was read or what was done with it: never compared."""


def factor_keys(names: Iterable[str], *, fewest_media: int) -> tuple[Key, ...]:
    """Return the keys of `[factors]`: `medium`, and whatever else the plan compares."""
    others = [name for name in names if name != "medium"]
    medium = Key(
        name="medium",
        read=partial(read_levels_of_factor, fewest=fewest_media),
        example='["oilstone", "roofing slate"]',
        required=True,
    )
    read = partial(read_levels_of_factor, fewest=2)
    return (medium, *(Key(name=name, read=read, example='["one", "other"]') for name in others))


def layout_keys(factors: Factors | None) -> tuple[Key, ...]:
    """Return the keys of `[layout]`."""
    interaction = partial(read_interactions, factors=factors)
    return (
        Key(name="blocks", read=partial(read_blocks, factors=factors), example='["blade"]'),
        Key(name="interactions", read=interaction, example='[["medium", "steel"]]'),
        Key(name="edges_per_cell", read=whole_number(1), example="2"),
        Key(name="cuts", read=whole_number(1), example="5"),
        Key(name="seed", read=whole_number(0), example="20260925"),
    )


def level_keys(names: Iterable[str], *, unit: ForceUnit) -> tuple[Key, ...]:
    """Return the keys of `[levels]`: whatever the plan names."""
    return tuple(Key(name=name, read=partial(read_level, unit=unit), example=f'"150 {unit}"') for name in names)


def read_factors(item: Item, *, fewest_media: int) -> Factors:
    """Read `[factors]`."""
    found = read_table(table(item), factor_keys(item.raw, fewest_media=fewest_media))
    return {name: found.get(name) or None for name in dict.fromkeys(("medium", *item.raw))}


def read_layout(item: Item, *, factors: Factors | None) -> Layout:
    """Read `[layout]`; by default medium interacts with each other factor."""
    keys = layout_keys(factors)
    found = read_table(table(item), keys, unknown=partial(unknown_in_plan, known=[key.name for key in keys]))
    others = [name for name in factors or () if name != "medium"]
    found.setdefault("interactions", tuple(("medium", name) for name in others))
    return Layout(**found)


def read_levels(item: Item, *, unit: ForceUnit) -> tuple[Level, ...]:
    """Read `[levels]`; without it (None), the usual levels hold."""
    if item.raw is None:
        return tuple(Level(name=level.name, reading=level.reading.to(unit)) for level in DEFAULT_LEVELS)
    return tuple(read_table(table(item), level_keys(item.raw, unit=unit)).values())


def read_publishing(item: Item) -> Publishing:
    """Read `[publishing]`."""
    known = [key.name for key in PUBLISHING_KEYS]
    return Publishing(**read_table(table(item), PUBLISHING_KEYS, unknown=partial(unknown_in_plan, known=known)))


def read_levels_of_factor(item: Item, *, fewest: int) -> tuple[str, ...]:
    """Read the levels of one factor."""
    _refuse_column(item, item.name)
    if not isinstance(item.raw, list) and item.name in HOMES:
        raise _misplaced(item, HOMES[item.name])
    levels = list_of(text)(item)
    report_repeats(item.children(), "duplicate-level", "Take one out; capitals do not count.", same=folded)
    if len(item.raw) < fewest:
        says = f"`{item.name}` has {counted(len(item.raw), 'level')}; the plan needs at least {fewest}."
        mend = "Name every medium." if item.name == "medium" else f"Name every level, or take `{item.name}` out."
        item.report(item.wrong("too-few-levels", says, mend))
    return levels


def read_blocks(item: Item, *, factors: Factors | None) -> tuple[str, ...]:
    """Read the columns whose levels are a sample."""
    blocks = list_of(partial(_block, factors=factors))(item)
    report_repeats(item.children(), "duplicate-block", "Name each block once.", same=folded)
    return blocks


def _block(item: Item, *, factors: Factors | None) -> str:
    name = text(item)
    _refuse_column(item, name)
    if name == "medium" or name in (factors or ()):
        says = f"{quoted(name)} is a factor already, with levels that are compared, not a sample."
        raise item.wrong("factor-and-block", says, "Take it out of `blocks`, or out of [factors].")
    return name


def _refuse_column(item: Item, name: str) -> None:
    if name in RESERVED:
        mend = "Name another column of the readings."
        raise item.wrong("reserved-name", f"The column {quoted(name)} cannot be compared or be a block.", mend)
    if not name or name != tidy(name):
        mend = f"Write {quoted(tidy(name) or 'steel')}."
        raise item.wrong("bad-name", f"{quoted(name)} is blank or has space around it or twice inside.", mend)


def read_interactions(item: Item, *, factors: Factors | None) -> tuple[tuple[str, ...], ...]:
    """Read the interactions among factors."""
    if not isinstance(item.raw, list) or not all(isinstance(names, list) for names in item.raw):
        raise item.wrong("wrong-type", "`interactions` must be a list of lists.", item.hint)
    found = list_of(partial(_interaction, factors=factors))(item)
    report_repeats(item.children(), "duplicate-interaction", "Name each interaction once.", same=_names)
    return found


def _interaction(item: Item, *, factors: Factors | None) -> tuple[str, ...]:
    names = list_of(partial(_factor, factors=factors))(item)
    if len(_names(item.raw) or ()) < max(2, len(item.raw)):  # too few, or one of them twice
        says = f"An interaction is of two different factors or more; this is {quoted(item.raw)}."
        raise item.wrong("bad-interaction", says, item.hint)
    return names


def _names(raw: list[object]) -> frozenset[str] | None:
    names = frozenset(tidy(name) for name in raw if isinstance(name, str))
    return names if len(names) > 1 else None


def _factor(item: Item, *, factors: Factors | None) -> str:
    name = text(item)
    if factors is not None and name not in factors:
        raise item.wrong("unknown-factor", f"The plan has no factor {quoted(name)}.", suggest(name, factors))
    return name


def read_level(item: Item, *, unit: ForceUnit) -> Level:
    """Read one level: what an edge is fit for, and the reading."""
    name = tidy(item.name)
    if not name or parse_quantity(name) is not None:
        says = f"{quoted(item.name)} is not a name for a level."
        raise item.wrong("bad-name", says, 'Write for example: "fine work" = "150 gf"')
    return Level(name=name, reading=force(item, unit))


def unknown_in_plan(item: Item, known: Iterable[str], homes: Mapping[str, str] | None = None) -> PlanError:
    """Make the error for a key that its table does not have; it may belong to another."""
    homes = HOMES if homes is None else homes
    return _misplaced(item, homes[item.name]) if item.name in homes else unknown_key(item, known)


def _misplaced(item: Item, home: str) -> PlanError:
    return item.wrong("misplaced-key", f"There is no key {quoted(item.name)} here.", f"It belongs {home}.")


def _homes() -> dict[str, str]:
    top = "at the top of the file, above the first [table]"
    homes = {"readings": top, "tester_study": top} | {key.name: top for key in SIMPLE_KEYS}
    homes |= {key.name: "in [layout]" for key in layout_keys({})}
    homes |= {key.name: "in [publishing]" for key in PUBLISHING_KEYS}
    return homes


HOMES: Mapping[str, str] = _homes()
"""Where each key belongs. In TOML a key written below a [table] falls into it: an easy mistake."""
