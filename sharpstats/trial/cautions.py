"""Cautions about the layout: what stops nothing, and would weaken what can be said. One sentence each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import product

import numpy as np

from sharpstats.notes import Note
from sharpstats.trial.coverage import claims_without_readings
from sharpstats.trial.edgetable import EdgeTable
from sharpstats.trial.labels import Labels
from sharpstats.trial.pseudonyms import public_names
from sharpstats.trial.spelling import counted, listed, quoted

GOES_WITH = ("operator", "day", "tester", "filament_lot", "medium_state", "steel", "blade")
"""Columns that no factor should go hand in hand with."""

SHOWN = 6
_NORMAL_999 = 3.0902
"""Quantile 0.999 of the normal distribution."""


def layout_cautions(edges: EdgeTable) -> Iterator[Note]:
    """Look at the edges of the comparison as a whole.

    Parameters
    ----------
    edges : EdgeTable
        At least one edge.
    """
    yield from _claims(edges)
    yield from _empty_cells(edges)
    yield from _uneven(edges)
    yield from _too_few(edges)
    yield from _one_blade(edges)
    yield from _one_steel(edges)
    yield from _hand_in_hand(edges)
    yield from _order(edges)
    yield from _lots(edges)
    yield from _not_recorded(edges)
    yield from _renamed(edges)


def _claims(edges: EdgeTable) -> Iterator[Note]:
    plan = edges.checking.plan
    present = {name: frozenset(edges.labels(name).texts) for name in plan.factors}
    for problem in claims_without_readings(plan, present):
        yield Note("claim-without-readings", f"{problem.says} Until one is used, the claim cannot be judged.")


def _empty_cells(edges: EdgeTable) -> Iterator[Note]:
    factors = edges.checking.plan.factors
    absent = {name: [level for level in factors[name] if level not in edges.labels(name).texts] for name in factors}
    for name, levels in absent.items():
        if levels:
            yield Note(
                "level-without-edge",
                f"No edge with {name} {listed(levels, last='or')} is used; make such edges, or change the plan.",
            )
    for name in factors:
        if name != "medium":
            yield from _empty_pairs(edges, name, absent)


def _empty_pairs(edges: EdgeTable, name: str, absent: dict[str, list[str]]) -> Iterator[Note]:
    factors, medium, other = edges.checking.plan.factors, edges.labels("medium"), edges.labels(name)
    present = {(medium.texts[a], other.texts[b]) for a, b in _pairs(medium, other)}
    empty = [
        f"{quoted(a)} with {quoted(b)}"
        for a, b in product(factors["medium"], factors[name])
        if (a, b) not in present and a not in absent["medium"] and b not in absent[name]
    ]
    if empty:
        more = f" and {len(empty) - SHOWN} more" if len(empty) > SHOWN else ""
        yield Note(
            "cell-without-edge",
            f"No edge is used of medium and {name} {', '.join(empty[:SHOWN])}{more}; without such edges the two "
            "factors cannot be told apart there.",
        )


def _pairs(one: Labels, two: Labels) -> list[tuple[int, int]]:
    """Return which texts of two columns occur together."""
    both = np.unique(one.codes * len(two.texts) + two.codes)
    return [(int(code) // len(two.texts), int(code) % len(two.texts)) for code in both]


def _uneven(edges: EdgeTable) -> Iterator[Note]:
    medium = edges.labels("medium")
    counts = np.bincount(medium.codes)
    if counts.max() >= 2 * counts.min():
        few, many = int(np.argmin(counts)), int(np.argmax(counts))
        yield Note(
            "uneven-edges",
            f"There are {counts[few]:,} edges of {quoted(medium.texts[few])} and {counts[many]:,} of "
            f"{quoted(medium.texts[many])}; more edges of the rarer medium would help most.",
        )


def _too_few(edges: EdgeTable) -> Iterator[Note]:
    layout = edges.checking.plan.layout
    if layout.cuts is not None and (edges.cuts < layout.cuts).any():
        few = edges.cuts < layout.cuts
        yield Note(
            "fewer-cuts",
            f"Fewer than the planned {layout.cuts} cuts were made on {counted(int(few.sum()), 'edge')} "
            f"({edges.named(few)}): each counts with the cuts it has.",
        )
    if layout.edges_per_cell is None or not layout.blocks:
        return
    medium, block = edges.labels("medium"), edges.labels(layout.blocks[0])
    counts = np.bincount(medium.codes * len(block.texts) + block.codes)
    few = (counts > 0) & (counts < layout.edges_per_cell)
    if few.any():
        yield Note(
            "fewer-edges",
            f"{few.sum():,} cell(s) of medium and {layout.blocks[0]} have fewer than the planned "
            f"{layout.edges_per_cell} edges; make the missing ones if you can.",
        )


def _one_blade(edges: EdgeTable) -> Iterator[Note]:
    medium, blade = edges.labels("medium"), edges.labels("blade")
    if blade.texts == ("",):
        return
    blades = np.bincount([pair[0] for pair in _pairs(medium, blade)])
    alone = [text for text, count in zip(medium.texts, blades, strict=True) if count == 1]
    if alone:
        yield Note(
            "one-blade",
            f"Edges of {listed(alone, last='and')} were made on one blade only, so what is found holds for that blade; "
            "use several blades of a kind to speak of the kind.",
        )


def _one_steel(edges: EdgeTable) -> Iterator[Note]:
    blade, steel = edges.labels("blade"), edges.labels("steel")
    pairs = [(blade.texts[a], steel.texts[b]) for a, b in _pairs(blade, steel)]
    steels = Counter(name for name, kind in pairs if name and kind)
    several = [name for name, count in steels.items() if count > 1]
    if several:
        yield Note(
            "blade-of-two-steels",
            f"{len(several):,} blade(s) have edges of different steel ({listed(several[:SHOWN], last='and')}), and a "
            "blade has only one; correct the steel, or give the blades names of their own.",
        )


def _hand_in_hand(edges: EdgeTable) -> Iterator[Note]:
    plan = edges.checking.plan
    others = dict.fromkeys((*plan.factors, *plan.layout.blocks, *GOES_WITH))
    done: set[frozenset[str]] = set()
    for name, other in product(plan.factors, others):
        pair = frozenset((name, other))
        if name != other and pair not in done and _is_one_to_one(edges.labels(name), edges.labels(other)):
            done.add(pair)
            yield Note(
                "hand-in-hand",
                f"Each level of {name} goes with one {other} of its own, so nobody can tell which of the two makes a "
                f"difference; let every {other} meet every level of {name}.",
            )


def _is_one_to_one(one: Labels, two: Labels) -> bool:
    size = len(one.texts)
    return size > 1 and size == len(two.texts) and "" not in two.texts and len(_pairs(one, two)) == size


def _order(edges: EdgeTable) -> Iterator[Note]:
    """Compare the order in which edges were made with their media."""
    made = edges.numbers("run")
    if np.isnan(made).any():
        made = edges.numbers("taken_at")
    if np.isnan(made).any():
        yield Note(
            "order-not-recorded",
            "Neither run nor taken_at says for every edge when it was made, so growing skill or wear cannot be told "
            "from a medium; fill in one of them.",
        )
        return
    medium = edges.labels("medium")
    if len(medium.texts) > 1 and _follows(medium.codes[np.argsort(made, kind="stable")], len(medium.texts)):
        yield Note(
            "media-in-turn",
            "The media were used one after the other rather than in mixed order, so growing skill, wear or drift may "
            "pass for a difference between them; make edges in random order.",
        )


def _follows(media: np.ndarray, levels: int) -> bool:
    """Tell whether the order depends on the medium: Kruskal and Wallis's H beyond its 0.999 quantile."""
    size = len(media)
    if size > levels and 1 + np.count_nonzero(np.diff(media)) == levels:
        return True
    counts = np.bincount(media, minlength=levels)
    means = np.bincount(media, weights=np.arange(1, size + 1), minlength=levels) / np.maximum(counts, 1)
    statistic = 12 / (size * (size + 1)) * np.sum(counts * (means - (size + 1) / 2) ** 2)
    df = levels - 1
    return bool(statistic > df * (1 - 2 / (9 * df) + _NORMAL_999 * np.sqrt(2 / (9 * df))) ** 3)  # Wilson-Hilferty


def _lots(edges: EdgeTable) -> Iterator[Note]:
    lots = [text for text in edges.labels("filament_lot").texts if text]
    plan = edges.checking.plan
    if len(lots) > 1 and "filament_lot" not in (*plan.layout.blocks, *plan.factors):
        yield Note(
            "filament-lots",
            f"The readings come from {len(lots)} filament lots ({listed(lots[:SHOWN], last='and')}), and a step "
            'between lots would pass for something else; name "filament_lot" among the blocks, or cut with one lot.',
        )


def _not_recorded(edges: EdgeTable) -> Iterator[Note]:
    start = np.isnan(edges.numbers("start_reading"))
    if start.any():
        yield Note(
            "no-start-reading",
            f"{_how_many(start)} no start_reading, so nothing shows that all edges were equally dull before; read each "
            "dulled edge once.",
        )
    burr = edges.blank("burr_check")
    if burr.any():
        yield Note(
            "no-burr-check",
            f"{_how_many(burr)} no burr_check, and a burr left on changes a reading; look for one before each reading "
            "and write down what you found.",
        )
    if not edges.controls:
        yield Note(
            "no-control-edge",
            "No edge has the role control, so drift over the trial cannot be tested; make the same blade and medium "
            "again at the start, in the middle and at the end.",
        )


def _renamed(edges: EdgeTable) -> Iterator[Note]:
    names = public_names(edges.checking.plan)
    if names:
        called = ", ".join(f"{quoted(name)} as {quoted(public)}" for name, public in names.items())
        yield Note(
            "operators-renamed",
            f"A report names {called}, in every sentence too; if they are no names of people, write operators = "
            '"as written" in [publishing].',
        )


def _how_many(which: np.ndarray) -> str:
    if which.all():
        return "The edges have"
    return f"{counted(int(which.sum()), 'edge')} {'has' if which.sum() == 1 else 'have'}"
