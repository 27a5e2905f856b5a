"""Shops that stand apart in a round robin: which, by how much, and what to do about it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from sharpstats.tester.batch import Batch
from sharpstats.tester.labels import called
from sharpstats.tester.roundrobin import WITHOUT, RoundRobin
from sharpstats.tester.screening import Look, Mark, outlying_shops
from sharpstats.tester.throughout import Throughout
from sharpstats.words.blocks import Block, Heading, Line, Points
from sharpstats.words.labels import clip, listing, sentence
from sharpstats.words.numbers import amount, count, fixed, from_scale, p_value, unit_on
from sharpstats.words.tester.shopnumbers import precision_table

TO_DO = (
    "Look for a slip in writing first: the unit, a digit, two batches or two shops exchanged.",
    "Let the shop put check masses on its tester, and compare its filament lot, settings and way of cutting with those "
    "of the others.",
    "Ask the shop to read the batch again, if like edges are left: blade clamped, edge away from the body, a "
    "cut-resistant glove on the holding hand.",
    "If a cause is found and cannot be mended, write it into the column set_aside of shops.csv. The row stays in the "
    "file, and the report tells the reason. A test alone is no reason.",
    "If no cause is found, leave the readings in: shops do differ, and the spread between them should say so.",
)



def standing_apart(result: RoundRobin) -> Iterator[Block]:
    """Tell outliers and stragglers, what to do, and the numbers without the outliers.

    Parameters
    ----------
    result : RoundRobin

    Yields
    ------
    Block
    """
    marked = [(batch, look) for batch in result.batches for look in batch.looks if look.mark != "accepted"]
    if not any(batch.looks for batch in result.batches):
        return
    yield from (Line(_throughout_sentence(one)) for one in result.throughout)
    if not marked:
        yield Line("No shop stands apart from the others, neither by its spread nor by its mean.")
        return
    yield Heading("Shops that stand apart")
    yield Line("Chance makes one cell a straggler in 5 of 100 such tests, and a statistical outlier in 1 (ISO 5725-2).")
    yield Points(tuple(_look_sentence(result, batch, look) for batch, look in marked) + tuple(_again(result, marked)))
    if not any(batch.outlying for batch in result.batches):
        yield Line("A straggler is kept: among this many cells one or two may come by chance. See whether it was "
                   "written down rightly.")  # fmt: skip
        return
    yield Line("Nothing was left out. A statistical outlier is a question to the shop, not an answer:")
    yield Points(TO_DO)
    if any(batch.kept is not None for batch in result.batches):
        yield precision_table(result, WITHOUT, "The same without the cells called outliers, for comparison")


def _throughout_sentence(one: Throughout) -> str:
    more = one.end.replace("est", "er")
    return (
        f"{called('Shop', clip(one.shop, 40))} reads {one.end} on all {one.batches} batches. Chance alone would rarely "
        f"put one shop there every time ({p_value(one.p)}), so it is likely to read {more} whatever the edge. Let it "
        "check its zero and its masses."
    )


def _look_sentence(result: RoundRobin, batch: Batch, look: Look) -> str:
    shops = listing([clip(called("shop", shop), 40) for shop in look.shops])
    where = f"{called('batch', clip(batch.name, 30))}, {shops}"
    chance = f"{p_value(look.p)}, {'Cochran' if look.looked_at == 'spread' else 'Grubbs'}, {count(look.cells, 'shop')}"
    verdict = "called a statistical outlier" if look.mark == "outlier" else "a straggler, kept"
    if look.two_camps:
        verdict = "so are those at the other end, and which of the two are out of place cannot be told: kept"
    if look.looked_at == "spread" and (letter := _by_table(look)) != look.mark:
        verdict += f" ({letter} by the printed table, which is made for equal numbers of cuts)"
    how = _spread_apart(batch, look) if look.looked_at == "spread" else _mean_apart(result, batch, look)
    return sentence(f"{where}: {how} ({chance}): {verdict}")


def _by_table(look: Look) -> Mark:
    """What the printed table makes of Cochran's C; where cells are unequal it may differ from the p value."""
    return "outlier" if look.statistic > look.at_1 else "straggler" if look.statistic > look.at_5 else "accepted"


def _spread_apart(batch: Batch, look: Look) -> str:
    place = batch.shops.index(look.shops[0])
    others = _compared(batch, look) & (batch.n > 1)
    freedom = batch.n[others] - 1
    pooled = math.sqrt(float(freedom @ batch.sds[others] ** 2) / float(freedom.sum()))
    times = f"{fixed(batch.sds[place] / pooled, 1)} times as widely as" if pooled else "where there is no spread in"
    return f"cuts scatter {times} {'those of the others' if pooled else 'the others'}"


def _compared(batch: Batch, look: Look) -> NDArray[np.bool_]:
    """Which other shops a test compared with: not those that tests before it had called outliers."""
    before = outlying_shops(batch.looks[: batch.looks.index(look)])
    return ~np.isin(batch.shops, [*look.shops, *before])


def _mean_apart(result: RoundRobin, batch: Batch, look: Look) -> str:
    mine, others = np.isin(batch.shops, look.shops), _compared(batch, look)
    apart = from_scale(float(batch.means[mine].mean() - batch.means[others].mean()), result.scale)
    way = "higher" if apart is not None and apart > 0 else "lower"
    far = amount(abs(apart) if apart is not None else None, unit_on(result.scale, result.unit))
    verb = "reads" if len(look.shops) == 1 else "read together"
    return f"{verb} {far} {way} than the others' mean"


def _again(result: RoundRobin, marked: Sequence[tuple[Batch, Look]]) -> Iterator[str]:
    """Point at shops that are marked in several batches: the shop is to be looked at, not the cell."""
    for shop in result.shops:
        where = {batch.name for batch, look in marked if shop in look.shops}
        if len(where) > 1:
            read = sum(shop in batch.shops for batch in result.batches)
            yield (f"{called('Shop', clip(shop, 40))} is marked in {len(where)} of its {read} batches: look at the "
                   "shop as a whole, not at single cells.")  # fmt: skip


