"""Where the spread of a tester's readings comes from, in words: first how far two cuts differ by chance."""

from __future__ import annotations

import math
from collections.abc import Iterator

import pandas as pd

from sharpstats.tester.amounts import LIMIT_FACTOR, Amount
from sharpstats.tester.arrangement import BOTH, EDGE, OPERATOR, REPEATABILITY
from sharpstats.tester.bootstrap import Bootstrap
from sharpstats.tester.spreads import BETWEEN, INTERMEDIATE, REPRODUCIBILITY, WHOLE, Spreads
from sharpstats.words.blocks import Block, Folded, Line, Table
from sharpstats.words.labels import clip, listing
from sharpstats.words.numbers import amount, amounts, count, decimals_for, fixed, from_scale, level_percent, unit_on
from sharpstats.words.onfit import notes_blocks
from sharpstats.words.tables import Form, label, limits, number

NAMES = {
    REPEATABILITY: "one cut and the next (repeatability)",
    OPERATOR: "operators",
    BOTH: "operator x edge",
    EDGE: "edges",
    "day": "days",
    "filament lot": "filament lots",
    "tester unit": "tester units",
    BETWEEN: "two operators in all",
    REPRODUCIBILITY: "any two cuts on an edge (reproducibility)",
    INTERMEDIATE: "any two cuts on an edge (intermediate precision)",
    WHOLE: "everything, edges included",
}
"""What each part is called for people."""

FAR_OFF = 3.0
"""An interval that ends this many times above its estimate is explained."""


def named(term: str) -> str:
    """Return what a part or sum is called for people.

    Examples
    --------
    >>> named("operator"), named("day = filament lot")
    ('operators', 'days = filament lots')
    """
    return " = ".join(NAMES.get(name, clip(name)) for name in term.split(" = "))


def shown_amount(found: Spreads, term: str) -> str:
    """Return r or R with its interval, as a reader sees it."""
    return _shown(found, found.limits[term], f"limit {term}; ")


def limit_told(found: Spreads, one: Amount) -> str:
    """Return a limit, as r or R, with the ends of its interval alone."""
    value, ends = _value_and_ends(found, one)
    return f"{value} ({ends})"


def _shown(found: Spreads, one: Amount, what: str) -> str:
    value, ends = _value_and_ends(found, one)
    return f"{value} ({what}{level_percent(one.level)} interval: {ends})"


def _value_and_ends(found: Spreads, one: Amount) -> tuple[str, str]:
    unit = unit_on(found.scale, found.unit)
    value, low, high = (from_scale(part, found.scale) for part in (one.estimate, one.low, one.high))
    digits = decimals_for(_width(low, high), unit)
    ends = f"{amount(low, unit, digits)} or more" if _far_off(one) else amounts(low, high, unit, digits)
    return amount(value, unit, digits), ends


def _far_off(one: Amount) -> bool:
    """Tell whether the upper end of a limit is too far off to be of any use."""
    return one.high > FAR_OFF * one.estimate


def _width(low: float | None, high: float | None) -> float | None:
    return high - low if low is not None and high is not None and math.isfinite(high) else None


def spreads_blocks(found: Spreads) -> Iterator[Block]:
    """Tell the parts of the spread."""
    yield Line(repeatability_sentence(found))
    yield Line(reproducibility_sentence(found))
    if sentence := categories_sentence(found):
        yield Line(sentence)
    yield _parts(found)
    yield from notes_blocks(found.notes)
    yield Folded("How this was found", tuple(_details(found)))


def repeatability_sentence(found: Spreads) -> str:
    """Say how far two cuts on one edge differ by chance."""
    return (
        f"Two cuts on {_edges(found)} by the same operator differ by less than {shown_amount(found, 'r')} in 95 of 100 "
        f"pairs. {_counts(found)}"
    )


def _edges(found: Spreads) -> str:
    return "like edges" if found.layout == "like edges" else "the same edge"


def _counts(found: Spreads) -> str:
    table = found.readings
    operators = f" by {count(table['operator'].nunique(), 'operator')}" if "operator" in table else ""
    return f"Found from {count(len(table), 'cut')} on {count(table['edge'].nunique(), 'edge')}{operators}."


def reproducibility_sentence(found: Spreads) -> str:
    """Say how far two cuts differ when operators, days, lots or testers differ too."""
    if found.wide == REPEATABILITY:
        with_edges = [name for part in found.parts if part.of_edges for name in part.names if name != EDGE]
        if with_edges:
            own = " and ".join(with_edges)
            return f"Every edge had its own {own}, so what that adds cannot be told from the edges."
        same = "Operator, day, filament lot and tester were the same throughout, or not recorded"
        return f"{same}, so nothing can be said of what they add."
    parts = [part.name for part in found.parts if not part.of_edges and part.name != BOTH]
    changed = listing([name for part in parts for name in part.split(" = ")])
    alone = "" if found.by_two is None else (
        f"Two cuts on {_edges(found)} by two operators, all else the same, differ by less than "
        f"{_shown(found, found.by_two, '')}. "
    )  # fmt: skip
    limit = "limit R; " if found.wide == REPRODUCIBILITY else "intermediate precision; "
    return (
        f"{alone}Two cuts on {_edges(found)} with another {changed} differ by less than "
        f"{_shown(found, found.limits['R'], limit)}.{_why_wide(found)}"
    )


def _why_wide(found: Spreads) -> str:
    """Say which part had too few levels, where that leaves the upper end of R far off."""
    if not _far_off(found.limits["R"]):
        return ""
    own = [part for part in found.parts if not part.of_edges]
    fewest = min(part.levels for part in own)
    listed = " and ".join(f"{fewest} {named(part.name)}" for part in own if part.levels == fewest)
    return f" How much more cannot be told, because only {listed.replace(' = ', ' and ')} were tried."


def categories_sentence(found: Spreads) -> str:
    """Say how well the tester tells edges like these apart; empty where no edges were compared."""
    groups = found.categories
    if groups is None:
        return ""
    share = found.shares[found.wide]
    least = max(math.floor(groups.estimate), 1)
    told = (
        f"it tells about {count(least, 'group')} of such edges apart" if groups.estimate >= 2
        else "it hardly tells such edges apart"
    )  # fmt: skip
    return (
        f"Of the variance among these edges {amount(share.estimate, '%')} is the tester's "
        f"({level_percent(share.level)} interval: {amounts(share.low, share.high, '%')}), so {told} "
        f"(number of distinct categories {fixed(groups.estimate, 1)}; interval: {fixed(groups.low, 1)} to "
        f"{fixed(groups.high, 1)})."
    )


def _parts(found: Spreads) -> Table:
    frame, unit = _in_unit(found.table, found.scale), unit_on(found.scale, found.unit)
    digits = decimals_for(float(frame["sd"].median()), unit)
    share = Form("share of the variance, %", lambda row: fixed(row["share"]), number=True)
    columns = (_name("between"), number("sd", f"SD, {unit}", digits), limits(frame, digits, unit), share)
    return Table(frame, "Where the spread comes from: parts, then sums of parts", columns)


def _name(heading: str) -> Form:
    return Form(heading, lambda row: named(row["term"]), about=label("term").about)


def _in_unit(table: pd.DataFrame, scale: str) -> pd.DataFrame:
    shown = table.copy()
    for name in ("sd", "low", "high", "low_error", "high_error"):
        if name in shown:
            shown[name] = [from_scale(value, "log" if scale == "log" else "as read") for value in table[name]]
    return shown


def _details(found: Spreads) -> Iterator[Block]:
    yield Line(
        f"r and R are {LIMIT_FACTOR} SDs, as ISO 5725-6 has it (1.96 times the root of 2, rounded). They are limits of "
        "this tester in this shop; how far shops differ takes a round robin."
    )
    frame, unit = _in_unit(found.by_likelihood, found.scale), unit_on(found.scale, found.unit)
    digits = decimals_for(float(frame["sd"].median()), unit)
    columns = (_name("between"), number("sd", f"SD, {unit}", digits), limits(frame, digits, unit))
    yield Table(frame, "By restricted maximum likelihood, with profile intervals", columns)
    if found.squares is not None:
        kind = "Mean squares" if found.exact else "Mean squares of a layout that is not balanced"
        yield Table(found.squares.table.assign(term=list(map(named, found.squares.terms))), kind)
    else:
        yield Line(found.why_not)
    if found.check is not None:
        yield from bootstrap_blocks(found.check)


def bootstrap_blocks(check: Bootstrap) -> Iterator[Block]:
    """Tell what drawing the study again says of its intervals."""
    held = Form("intervals that held, %", lambda row: f"{fixed(row['held'], 1)} ± {fixed(row['held_error'], 1)}",
                number=True)  # fmt: skip
    reach = Form("bootstrap limits, on the scale",
                 lambda row: f"{_end(row['low'], row['low_error'])} to {_end(row['high'], row['high_error'])}",
                 number=True)  # fmt: skip
    yield Table(check.table, f"A check: the study drawn again {check.draws:,} times from its own estimates (seed "
                f"{check.seed}); the ± is the error of the drawing", (label("term", "SD"), held, reach))  # fmt: skip


def _end(value: float, error: float) -> str:
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "unlimited"
    digits = max(0, 2 - math.floor(math.log10(value))) if value > 0 else 2
    return f"{value:.{digits}f}" + (f" ± {error:.{digits}f}" if math.isfinite(error) else "")
