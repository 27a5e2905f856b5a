"""An uncertainty budget in words: how uncertain a reading is, what most of it comes from, and the check."""

from __future__ import annotations

import math
from collections.abc import Iterator

import pandas as pd

from sharpstats.tester.budget import Budget
from sharpstats.tester.contribution import Contribution
from sharpstats.tester.propagate import Propagation
from sharpstats.words.blocks import Block, Folded, Line, Points, Table
from sharpstats.words.labels import clip, listing, sentence
from sharpstats.words.numbers import MINUS, NBSP, count, degrees, df_number, fixed, level_percent
from sharpstats.words.onfit import notes_blocks
from sharpstats.words.tables import Form, Row, label

WHOLE, BEND = "the whole", "second-order terms"
_SHARES = (
    (95, "nearly all"), (80, "most"), (70, "about three quarters"), (62, "about two thirds"), (55, "more than half"),
    (45, "about half"),
)  # fmt: skip
"""Words for a share of the variance, in percent, from which each holds."""
_FEW = 30
"""Degrees of freedom below which t is visibly wider than normal."""


def budget_blocks(found: Budget) -> Iterator[Block]:
    """Tell a budget."""
    yield Line(uncertainty_sentence(found))
    yield Line(largest_sentence(found))
    yield Table(with_whole(found), _caption(found), _columns(found))
    if found.check is not None:
        yield Line(check_sentence(found, found.check))
    if sentence := cancelled_sentence(found):
        yield Line(sentence)
    yield from notes_blocks(found.notes)
    yield Folded("How this was found", (Points(tuple(_method(found))),))


def digits_of(found: Budget) -> int:
    """Return the decimals that leave two digits of the expanded uncertainty."""
    return _decimals(found.expanded, 2)


def part_digits(found: Budget) -> int:
    """Return the decimals that leave three digits of the combined uncertainty."""
    return _decimals(found.combined, 3)


def _decimals(value: float, digits: int) -> int:
    """Return the decimals that leave so many digits of a number above zero."""
    return max(digits - 1 - int(f"{value:.{digits - 1}e}".split("e")[1]), 0) if 0 < value < math.inf else 0


def with_unit(value: float, unit: str, decimals: int) -> str:
    r"""Return a number with whatever unit a budget has.

    Examples
    --------
    >>> with_unit(93.4, "nm", 0), with_unit(0.51, "", 1)
    ('93\xa0nm', '0.5')
    """
    return f"{fixed(value, decimals)}{NBSP}{unit}" if unit else fixed(value, decimals)


def uncertainty_sentence(found: Budget) -> str:
    """Say how uncertain the result is."""
    either = f"{with_unit(found.expanded, found.unit, digits_of(found))} either way ({level_percent(found.level)})"
    doubtful = _hardly_known(found)
    if useless(found) and doubtful is not None:
        return (
            f"{subject(found)} is uncertain by more than all of it, {either}, because little is known of one part: "
            f"{clip(doubtful.name)}."
        )
    return f"{subject(found)} is uncertain by {either}."


def useless(found: Budget) -> bool:
    """Tell whether the uncertainty is larger than the reading itself."""
    return not found.difference and found.reading is not None and found.expanded >= abs(found.value)


def subject(found: Budget) -> str:
    """Say what is uncertain: one cut, the mean of some, the difference of two edges, or a result."""
    near = "" if found.reading is None else f" near {with_unit(found.reading, found.unit, _near(found))}"
    one = "one cut" if found.cuts == 1 else f"the mean of {count(found.cuts, 'cut')}"
    if found.difference:
        each = "one cut on each" if found.cuts == 1 else f"{count(found.cuts, 'cut')} on each"
        return f"The difference of two edges{near}, {each},"
    if found.reading is None and found.value:
        return f"The result, {with_unit(found.value, found.unit, digits_of(found))},"
    return f"{one.capitalize() if found.cuts == 1 else 'T' + one[1:]} on an edge{near}"


def _near(found: Budget) -> int:
    """Return the decimals of a reading that somebody stated: two digits of the uncertainty, or fewer."""
    assert found.reading is not None
    return min(digits_of(found), next((d for d in range(6) if round(found.reading, d) == found.reading), 6))


def largest_sentence(found: Budget) -> str:
    """Say which contributions the uncertainty mostly comes from."""
    first, *others = sorted_by_share(found)
    name, share = first
    if not others:
        return f"All of it comes from one source: {clip(name)}."
    told = next((words for least, words in _SHARES if share >= least), "")
    if told:
        return f"{told.capitalize()} of its variance ({fixed(share)}{NBSP}%) comes from one source: {clip(name)}."
    (second, next_share) = others[0]
    return (
        f"The largest source is {clip(name)} ({fixed(share)}{NBSP}% of the variance), then {clip(second)} "
        f"({fixed(next_share)}{NBSP}%)."
    )


def sorted_by_share(found: Budget) -> list[tuple[str, float]]:
    """Return names and shares of the variance in percent, the largest first; second-order terms with them."""
    parts = [(one.name, float(share)) for one, share in zip(found.contributions, found.shares, strict=True)]
    if found.with_second_order:
        parts.append((BEND, found.second_order_share))
    return sorted(parts, key=lambda part: -part[1])


def with_whole(found: Budget) -> pd.DataFrame:
    """Return the table of the budget, the largest contribution first, with a row for the whole.

    What cancels in a difference is left out.
    """
    table = found.table[[not _cancels(found, one) for one in found.contributions]]
    table = table.sort_values("share", ascending=False, kind="stable")
    last = [{"term": WHOLE, "contribution": found.combined, "share": 100.0, "df": found.effective_df}]
    if found.with_second_order:
        bend = {"term": BEND, "contribution": found.second_order, "share": found.second_order_share, "df": math.inf}
        last.insert(0, bend)
    return pd.DataFrame([*table.to_dict("records"), *last], columns=list(table.columns))


def _cancels(found: Budget, one: Contribution) -> bool:
    return found.difference and one.cancels


def cancelled_sentence(found: Budget) -> str:
    """Say what is the same for both edges of a difference; empty where nothing is."""
    names = [clip(one.name) for one in found.contributions if _cancels(found, one)]
    return f"Not in it, because the same for both edges: {listing(names)}." if names else ""


def _caption(found: Budget) -> str:
    what = subject(found)
    return f"What makes {what[0].lower()}{what[1:]} uncertain, as standard deviations"


def _columns(found: Budget) -> tuple[Form, ...]:
    decimals = part_digits(found)
    adds = Form(f"adds, {found.unit}" if found.unit else "adds", lambda row: fixed(row["contribution"], decimals),
                number=True, about="Standard uncertainty in the result's unit; squares add up.")  # fmt: skip
    share = Form("share, %", lambda row: fixed(row["share"]), number=True, about="Share of the variance of the whole.")
    known = Form("how known", _evaluation, about="A: from repeated readings. B: from anything else.")
    size = Form("size (standard)", _size, number=True, about="Standard uncertainty in its own unit.")
    df = Form("df", lambda row: df_number(row["df"]), number=True, about="Degrees of freedom: how well it is known.")
    return (label("term", "comes from"), size, known, adds, share, df)


def _size(row: Row) -> str:
    value = row["standard_uncertainty"]
    if pd.isna(value):
        return ""
    unit = row["unit"]
    return f"{value:.3g}{NBSP}{unit}" if unit else f"{value:.3g}"


def _evaluation(row: Row) -> str:
    return "" if pd.isna(row["evaluation"]) else f"{row['evaluation']}, {row['distribution']}"


def check_sentence(found: Budget, check: Propagation) -> str:
    """Say whether drawing all contributions at random confirms the interval, and which to go by if not."""
    own, limits = _both(found, check)
    drawn = (
        f"Drawing every contribution at random, {check.trials:,} times, puts {level_percent(check.level)} of the "
        f"results between {limits}"
    )
    if check.agrees:
        return f"{drawn}: that confirms the interval of the budget, {own}."
    doubtful = _hardly_known(found)
    if doubtful is not None and check.high - check.low > found.high - found.low:
        return (
            f"{drawn}, wider than the interval of the budget, {own}, because the size of {clip(doubtful.name)} is "
            f"known from few cases ({degrees(doubtful.df)}). In simulated studies such intervals for 95{NBSP}% held in "
            "89 to 97 of 100 cases, and limits drawn in 96 to 99; go by those drawn where much depends on it."
        )
    return f"{drawn}. That does not confirm the interval of the budget, {own}: go by the limits drawn."


def _both(found: Budget, check: Propagation) -> tuple[str, str]:
    """Return the budget's limits and those drawn, with a digit more where they would look alike and are not."""
    for decimals in (digits_of(found), digits_of(found) + 1):
        own = _ends(found, found.low, found.high, decimals)
        drawn = _ends(found, check.low, check.high, decimals)
        if own != drawn or check.agrees:
            break
    return own, drawn


def _ends(found: Budget, low: float, high: float, decimals: int) -> str:
    return f"{fixed(low, decimals)} and {with_unit(high, found.unit, decimals)}".replace("-", MINUS)


def _hardly_known(found: Budget) -> Contribution | None:
    """Return the contribution that most widens what is drawn: large, with few degrees of freedom."""
    parts = zip(found.contributions, found.parts, strict=True)
    few = [(float(part) ** 2 / one.df, one) for one, part in parts if one.shape == "t" and one.df < _FEW and part > 0]
    return max(few, key=lambda pair: pair[0])[1] if few else None


def _method(found: Budget) -> Iterator[str]:
    yield (
        f"Combined standard uncertainty {with_unit(found.combined, found.unit, _decimals(found.combined, 3))}, with "
        f"{degrees(found.effective_df)} in all (Welch and Satterthwaite), taken as {df_number(found.df)}; coverage "
        f"factor {fixed(found.k, 2)} from Student's t (JCGM 100:2008, 5.1.2, 6.2, G.4)."
    )
    yield "A: found from repeated readings. B: known in another way, as from a certificate or by a guess."
    if (check := found.check) is not None:
        shortest = _ends(found, check.shortest_low, check.shortest_high, digits_of(found))
        tolerance = f"{check.delta:g} {found.unit}".rstrip()
        yield (f"Monte Carlo after JCGM 101:2008 with the seed {check.seed}; limits compared to a tolerance of "
               f"{tolerance}; shortest interval between {shortest}.")  # fmt: skip
    for source in dict.fromkeys(one.source for one in found.contributions if one.source):
        names = [clip(one.name) for one in found.contributions if one.source == source]
        yield f"{sentence(listing(names)).removesuffix('.')}: {clip(source, 120).rstrip('.')}."
