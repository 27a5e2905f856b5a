"""What may stand in a claim of the kind `gap`: the other factor and the two levels compared."""

from __future__ import annotations

from typing import Any

from sharpstats.errors import PlanError
from sharpstats.trial.claimvalues import Ground, interacts
from sharpstats.trial.item import Item, list_of
from sharpstats.trial.spelling import listed, quoted, suggest
from sharpstats.trial.values import text


def across(item: Item, *, ground: Ground) -> str:
    """Read the factor on which the difference of the media depends or not."""
    factor = text(item)
    if factor == "medium":
        mend = "Name another factor: `medium` and `than` name the media."
        raise item.wrong("across-medium", "The difference between two media cannot depend on the medium.", mend)
    if ground.layout is not None and factor in ground.layout.blocks:
        says = f"`{factor}` is a block: its levels are a sample, and a gap is between two levels that are compared."
        mend = f"Make it a factor: take {quoted(factor)} out of `blocks`, and name its levels in [factors]."
        raise item.wrong("across-block", says, mend)
    others = [name for name in ground.factors or () if name != "medium"]
    if ground.factors is not None and factor not in others:
        mend = suggest(factor, others) or f'Add it to [factors], for example: {factor} = ["one", "other"]'
        raise item.wrong("unknown-factor", f"The plan has no factor {quoted(factor)}.", mend)
    if ground.layout is not None and not interacts({"medium", factor}, ground.layout):
        raise item.wrong(
            "no-interaction",
            f"The layout has no interaction of medium with {factor}: the difference between two media is then taken to "
            "be the same at each of its levels, and there is no gap to find.",
            f'Add ["medium", {quoted(factor)}] to `interactions` in [layout].',
        )
    return factor


def two_levels(item: Item) -> tuple[str, ...]:
    """Read the two levels that are compared."""
    levels = list_of(text)(item)
    if len(item.raw) != 2 or len(set(levels)) == 1:
        raise item.wrong("two-levels", f"A gap is between two different levels; this is {quoted(item.raw)}.", item.hint)
    return levels


def complete_gap(item: Item, values: dict[str, Any], *, ground: Ground) -> None:
    """Hold the levels and `where` against the factor; a factor of two levels needs no `levels`."""
    factor = values["across"]
    known = ground.levels_of(factor)
    if "levels" in values and known is not None:
        for place, level in enumerate(values["levels"]):
            if level not in known:
                item.report(_unknown_level(item.child("levels").child(place), factor, known))
    elif "levels" not in item.raw:
        if known is not None and len(known) == 2:
            values["levels"] = known
        elif known is not None and len(known) > 2:  # fewer are told of in [factors]
            item.report(_which_levels(item, factor, known))
    _check_where(item, values, ground)


def _unknown_level(item: Item, factor: str, known: tuple[str, ...]) -> PlanError:
    return item.wrong("unknown-level", f"{quoted(item.raw)} is not a level of `{factor}`.", suggest(item.raw, known))


def _which_levels(item: Item, factor: str, known: tuple[str, ...]) -> PlanError:
    says = f"`levels` is missing: `{factor}` has {len(known)} levels ({listed(known, last='and')}), and a gap is "
    mend = f"Write for example: levels = [{quoted(known[0])}, {quoted(known[1])}]"
    return item.wrong("missing-key", f"{says}between two of them.", mend, missing="levels")


def _check_where(item: Item, values: dict[str, Any], ground: Ground) -> None:
    """A gap can be another one at another level of a third factor only if the layout has all three together."""
    factor = values["across"]
    for other in values.get("where", ()):
        place = item.child("where").child(other)
        if other == factor:
            mend = "Take it out of `where`: `levels` names the levels that are compared."
            says = f"`where` cannot hold `{factor}`, which `across` compares."
            item.report(place.wrong("where-on-across", says, mend))
        elif ground.layout is not None and not interacts({"medium", factor, other}, ground.layout):
            item.report(place.wrong(
                "no-interaction",
                f"The layout has no interaction of medium with {factor} and {other}: the gap is then the same at each "
                f"level of {other}.",
                f'Add ["medium", {quoted(factor)}, {quoted(other)}] to `interactions` in [layout], or take it out of '
                "`where`.",
            ))  # fmt: skip
