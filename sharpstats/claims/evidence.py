"""What a claim's kind hands over before the family has shared out the error rate."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from sharpstats.claims.finding import Outcome, Part, SecondOpinion
from sharpstats.notes import Note


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """Numbers of one claim, with functions for what depends on the error rate.

    Attributes
    ----------
    p_shown, p_contradicted : float
        p values for the claim and against it; NaN where the layout cannot answer.
    unit : str
    estimate, df, estimate_on_scale, se : float
    bound_low, bound_high : float or None
    tails : int
        Sides on which a wrong "shown" can fall: 2 for a claim that is true outside its bounds.
    real : bool or None
    interval : callable
        Error rate of one side -> the two limits, as reported.
    more_edges : callable
        Error rate of one side -> edges to add for each medium; None for more than 1,000.
    opinions : callable
        Error rate and outcome -> second opinions; empty where there is none.
    further_notes : callable
        Returns the notes that take work: on second opinions that the layout does not allow, and on the scale.
    edges, cuts : mapping of str to int
    parts : callable
        Error rate of one side -> the differences that a gap is made of.
    notes : tuple of Note
    """

    p_shown: float
    p_contradicted: float
    unit: str
    estimate: float
    df: float
    estimate_on_scale: float
    se: float
    bound_low: float | None
    bound_high: float | None
    real: bool | None
    interval: Callable[[float], tuple[float, float]]
    more_edges: Callable[[float], int | None]
    opinions: Callable[[float, Outcome], tuple[SecondOpinion, ...]]
    edges: Mapping[str, int]
    cuts: Mapping[str, int]
    further_notes: Callable[[], tuple[Note, ...]] = tuple
    tails: int = 1
    parts: Callable[[float], tuple[Part, ...]] = lambda rate: ()
    notes: tuple[Note, ...] = ()


def outcome(p_shown: float, p_contradicted: float, rate: float) -> Outcome:
    """Finding at an error rate.

    Examples
    --------
    >>> outcome(0.01, 0.9, 0.05), outcome(0.4, 0.3, 0.05)
    ('shown', 'open')
    """
    if p_shown <= rate:
        return "shown"
    return "contradicted" if p_contradicted <= rate else "open"
