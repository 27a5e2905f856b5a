"""Steps at a new lot of filament, and whether it was the lot that made them."""

from __future__ import annotations

from collections.abc import Iterator

from sharpstats.model.result import Estimates
from sharpstats.tester.labels import called
from sharpstats.tester.lots import LotSteps
from sharpstats.words.blocks import Block, Line
from sharpstats.words.labels import clip, listing
from sharpstats.words.numbers import count, level_percent
from sharpstats.words.onfit import notes_blocks
from sharpstats.words.tester.slopes import change_words, than


def lot_blocks(found: LotSteps) -> Iterator[Block]:
    """Tell the steps between lots of filament by themselves."""
    yield from map(Line, lot_lines(found))
    yield from notes_blocks(found.notes)


def lot_lines(found: LotSteps) -> Iterator[str]:
    """Tell each difference, what it rests on, and what else it could be."""
    for place in range(len(found.pairs)):
        yield " ".join(_difference(found, place))
    if found.allowed_for:
        yield f"What these add to a reading was allowed for: {listing(found.allowed_for)}."
    if len(found.lots) > 2:
        yield (
            f"{count(len(found.pairs), 'difference')} between lots are told together: intervals and p values are "
            f"widened (Holm) so that all of them hold at {level_percent(found.level)}."
        )
    if found.in_turn:
        yield " ".join(_in_turn(found))


def steps(found: LotSteps) -> Iterator[str]:
    """Name the differences that chance does not explain."""
    for place, (late, early) in enumerate(found.pairs):
        if found.differences.p[place] < 1 - found.level:
            how, _ = _words(found, found.differences, place)
            shared = found.shared[place]
            other = f" (or with what changed along with it: {listing(shared)})" if shared else ""
            yield f"readings with {_lot(late)}{other} are {than(how, f'with {_lot(early)}')}"


def _lot(label: str) -> str:
    return called("lot", clip(label))


def _words(found: LotSteps, told: Estimates, place: int) -> tuple[str, str]:
    values = (float(told.estimate[place]), float(told.low[place]), float(told.high[place]))
    return change_words(values, float(told.levels[place]), float(told.p[place]), found.scale, found.unit)


def _difference(found: LotSteps, place: int) -> Iterator[str]:
    late, early = map(_lot, found.pairs[place])
    how, sure = _words(found, found.differences, place)
    shared = found.shared[place]
    if shared:
        either = listing(["the lot", *(f"the {name}" for name in shared)], "or")
        yield f"Cuts with {late} read {than(how, f'cuts with {early}')} ({sure})."
        yield (
            f"But {late} and {early} never met the same {listing(shared, 'or')}: these cuts cannot tell "
            f"whether {either} did it. Cut one edge with both lots, by the same hand on the same day."
        )
        return
    real = "more than chance would do" if found.differences.p[place] < 1 - found.level else "chance alone could do so"
    yield f"New lot of filament: readings with {late} are {than(how, f'with {early}')} ({sure}): {real}."


def _in_turn(found: LotSteps) -> Iterator[str]:
    yield "Each lot was used in one go, so a slow change of the tester would look like a step as well."
    if found.without_trend is None:
        return
    told = [f"{_lot(late)} against {_lot(early)} {' ('.join(_words(found, found.without_trend, place))})"
            for place, (late, early) in enumerate(found.pairs)]  # fmt: skip
    yield f"With a slow change taken out: {'; '.join(told)}."
