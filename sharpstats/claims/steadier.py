"""`steadier`: edges made on the medium differ less from each other than those made on the other one.

What is compared are the SDs between edges, the error of a cut taken out, from a fit in which each
medium has its own. As differences of them grow with the reading on the scale as read, they are
compared as a ratio on either scale.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from sharpstats.claims.compare import edges_where
from sharpstats.claims.contrast import at_levels
from sharpstats.claims.evidence import Evidence, outcome
from sharpstats.claims.finding import Outcome, SecondOpinion
from sharpstats.claims.settle import fewest
from sharpstats.claims.simulated import spread_note
from sharpstats.errors import FitError
from sharpstats.model.mixed import MixedFit
from sharpstats.model.ratio import SpreadRatio
from sharpstats.model.trialfit import TrialFit
from sharpstats.model.twospreads import bonett, brown_forsythe
from sharpstats.notes import Note
from sharpstats.trial.plan import Steadier

Floats = NDArray[np.float64]
NOT_NORMAL = 0.05
"""p value at which edges are said not to look normal."""
FEWEST_TESTED, MOST_TESTED = 8, 5000
"""Edges between which the test of normality tells something."""


def evidence(claim: Steadier, fit: TrialFit) -> Evidence:
    """Test whether the spread of `medium` is smaller than that of `than`.

    Parameters
    ----------
    claim : Steadier
    fit : TrialFit

    Returns
    -------
    Evidence
        Estimate and limits are percent: how much larger the medium's SD between edges is.
    """
    edges = edges_where(fit, claim.where)
    pair = {name: edges[edges["medium"] == name] for name in (claim.medium, claim.than)}
    try:
        _check_edges(pair, claim.where)
        return Compared(claim, fit, fit.spreads(list(pair), claim.where), pair).evidence
    except FitError as problem:
        return _unknown(claim, pair, str(problem))


def bound_of(claim: Steadier) -> float:
    """Largest ratio of the SDs that makes the claim true.

    Examples
    --------
    >>> from sharpstats.units import Quantity
    >>> round(bound_of(Steadier(id="a", says="", medium="x", than="y", by=Quantity(20.0, "%"))), 4)
    0.8333
    """
    return 1 / (1 + claim.by.value / 100)


def percent(ratio: float) -> float:
    """A ratio as percent more, or less where negative.

    Examples
    --------
    >>> percent(0.75), percent(math.inf)
    (-25.0, inf)
    """
    return 100 * (ratio - 1)


def _check_edges(pair: Mapping[str, pd.DataFrame], where: Mapping[str, str]) -> None:
    for name, edges in pair.items():
        if len(edges) < 2:
            made = "One edge was" if len(edges) else "No edge was"
            raise FitError(f"{made} made with {name}{at_levels(where)}: how far such edges differ takes two at least.")


def _unknown(claim: Steadier, pair: Mapping[str, pd.DataFrame], problem: str) -> Evidence:
    nan = math.nan
    return Evidence(
        p_shown=nan, p_contradicted=nan, estimate=nan, estimate_on_scale=nan, real=None,
        interval=lambda rate: (nan, nan), more_edges=lambda rate: None, opinions=lambda rate, found: (),
        notes=(Note("not-answered", problem),), **_common(claim, pair),
    )  # fmt: skip


def _common(claim: Steadier, pair: Mapping[str, pd.DataFrame]) -> dict[str, Any]:
    return {
        "unit": "%", "df": math.nan, "se": math.nan, "bound_low": None, "bound_high": percent(bound_of(claim)),
        "edges": {name: len(edges) for name, edges in pair.items()},
        "cuts": {name: int(edges["cuts"].sum()) for name, edges in pair.items()},
    }  # fmt: skip


@dataclass(frozen=True)
class Compared:
    """The two spreads of a claim, fitted.

    Attributes
    ----------
    claim : Steadier
    fit : TrialFit
    spreads : MixedFit
        With a spread of its own for each medium.
    pair : mapping of str to DataFrame
        Edges of the two media.
    """

    claim: Steadier
    fit: TrialFit
    spreads: MixedFit
    pair: Mapping[str, pd.DataFrame]

    @cached_property
    def _places(self) -> tuple[int, int]:
        return self.spreads.structure.place_of(self.claim.medium), self.spreads.structure.place_of(self.claim.than)

    @cached_property
    def _turned(self) -> bool:
        """Whether the ratio is kept upside down: one way round for both, so that swapping changes no digit."""
        return self._places[0] > self._places[1]

    @cached_property
    def _ratio(self) -> SpreadRatio:
        return SpreadRatio(self.spreads.reduced, self.spreads.optimum, *sorted(self._places))

    @property
    def log_estimate(self) -> float:
        """Log of the medium's SD over the other one's."""
        return -self._ratio.log_estimate if self._turned else self._ratio.log_estimate

    def p_below(self, ratio: float) -> float:
        """P value that the ratio is less than `ratio`."""
        return self._ratio.p_above(1 / ratio) if self._turned else self._ratio.p_below(ratio)

    def p_above(self, ratio: float) -> float:
        """P value that the ratio is more than `ratio`."""
        return self._ratio.p_below(1 / ratio) if self._turned else self._ratio.p_above(ratio)

    def limits(self, rate: float) -> tuple[float, float]:
        """Limits of the ratio."""
        low, high = self._ratio.limits(rate)
        return (_inverse(high), _inverse(low)) if self._turned else (low, high)

    @property
    def evidence(self) -> Evidence:
        """All that the family needs to know."""
        bound, half = bound_of(self.claim), self.fit.trial.plan.alpha / 2
        return Evidence(
            p_shown=self.p_below(bound), p_contradicted=self.p_above(bound),
            estimate=percent(math.exp(self.log_estimate)), estimate_on_scale=self.log_estimate,
            real=min(self.p_below(1.0), self.p_above(1.0)) <= half, interval=self._interval,
            more_edges=self._more_edges, opinions=self._opinions, notes=self._notes, **_common(self.claim, self.pair),
        )  # fmt: skip

    def _interval(self, rate: float) -> tuple[float, float]:
        low, high = self.limits(rate)
        return percent(low), percent(high)

    def _more_edges(self, rate: float) -> int | None:
        """Edges to add by the F test of the two variances of an edge's mean, if both stay as they are.

        What the claim's bound makes of their ratio is reckoned with the cut error as it is.
        """
        bound = _inverse(bound_of(self.claim)) if self._turned else bound_of(self.claim)
        (now_a, now_b), df = self._ratio.mean_squares()
        (held_a, held_b), _ = self._ratio.mean_squares(bound)
        apart, edges_now = held_a / held_b / (now_a / now_b), min(map(len, self.pair.values()))

        def settled(edges: int) -> float:
            grown = df * edges / edges_now
            low, high = stats.f.ppf([rate, 1 - rate], *grown)
            return float(stats.f.cdf(low * apart, *grown) + stats.f.sf(high * apart, *grown))

        return fewest(settled, edges_now)

    @cached_property
    def _left(self) -> tuple[Floats, Floats] | None:
        """What media and blocks leave of the means of each medium's edges; None where that is not known."""
        one, other = (edges["residual"].to_numpy() for edges in self.pair.values())
        return None if np.isnan(one).any() or np.isnan(other).any() else (one, other)

    def _opinions(self, rate: float, found: Outcome) -> tuple[SecondOpinion, ...]:
        """Two ways that need no normal edges, on what media and blocks leave of each edge's mean."""
        if self._left is None:
            return ()
        (one, other), bound, told = self._left, bound_of(self.claim), []
        if (p := brown_forsythe(one, other, bound)) is not None:
            told.append(_opinion("the distances of edge means from their median", outcome(*p, rate), found))
        if (limits := bonett(one / bound, other, rate)) is not None:
            said: Outcome = "shown" if limits[1] <= 1 else "contradicted" if limits[0] >= 1 else "open"
            told.append(_opinion("an interval for edge means that allows for heavy tails", said, found))
        return tuple(told)

    @property
    def _notes(self) -> tuple[Note, ...]:
        """How large the spreads are, and what is inside them."""
        codes = {note.code: note for note in self.spreads.notes}
        alone = "cut-error-inside" not in codes
        one, other = self.pair
        told = [Note("spreads", f"From edge to edge {one} varies by {self._spread_of(one)} and {other} by "
                     f"{self._spread_of(other)} (SD, the error of a cut {'taken out' if alone else 'included'}).")]
        if math.isnan(self.log_estimate):
            told.append(Note("no-spreads", "Cuts alone explain how far the edges of either medium differ, so there are "
                             "no two spreads to compare."))  # fmt: skip
        if not alone:
            told.append(Note("cut-error-inside", "Each edge has one cut, so its error is inside both spreads and makes "
                             "them look more alike than they are."))  # fmt: skip
        p = _p_normal(self._left)
        if p <= NOT_NORMAL:
            told.append(Note("tails", "These edges do not look normally distributed (Shapiro and Wilk's p = "
                             f"{p:.2g}), and a ratio of spreads then errs more often than it says: go by the most "
                             "cautious opinion."))  # fmt: skip
        else:
            told.append(spread_note(min(map(len, self.pair.values()))))
        return tuple(told)

    def _spread_of(self, medium: str) -> str:
        place, optimum = self.spreads.structure.place_of(medium), self.spreads.optimum
        sd = 0.0 if optimum.zero[place] else math.sqrt(optimum.variances[place])
        value, unit = (100 * math.expm1(sd), "%") if self.fit.scale == "log" else (sd, self.fit.unit)
        return f"{float(f'{value:.2g}'):g} {unit}"


def _p_normal(samples: tuple[Floats, Floats] | None) -> float:
    """P value that two samples, each in units of its own SD, are normally distributed; 1 where there is no test."""
    if samples is None or not all(len(values) > 2 and np.ptp(values) > 0 for values in samples):
        return 1.0
    pooled = np.concatenate([(values - values.mean()) / values.std(ddof=1) for values in samples])
    return float(stats.shapiro(pooled[:MOST_TESTED]).pvalue) if len(pooled) >= FEWEST_TESTED else 1.0


def _inverse(ratio: float) -> float:
    return math.inf if ratio == 0 else 1 / ratio


def _opinion(way: str, said: Outcome, found: Outcome) -> SecondOpinion:
    """What a simple way says, with the caveat that it cannot take cut error out."""
    too = ", too" if said == found else ""
    text = f"By {way} the claim is {said}{too}; the error of a cut is inside these spreads."
    return SecondOpinion(way, said, said == found, text)
