"""Several runs rules on one series, with limits that cry wolf in five of a hundred steady series.

The usual limits are set for a chart that runs for years, one cut after another: on a study's whole
series, with six rules at once, they are crossed more often than not by chance. So limits are set
from steady series like this one: as many cuts, the same means taken out, centre and spread
estimated the same way. Each rule gets the same share of the false alarms.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.late import Shown
from sharpstats.tester import ewma, runs
from sharpstats.tester.limits import ControlLimits, constants
from sharpstats.tester.runs import FAR, FOUR_OF_FIVE, ONE_SIDE, ONE_WAY, TWO_OF_THREE, Rule
from sharpstats.tester.series import Series

Floats = NDArray[np.float64]

WEIGHT = 0.2
"""Weight of the newest cut in the average: best for a change of about one standard deviation."""
USUAL_LENGTH = 370.398
"""Cuts between false alarms of a single limit at three standard deviations; the average's usual limit has the same."""
AVERAGE = Rule(
    code="average", usual=ewma.reach_for(WEIGHT, USUAL_LENGTH), counted=False, span=0,
    trace=lambda z: np.abs(ewma.standardised(z, WEIGHT)),
)  # fmt: skip
RULES = (FAR, TWO_OF_THREE, FOUR_OF_FIVE, ONE_SIDE, ONE_WAY, AVERAGE)
RATE = 0.05
_NUMBERS = 2_000_000
"""Numbers drawn in all for a series of ordinary length."""
_DRAWS = (2_000, 10_000)
"""Fewest and most series drawn."""
_CHUNK = 500_000
"""Numbers held at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """Where a rule speaks.

    Attributes
    ----------
    rule : str
        Code of the rule.
    first, last : int
        Places (from 0) of the first and last cut of the pattern.
    """

    rule: str
    first: int
    last: int


@dataclass(frozen=True, eq=False, kw_only=True)
class Alarms(Shown):
    """What the rules say of a series, and how often they would say it of a steady one.

    Attributes
    ----------
    rules : tuple of str
        Codes of the rules; the arrays that follow have one entry for each.
    usual, apart : ndarray
        Usual limit (standard deviations, or cuts in a row) and the mean number of cuts between
        false alarms that it gives, centre and spread known.
    usual_known, usual_rates : ndarray
        Share of steady series of this length in which the usual limit is crossed: centre and spread
        known (exact), and estimated from the same cuts (by simulation).
    usual_joint_known, usual_joint : float
        The same for all rules together, both by simulation.
    limits, rates : ndarray
        Limit that is used here, and the share of steady series that cross it.
    joint : float
        Share of steady series that cross any of the limits used here.
    worst, p : ndarray
        The most that this series does, and how often a steady one does as much.
    p_joint : float
        How often a steady series does anything as rare as the rarest that this one does.
    signals : tuple of Signal
        Where a limit that is used here is crossed.
    cuts, draws, seed : int
        Length of the series; number of simulated series, and the seed.
    """

    rules: tuple[str, ...]
    usual: Floats
    apart: Floats
    usual_known: Floats
    usual_rates: Floats
    usual_joint_known: float
    usual_joint: float
    limits: Floats
    rates: Floats
    joint: float
    worst: Floats
    p: Floats
    p_joint: float
    signals: tuple[Signal, ...]
    cuts: int
    draws: int
    seed: int = field(repr=False)

    @property
    def steady(self) -> bool:
        """Whether no rule speaks."""
        return not self.signals

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a rule: term, usual, apart, usual_rate, limit, rate, worst, p, spoken."""
        counted = [sum(signal.rule == rule for signal in self.signals) for rule in self.rules]
        return pd.DataFrame({
            "term": self.rules, "usual": self.usual, "apart": self.apart, "usual_rate": self.usual_rates,
            "limit": self.limits, "rate": self.rates, "worst": self.worst, "p": self.p, "spoken": counted,
        })  # fmt: skip


def find_alarms(series: Series, limits: ControlLimits, *, rate: float = RATE, seed: int = 1) -> Alarms:
    """Look for patterns that a steady tester seldom makes.

    Parameters
    ----------
    series : Series
    limits : ControlLimits
        Its centre and spread.
    rate : float
        Share of steady series in which any rule may speak.
    seed : int
        Seed of the simulated series.

    Returns
    -------
    Alarms

    Notes
    -----
    Each simulated series has for every rule the share of series that do at least as much; its smallest
    share, over the rules, says how rare its rarest pattern is. Limits are where that smallest share
    is undercut by `rate` of the series (Westfall & Young, 1993, the smallest of several p values).

    References
    ----------
    Western Electric (1956). Statistical Quality Control Handbook (zones). Nelson, L. S. (1984).
    Journal of Quality Technology 16:237-239 (rising runs).
    """
    chance = simulated(series, np.random.default_rng(seed))
    traces = [rule.trace((series.deviations - limits.centre) / limits.sd_neighbours) for rule in RULES]
    worst = np.array([trace.max() for trace in traces])
    lines, joint = _lines(chance, rate)
    p, p_joint = _shares(chance.ordered, worst[None])[0], chance.joint(worst)
    cuts, usual = len(series.deviations), np.array([rule.usual for rule in RULES])
    return Alarms(
        rules=tuple(rule.code for rule in RULES), usual=usual, apart=np.array([apart(rule) for rule in RULES]),
        usual_known=np.array([known_rate(rule, cuts) for rule in RULES]),
        usual_rates=(chance.most >= usual).mean(axis=0), usual_joint=float((chance.most >= usual).any(axis=1).mean()),
        usual_joint_known=float((chance.most_known >= usual).any(axis=1).mean()),
        limits=lines + [rule.counted for rule in RULES], rates=(chance.most > lines).mean(axis=0), joint=joint,
        worst=worst, p=np.maximum(p, 1 / chance.draws), p_joint=max(p_joint, 1 / chance.draws),
        signals=tuple(_signals(traces, lines)), cuts=cuts, draws=chance.draws, seed=seed,
    )  # fmt: skip


@dataclass(frozen=True, eq=False, slots=True)
class Chance:
    """The most that each rule sees in steady series.

    Attributes
    ----------
    most : ndarray of shape (draws, rules)
        Largest severities, with centre and spread estimated from the series itself.
    most_known : ndarray of shape (fewer draws, rules)
        The same with centre and spread known.
    """

    most: Floats
    most_known: Floats

    @property
    def draws(self) -> int:
        """Number of series."""
        return len(self.most)

    @property
    def ordered(self) -> Floats:
        """Largest severities in rising order, rule by rule."""
        return np.sort(self.most, axis=0)

    @property
    def rarest(self) -> Floats:
        """How rare the rarest pattern of each series is, (draws,)."""
        return _shares(self.ordered, self.most).min(axis=1)

    def joint(self, worst: Floats) -> float:
        """Share of series with anything as rare as the rarest of these."""
        return float((self.rarest <= _shares(self.ordered, worst[None]).min()).mean())


def simulated(series: Series, rng: np.random.Generator) -> Chance:
    """Draw steady series of the same length with the same means taken out."""
    cuts = len(series.deviations)
    draws = int(np.clip(_NUMBERS // cuts, *_DRAWS))
    step = max(1, _CHUNK // cuts)
    spread, d2 = series.neighbours.sum() / math.sqrt(2), constants(2).d2
    parts, known = [], []
    for start in range(0, draws, step):
        noise = rng.standard_normal((min(step, draws - start), cuts))
        values = series.steady(noise)
        values -= values.mean(axis=1, keepdims=True)
        values /= np.abs(np.diff(values, axis=1)).sum(axis=1, keepdims=True) / (d2 * spread)
        parts.append(_largest(values))
        if start < _DRAWS[0]:  # enough for a rate that nothing rests on
            known.append(_largest(noise[: _DRAWS[0]]))
    return Chance(np.vstack(parts), np.vstack(known))


def _largest(deviations: Floats) -> Floats:
    return np.column_stack([rule.trace(deviations).max(axis=1) for rule in RULES])


def _shares(ordered: Floats, values: Floats) -> Floats:
    """Share of simulated series that do at least as much, for each value (rows) and rule (columns)."""
    draws = len(ordered)
    below = [np.searchsorted(ordered[:, k], values[:, k], side="left") for k in range(values.shape[1])]
    return 1 - np.column_stack(below) / draws


def _lines(chance: Chance, rate: float) -> tuple[Floats, float]:
    """Severities that must be exceeded so that `rate` of steady series at most exceed any; and their share."""
    rarest, ordered = np.sort(chance.rarest), chance.ordered
    allowed = int(rate * len(rarest))  # series that may speak; the next rarest share must not
    share = rarest[allowed]
    lines = np.array([column[_shares(column[:, None], column[:, None])[:, 0] >= share].max() for column in ordered.T])
    return lines, float((rarest < share).mean())


def _signals(traces: list[Floats], lines: Floats) -> Iterator[Signal]:
    """Find where each rule speaks; what it says of cuts in a row is said once."""
    for rule, trace, line in zip(RULES, traces, lines, strict=True):
        crossed = trace > line
        starts = np.flatnonzero(np.diff(crossed, prepend=False) & crossed)
        for start in starts:
            last = start + int(np.argmin(np.append(crossed[start:], False))) - 1
            first = start - (rule.span or (int(trace[start]) if rule.counted else 1)) + 1
            yield Signal(rule=rule.code, first=max(int(first), 0), last=int(last))


def known_rate(rule: Rule, cuts: int) -> float:
    """Share of steady series in which a rule's usual limit is crossed, centre and spread known.

    Examples
    --------
    >>> round(known_rate(FAR, 96), 3), round(known_rate(AVERAGE, 96), 3)
    (0.229, 0.231)
    """
    if rule.code == AVERAGE.code:
        return ewma.alarm_rate(WEIGHT, rule.usual, cuts)
    if rule.code == ONE_WAY.code:
        return runs.one_way_rate(int(rule.usual), cuts)
    return runs.alarm_rate((runs.watch(rule, rule.usual),), cuts)


def apart(rule: Rule) -> float:
    """Mean number of cuts between false alarms of a rule's usual limit, centre and spread known.

    Examples
    --------
    >>> round(apart(FAR)), round(apart(AVERAGE)), round(apart(ONE_WAY))
    (370, 370, 422)
    """
    if rule.code == AVERAGE.code:
        return ewma.run_length(WEIGHT, rule.usual)
    if rule.code == ONE_WAY.code:
        return runs.one_way_length(int(rule.usual))
    return runs.run_length((runs.watch(rule, rule.usual),))
