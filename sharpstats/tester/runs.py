"""Runs rules: patterns in a series that a steady tester seldom makes, and how seldom.

A rule gives a severity at each value, in the light of those before it; it speaks where the severity
reaches its limit. With a known centre and spread its false alarms follow exactly: for values beyond
lines from a Markov chain, for rising and falling runs by counting orders.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A pattern to look for.

    Attributes
    ----------
    code : str
        Short fixed name.
    usual : float
        Limit in common use: standard deviations, or a number of values in a row.
    counted : bool
        Whether the severity is a number of values in a row.
    span : int
        Number of values that the pattern takes up; 0 where its limit says so.
    trace : callable
        Takes deviations in standard deviations, shape (..., n), gives severities of that shape.
    """

    code: str
    usual: float
    counted: bool
    span: int
    trace: Callable[[Floats], Floats]


def beyond(deviations: Floats, hits: int, window: int) -> Floats:
    """Largest distance that `hits` of the last `window` values share on one side, at each value.

    Parameters
    ----------
    deviations : ndarray of shape (..., n)
        In standard deviations.
    hits, window : int

    Returns
    -------
    ndarray of shape (..., n)
        In standard deviations; minus infinity before there are `hits` values.

    Examples
    --------
    >>> beyond(np.array([2.1, 0.3, 2.4, -0.2]), 2, 3)
    array([-inf,  0.3,  2.1,  0.3])
    """
    if window == 1:
        return np.abs(deviations)
    before = np.full((*deviations.shape[:-1], window - 1), -np.inf)
    found = []
    for side in (deviations, -deviations):
        windows = sliding_window_view(np.concatenate([before, side], axis=-1), window, axis=-1)
        found.append(np.partition(windows, window - hits, axis=-1)[..., window - hits])
    return np.maximum(*found)


def one_side(deviations: Floats) -> Floats:
    """Number of values in a row, the present one included, on the same side of the centre.

    Examples
    --------
    >>> one_side(np.array([0.2, 1.0, -0.3, -0.1, -2.0]))
    array([1., 2., 1., 2., 3.])
    """
    return _run(np.sign(deviations))


def one_way(deviations: Floats) -> Floats:
    """Number of values in a row, the present one included, each above (or each below) the one before.

    Examples
    --------
    >>> one_way(np.array([0.2, 1.0, 1.1, -0.1, -0.1]))
    array([1., 2., 3., 2., 1.])
    """
    steps = np.sign(np.diff(deviations, axis=-1))
    first = np.ones((*deviations.shape[:-1], 1))
    return np.concatenate([first, 1 + _run(steps)], axis=-1)


def _run(signs: Floats) -> Floats:
    """Length of the run of one sign up to each place; 0 where the sign is 0."""
    place = np.arange(signs.shape[-1])
    breaks = np.ones(signs.shape, dtype=bool)
    breaks[..., 1:] = signs[..., 1:] != signs[..., :-1]
    start = np.maximum.accumulate(np.where(breaks, place, 0), axis=-1)
    return np.where(signs == 0, 0.0, place - start + 1.0)


FAR = Rule(code="far", usual=3.0, counted=False, span=1, trace=lambda z: beyond(z, 1, 1))
TWO_OF_THREE = Rule(code="two-of-three", usual=2.0, counted=False, span=3, trace=lambda z: beyond(z, 2, 3))
FOUR_OF_FIVE = Rule(code="four-of-five", usual=1.0, counted=False, span=5, trace=lambda z: beyond(z, 4, 5))
ONE_SIDE = Rule(code="one-side", usual=8.0, counted=True, span=0, trace=one_side)
ONE_WAY = Rule(code="one-way", usual=6.0, counted=True, span=0, trace=one_way)
ZONES = {FAR.code: (1, 1), TWO_OF_THREE.code: (2, 3), FOUR_OF_FIVE.code: (4, 5)}
"""Hits and window of the rules on values beyond a line."""


# --- false alarms with a known centre and spread -------------------------------------------------


@dataclass(frozen=True, slots=True)
class Watch:
    """`hits` of the last `window` values lie beyond `line` standard deviations on one side.

    Attributes
    ----------
    hits, window : int
    line : float
        0 stands for the centre itself.
    """

    hits: int
    window: int
    line: float


def watch(rule: Rule, limit: float) -> Watch:
    """Return what a rule with that limit watches for.

    Examples
    --------
    >>> watch(TWO_OF_THREE, 2.0), watch(ONE_SIDE, 8)
    (Watch(hits=2, window=3, line=2.0), Watch(hits=8, window=8, line=0.0))
    """
    if rule.code in ZONES:
        return Watch(*ZONES[rule.code], limit)
    if rule.code == ONE_SIDE.code:
        return Watch(int(limit), int(limit), 0.0)
    raise ValueError(f"rule {rule.code!r} does not watch a line")


@lru_cache
def run_length(watches: tuple[Watch, ...], *, shift: float = 0.0) -> float:
    """Mean number of values until one of the patterns shows.

    Parameters
    ----------
    watches : tuple of Watch
    shift : float
        How far the values lie off the centre, in standard deviations.

    Returns
    -------
    float
        Number of values, the one that completes the pattern included.

    Notes
    -----
    States are the last values' places beyond the lines, as far as a pattern can still grow from
    them; each value leads from one to another with the normal probability of its zone.

    References
    ----------
    Champ, C. W. & Woodall, W. H. (1987). Technometrics 29:393-399.

    Examples
    --------
    >>> round(run_length((watch(FAR, 3.0),)), 1), round(run_length((watch(FAR, 3.0), watch(TWO_OF_THREE, 2.0))), 2)
    (370.4, 225.44)
    """
    step = _chain(watches, shift)
    return float(np.linalg.solve(np.eye(len(step)) - step, np.ones(len(step)))[0])


@lru_cache
def alarm_rate(watches: tuple[Watch, ...], n: int) -> float:
    """Share of steady series of n values in which one of the patterns shows.

    Parameters
    ----------
    watches : tuple of Watch
    n : int
        Number of values.

    Returns
    -------
    float
        Between 0 and 1.

    Examples
    --------
    >>> round(alarm_rate((watch(FAR, 3.0),), 96), 4)
    0.2286
    """
    step = _chain(watches, 0.0)
    quiet = np.ones(len(step))
    for _ in range(n):
        quiet = step @ quiet
    return float(1 - quiet[0])


State = tuple[tuple[int, ...], ...]


@lru_cache
def _chain(watches: tuple[Watch, ...], shift: float) -> Floats:
    """Probabilities of going from state to state without a pattern; the first state knows nothing."""
    lines = sorted({side * found.line for found in watches for side in (-1, 1)})
    edges = np.array([-np.inf, *lines, np.inf]) - shift
    chances = np.diff(special.ndtr(edges))
    zones = [_beyond_lines(watches, lines, zone) for zone in range(len(chances))]
    states: dict[State, int] = {tuple(() for _ in range(2 * len(watches))): 0}
    moves: list[tuple[int, int, float]] = []
    queue = list(states)
    for state in queue:
        for hit, chance in zip(zones, chances, strict=True):
            after = _after(watches, state, hit)
            if after is not None:
                if after not in states:
                    states[after] = len(states)
                    queue.append(after)
                moves.append((states[state], states[after], float(chance)))
    step = np.zeros((len(states), len(states)))
    for start, end, chance in moves:
        step[start, end] += chance
    return step


def _beyond_lines(watches: tuple[Watch, ...], lines: Sequence[float], zone: int) -> tuple[bool, ...]:
    """Whether values of a zone (between two neighbouring lines) count for each watch, above and below."""
    above = [zone > lines.index(found.line) for found in watches]
    below = [zone <= lines.index(-found.line) for found in watches]
    return (*above, *below)


def _after(watches: tuple[Watch, ...], state: State, hit: tuple[bool, ...]) -> State | None:
    """Ages of the hits that still matter after one more value; None where a pattern shows."""
    after = []
    for found, ages, now in zip((*watches, *watches), state, hit, strict=True):
        kept = ([1] if now else []) + [age + 1 for age in ages]
        if len(kept) >= found.hits:
            return None
        after.append(_useful(kept, found))
    return tuple(after)


def _useful(ages: list[int], found: Watch) -> tuple[int, ...]:
    """Leave out hits too old to be part of a pattern, however the next values fall."""
    return tuple(
        age
        for place, age in enumerate(ages, start=1)
        if age < found.window and place + found.window - age >= found.hits
    )


@lru_cache
def one_way_rate(length: int, n: int) -> float:
    """Share of steady series of n values with `length` in a row that rise, or that fall.

    Parameters
    ----------
    length : int
        Number of values in the run, two or more.
    n : int
        Number of values in the series.

    Returns
    -------
    float
        Between 0 and 1; the same for every continuous distribution.

    Notes
    -----
    Counted over all orders of n values by the rank of the last among those so far.

    Examples
    --------
    >>> round(one_way_rate(3, 3), 6), round(one_way_rate(6, 96), 4)
    (0.333333, 0.1967)
    """
    return float(1 - _quiet(length, n)[n])


@lru_cache
def one_way_length(length: int) -> float:
    """Mean number of values until `length` in a row rise, or fall.

    Parameters
    ----------
    length : int
        Number of values in the run, two or more.

    Returns
    -------
    float
        Number of values, the last of the run included.

    Examples
    --------
    >>> round(one_way_length(2), 6), round(one_way_length(3), 3)
    (2.0, 4.816)
    """
    quiet = _quiet(length, _FAR_ON)
    fading = quiet[-1] / quiet[-2] if quiet[-2] else 0.0  # by then each value leaves the same share quiet
    return float(quiet[:-1].sum() + quiet[-1] / (1 - fading))


_FAR_ON = 200


def _quiet(length: int, n: int) -> Floats:
    """Share of series without such a run among their first 0, 1, ..., n values."""
    if length < 2:
        raise ValueError(f"`length` must be two or more, got {length}")
    quiet = np.ones(n + 1)
    rising = np.zeros((length, 2))  # by length of the run that ends here, and rank of its last value
    rising[2:3, 1] = 0.5
    for place in range(2, n + 1):
        quiet[place] = 2 * rising.sum()  # falling runs by symmetry
        lower = np.zeros((length, place + 1))
        lower[3:, 1:] = np.cumsum(rising[2:-1], axis=1)
        lower[2:3, 1:] = np.cumsum(rising.sum(axis=0)[::-1])
        rising = lower / (place + 1)
    return quiet
