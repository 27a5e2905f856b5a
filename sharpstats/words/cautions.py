"""Cautions: how to stay whole at the bench, and what a trial does not say."""

from __future__ import annotations

from collections.abc import Iterator

from sharpstats.claims.finding import Findings
from sharpstats.model.trialfit import MEDIUM, TrialFit
from sharpstats.words.labels import clip, listing
from sharpstats.words.numbers import count
from sharpstats.words.passage import Passage

SAFETY = (
    "Wear a cut-resistant glove on the holding hand, clamp the blade, and keep the edge away from your body, whether "
    "you sharpen, dull or test it.",
    "Protect your eyes at any powered wheel.",
    "Keep abrasives wet. Never raise dry dust from stone, slate, brick or other masonry: it holds crystalline silica.",
    "Keep polishing compounds off the skin and out of the lungs.",
    "Count the blades before you clear the bench.",
    "The makers' instructions, local rules and workplace safety advice come before anything written here.",
)
MOST_NAMES = 6


def safety() -> Passage:
    """Return the cautions for whoever makes such edges.

    Examples
    --------
    >>> safety().points[1]
    'Protect your eyes at any powered wheel.'
    """
    return Passage("Before you touch a blade", points=SAFETY)


def limits(result: Findings | TrialFit) -> Passage:
    """Say what a trial does not say.

    Parameters
    ----------
    result : Findings or TrialFit

    Returns
    -------
    Passage
    """
    fit = result.fit if isinstance(result, Findings) else result
    return Passage("What this does not say", points=tuple(_limits(fit)))


def _limits(fit: TrialFit) -> Iterator[str]:
    plan = fit.trial.plan
    if plan.publishing.invented:
        yield "The readings are invented: they say nothing about anything real."
    factors = {name: _compared(fit, name) for name in plan.factors}
    yield (
        f"The pieces, not their kinds: each medium ({_names(factors[MEDIUM])}) stands for the piece that was "
        "used. Another piece of the same name may do better or worse."
    )
    yield from _samples(fit)
    others = [f"{clip(name)} ({_names(levels)})" for name, levels in factors.items() if name != MEDIUM]
    if others:
        yield f"Nothing beyond what was compared: {listing(others)}."
    yield (
        "A reading is the force at which a filament parts. Whether the edge cuts wood or food better, or stays keen "
        "for longer, was not asked."
    )


def _compared(fit: TrialFit, name: str) -> tuple[str, ...]:
    """Levels of a factor that are in the comparison, in the order of the plan."""
    held = set(fit.data[name].unique())
    return tuple(level for level in fit.trial.plan.factors[name] if level in held)


def _names(levels: tuple[str, ...]) -> str:
    more = len(levels) - MOST_NAMES
    shown = [clip(level, 40) for level in levels[:MOST_NAMES]]
    return listing([*shown, f"{more} more"] if more > 0 else shown)


def _samples(fit: TrialFit) -> Iterator[str]:
    """Say for whom it holds: blocks are a sample of more; whatever is no block is what it was."""
    blocks = fit.trial.plan.layout.blocks
    for name in blocks:
        number = int(fit.data[name].nunique())
        if number == 1:
            yield f"It holds for the one {clip(name)} of this trial: nothing is known about other ones."
            continue
        yield f"It holds for {clip(name)}s like the {number} of this trial, as far as those were picked without favour."
    if "blade" not in blocks and "blade" in fit.data:
        yield f"It holds for these {count(int(fit.data['blade'].nunique()), 'blade')}."
    if "operator" not in blocks:
        hands = int(fit.data["operator"].nunique()) if "operator" in fit.data else 0
        known = f" ({count(hands, 'operator')})" if hands else ""
        yield f"It holds for the hands that made these edges{known}, at their skill."
