"""The seed of everything that is drawn in a study."""

from __future__ import annotations

from sharpstats.tester.plan import TesterPlan

UNSTATED = 1
"""Seed where the plan states none."""


def seed_of(plan: TesterPlan) -> int:
    """Return the seed that a plan states, or 1.

    Examples
    --------
    >>> seed_of(TesterPlan(title="Ours"))
    1
    """
    return UNSTATED if plan.layout.seed is None else plan.layout.seed
