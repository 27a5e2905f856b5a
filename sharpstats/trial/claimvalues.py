"""What may stand in a claim, held against the rest of the plan."""

from __future__ import annotations

import re
from collections.abc import Mapping, Set
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType

from sharpstats.errors import PlanError
from sharpstats.trial.item import Item
from sharpstats.trial.plan import Layout, Level, Scale
from sharpstats.trial.plankeys import Factors
from sharpstats.trial.spelling import quoted, suggest
from sharpstats.trial.values import force, quantity, table, text
from sharpstats.units import ForceUnit, Quantity, Unit, parse_quantity

LONGEST_ID = 60
_ID = re.compile(rf"[A-Za-z0-9][A-Za-z0-9._-]{{0,{LONGEST_ID - 1}}}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What a claim may refer to, as far as the rest of the plan could be read.

    Attributes
    ----------
    factors : mapping of str to tuple of str, or None
        None, for one factor or for all, where they could not be read: then nothing is held
        against a claim. The same holds for the other attributes.
    layout : Layout or None
    scale : str or None
    unit : str
    levels : tuple of Level, or None
    """

    factors: Factors | None
    layout: Layout | None
    scale: Scale | None
    unit: ForceUnit
    levels: tuple[Level, ...] | None

    @property
    def difference_unit(self) -> Unit:
        """Unit of a margin: percent where differences are ratios, else the plan's unit."""
        return self.unit if self.scale == "as read" else "%"

    def levels_of(self, factor: str) -> tuple[str, ...] | None:
        """Levels of a factor, or None."""
        return (self.factors or {}).get(factor)


def claim_id(item: Item) -> str:
    """Read a short plain name: it becomes part of file names."""
    name = text(item)
    if not _ID.fullmatch(name):
        plain = re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip("-._")[:LONGEST_ID]
        raise item.wrong(
            "bad-id",
            f"{quoted(name)} is not a short plain name: letters a to z, digits, and - _ . inside, "
            f"at most {LONGEST_ID} characters.",
            f'Write for example: id = "{plain or "slate-as-plate"}"',
        )
    return name


def medium(item: Item, *, ground: Ground) -> str:
    """Read one of the plan's media."""
    name = text(item)
    media = ground.levels_of("medium")
    if media is not None and name not in media:
        says = f"{quoted(name)} is not one of the plan's media."
        raise item.wrong("unknown-medium", says, suggest(name, media))
    return name


def margin_above_zero(item: Item, *, ground: Ground) -> Quantity:
    """Read a margin."""
    found = _difference(item, ground)
    if found.value <= 0:
        raise item.wrong("out-of-range", f"`{item.name}` must be more than zero; it is {found}.", item.hint)
    return found


def difference_from_zero(item: Item, *, ground: Ground) -> Quantity:
    """Read by how much media are said to differ; zero asks for any difference."""
    found = _difference(item, ground)
    if found.value < 0:
        mend = "Write it without the minus sign: the key says which way the difference goes."
        raise item.wrong("out-of-range", f"`{item.name}` must not be negative; it is {found}.", mend)
    return found


def percent_from_zero(item: Item) -> Quantity:
    """Read by how many percent a spread is said to be larger than another; zero asks for any difference."""
    found = quantity(item, "%")
    if found.unit != "%":
        says = f"{quoted(str(found))} is a force; spreads are compared by how many times one is the other, in percent."
        raise item.wrong("wrong-scale", says, item.hint)
    if found.value < 0:
        mend = "Write it without the minus sign: the key says which way the difference goes."
        raise item.wrong("out-of-range", f"`by` must not be negative; it is {found}.", mend)
    return found


def _difference(item: Item, ground: Ground) -> Quantity:
    found = quantity(item, ground.difference_unit)
    if ground.scale is not None and (found.unit == "%") != (ground.scale == "log"):
        raise _wrong_scale(item, found, ground.scale)
    return found if found.unit == "%" else found.to(ground.unit)


def _wrong_scale(item: Item, found: Quantity, scale: Scale) -> PlanError:
    kinds = {"log": "percent", "as read": "forces"}
    found_is = "a percentage" if found.unit == "%" else "a force"
    other = "as read" if scale == "log" else "log"
    says = f"{quoted(str(found))} is {found_is}; on the scale {quoted(scale)} differences are {kinds[scale]}."
    mend = f"{item.hint}; or set scale = {quoted(other)} at the top of the plan."
    return item.wrong("wrong-scale", says, mend)


def level(item: Item, *, ground: Ground) -> Level | None:
    """Read the name of a level, or a reading; None where the plan's levels could not be read."""
    named = {level.name: level for level in ground.levels or ()}
    if isinstance(item.raw, str) and (name := text(item)) in named:
        return named[name]
    if not isinstance(item.raw, str) or re.match(r"\s*[-+\d]", item.raw):
        return Level(name=str(quantity(item, ground.unit)), reading=force(item, ground.unit))
    if ground.levels is None:
        return None
    mend = f'{suggest(name, named)} A reading such as "150 gf" will do too.'
    raise item.wrong("unknown-level", f"{quoted(name)} is not the name of a level.", mend.strip())


def share(item: Item) -> float:
    """Read a share: ``"90 %"`` or 0.9."""
    raw = item.raw
    found = parse_quantity(raw) if isinstance(raw, str) else None
    if found is not None and found.unit == "%":
        value = found.value / 100
    elif isinstance(raw, int | float) and not isinstance(raw, bool):
        value = raw
    else:
        raise item.wrong("wrong-type", f"{quoted(raw)} is not a share of the edges.", item.hint)
    if not 0 < value < 1:
        says = f"`share` must lie between 0 % and 100 %, neither of them allowed; it is {quoted(raw)}."
        raise item.wrong("out-of-range", says, item.hint)
    return float(value)


def where(item: Item, *, ground: Ground, differences: bool = True) -> Mapping[str, str]:
    """Read the levels of other factors at which alone the claim is made; `differences` of means need interactions."""
    table(item)
    read = partial(_where_level, ground=ground, differences=differences)
    found = {child.name: child.attempt(read) for child in item.children()}
    return MappingProxyType({factor: level for factor, level in found.items() if level is not None})


def _where_level(item: Item, ground: Ground, differences: bool) -> str:
    _refuse_as_where(item, ground)
    name = text(item)
    known = ground.levels_of(item.name)
    if known is not None and name not in known:
        says = f"{quoted(name)} is not a level of `{item.name}`."
        raise item.wrong("unknown-level", says, suggest(name, known))
    if differences and ground.layout is not None and not interacts({"medium", item.name}, ground.layout):
        raise item.wrong(
            "no-interaction",
            f"The layout has no interaction of medium with {item.name}: "
            "the difference between two media is then the same at each of its levels.",
            f'Add ["medium", {quoted(item.name)}] to `interactions` in [layout], or take `where` out.',
        )
    return name


def _refuse_as_where(item: Item, ground: Ground) -> None:
    factor = item.name
    if factor == "medium":
        mend = "Take it out: `medium` and `than` name the media."
        raise item.wrong("where-on-medium", "`where` cannot choose among the media.", mend)
    if ground.layout is not None and factor in ground.layout.blocks:
        mend = f"Take it out, or make `{factor}` a factor."
        raise item.wrong("where-on-block", f"`{factor}` is a block: its levels are a sample.", mend)
    others = [name for name in ground.factors or () if name != "medium"]
    if ground.factors is not None and factor not in others:
        mend = suggest(factor, others) or "Take `where` out: the plan has no other factor."
        raise item.wrong("unknown-factor", f"The plan has no factor {quoted(factor)}.", mend)


def interacts(factors: Set[str], layout: Layout) -> bool:
    """Return whether an interaction of the layout holds all these factors."""
    return any(factors <= set(interaction) for interaction in layout.interactions)
