"""How a trial shows itself: what was asked, what was read, what was set aside, what is next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import pandas as pd

from sharpstats.notes import Note
from sharpstats.trial.trial import Trial
from sharpstats.words.blocks import Block, Folded, Heading, Line, Points, Table
from sharpstats.words.labels import clip, listing, one_line, sentence
from sharpstats.words.numbers import count
from sharpstats.words.tables import label, whole

MOST_ROWS = 20
FEW = 3


def trial_blocks(trial: Trial) -> Iterator[Block]:
    """Tell a trial."""
    yield Heading(trial.plan.title)
    if trial.plan.question:
        yield Line(trial.plan.question)
    if trial.plan.publishing.invented:
        yield Line("The readings of this trial are invented.")
    yield Line(_counts(trial))
    yield _compared(trial)
    yield from set_aside_blocks(trial.set_aside)
    yield from noted("Repaired in order to read the files", trial.repairs)
    yield from noted("Cautions", trial.cautions)
    yield from _freeze(trial)
    yield Line(_next(trial))


def _counts(trial: Trial) -> str:
    counts = trial.counts
    parts = [
        f"{count(counts['read'], 'row')} read: {counts['used']:,} used, {counts['set_aside']:,} set aside.",
        f"{count(counts['edges'], 'edge')} to compare" + _controls(counts["control_edges"]) + ".",
    ]
    if over := counts["over_range"]:
        cuts = count(over, "cut")
        parts.append(f"{cuts} over the tester's range: taken as \"at least so much\", not left out.")
    return " ".join(parts)


def _controls(number: int) -> str:
    return f", {count(number, 'control edge')}" if number else ""


def _compared(trial: Trial) -> Table:
    plan = trial.plan
    rows = [(name, listing([clip(level, 40) for level in levels])) for name, levels in plan.factors.items()]
    compared = trial.readings[trial.readings["role"] != "control"]
    rows += [(name, f"a sample of {compared[name].nunique()}") for name in plan.layout.blocks]
    frame = pd.DataFrame(rows, columns=["term", "at"])
    columns = (label("term", "column"), label("at", "levels"))
    return Table(frame, "What is compared, and what counts as a sample of more", columns)


def set_aside_blocks(aside: pd.DataFrame) -> Iterator[Block]:
    """Show the rows that are set aside: how many for which reason, and each one on demand."""
    if aside.empty:
        return
    grouped = aside.groupby("code", sort=False)
    frame = pd.DataFrame({
        "term": [str(code).replace("-", " ") for code in grouped.groups],
        "rows": grouped.size().to_numpy(),
        "at": [f"{group['file'].iloc[0]}, row {group['row'].iloc[0]}" for _, group in grouped],
    })  # fmt: skip
    yield Table(frame, "Rows set aside", (label("term", "reason"), whole("rows"), label("at", "first one")))
    shown = aside.head(MOST_ROWS)
    title = f"Each row set aside{f' (the first {MOST_ROWS})' if len(aside) > MOST_ROWS else ''}"
    yield Folded(title, (Points(tuple(map(_row, shown.itertuples()))),))


def _row(row: Any) -> str:
    return f"{row.file}, row {row.row}, {clip(row.column)}: {sentence(one_line(row.reason))}"


def noted(title: str, notes: Sequence[Note]) -> Iterator[Block]:
    """Show notes under a title, folded where they are many."""
    if not notes:
        return
    texts = [note.text for note in notes]
    if len(texts) <= FEW:
        yield Heading(title)
        yield Points(tuple(texts))
    else:
        yield Folded(f"{title}: {len(texts)}", (Points(tuple(texts)),))


def _freeze(trial: Trial) -> Iterator[Block]:
    if trial.frozen is None:
        yield Line("The plan is not frozen: nothing shows that it was written before the readings.")
        return
    changes = f" {count(len(trial.differences), 'difference')} since:" if trial.differences else " It is unchanged."
    yield Line(f"The plan was frozen on {trial.frozen.frozen_at[:10]}.{changes}")
    if trial.differences:
        yield Points(tuple(trial.differences))


def _next(trial: Trial) -> str:
    claims = len(trial.plan.claims)
    judge = f"trial.judge() judges {'its claim' if claims == 1 else f'its {claims} claims'}"
    return f"Next: trial.fit() gives means and differences; {judge}." if claims else (
        "Next: trial.fit() gives means and differences. The plan makes no claim yet."
    )  # fmt: skip
