"""Where the spread of a tester's readings comes from: cuts, operators, edges, days, lots, testers.

Every part is found twice: by restricted maximum likelihood, and, where the layout is balanced, by
its mean squares, whose numbers are then the ones told. Sums and ratios of parts have intervals by
the modified-large-sample method (Burdick & Graybill 1992; for gauge studies Burdick, Borror &
Montgomery 2005, Design and Analysis of Gauge R&R Studies, SIAM).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.errors import FitError
from sharpstats.interval import check_level
from sharpstats.late import Shown
from sharpstats.model.meansquares import MeanSquares
from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.notes import Note
from sharpstats.tester.amounts import LIMIT_FACTOR, Amount, Amounts, gathered, root_of
from sharpstats.tester.arrangement import (
    BOTH,
    CIRCUMSTANCES,
    EDGE,
    OPERATOR,
    REPEATABILITY,
    Arrangement,
    Part,
    find_arrangement,
)
from sharpstats.tester.bootstrap import Bootstrap, draw_again
from sharpstats.tester.caveats import (
    FRESH_SPOT,
    alike_notes,
    over_note,
    pooling_note,
    spread_notes,
    unbalanced_note,
)
from sharpstats.tester.known import FromCurvature, FromSquares, Known
from sharpstats.tester.overrange import over_range
from sharpstats.tester.plan import Kind
from sharpstats.tester.pooling import POOL_ABOVE, Pooling, decide
from sharpstats.tester.scale import check_scale, on_scale
from sharpstats.tester.squares import mean_squares_of, sweep
from sharpstats.trial.plan import Scale
from sharpstats.units import ForceUnit

Floats = NDArray[np.float64]
VALUE = "value"
CATEGORIES_FACTOR = 1.41
"""Root of 2 as it is rounded in the number of distinct categories (Measurement Systems Analysis, 4th ed. 2010)."""
REPRODUCIBILITY, INTERMEDIATE, WHOLE = "reproducibility", "intermediate precision", "whole"
BETWEEN = "between operators"


@dataclass(frozen=True, eq=False, kw_only=True)
class Spreads(Shown):
    """The parts of the spread of a tester's readings.

    Attributes
    ----------
    layout : str
        ``crossed``, ``nested``, ``one operator`` or ``like edges``.
    scale : str
        ``log`` (differences are ratios) or ``as read``.
    unit : str
        Unit of the readings, ``gf`` or ``N``.
    level : float
        Level of the intervals, between 0 and 1.
    parts : tuple of Part
        The parts beside repeatability.
    variances : ndarray of shape (k + 1,)
        Variances on the scale, in the order of `parts`, repeatability last: by mean squares where the layout is
        balanced, else by REML.
    fit : MixedFit
        The model by REML, with profile-likelihood intervals in `fit.components`.
    squares : MeanSquares or None
        Mean squares of the model's parts; approximate ones where the layout is not balanced.
    exact : bool
        Whether the layout is balanced, so that `squares` are the classical ones.
    why_not : str
        Why there are no exact mean squares; empty where there are.
    pooling : Pooling or None
        What was done with operator x edge; None where the layout has no such part to decide on.
    readings : DataFrame
        What was analysed, one row a cut, with `value` on the scale.
    seed, draws : int
        Of the bootstrap in `check`.
    notes : tuple of Note
    """

    layout: Kind
    scale: Scale
    unit: ForceUnit
    level: float
    parts: tuple[Part, ...]
    variances: Floats
    fit: MixedFit = field(repr=False)
    squares: MeanSquares | None = field(repr=False)
    exact: bool
    why_not: str
    pooling: Pooling | None
    readings: pd.DataFrame = field(repr=False)
    seed: int
    draws: int
    notes: tuple[Note, ...]

    @property
    def terms(self) -> tuple[str, ...]:
        """Names of the parts, repeatability last."""
        return (*(part.name for part in self.parts), REPEATABILITY)

    @property
    def df(self) -> float:
        """Degrees of freedom of repeatability; NaN where it has none of its own."""
        return float(self.squares.df[-1]) if self.squares is not None else float("nan")

    @cached_property
    def known(self) -> Known:
        """Where the intervals come from."""
        return _from_curvature(self.fit) if self.squares is None else FromSquares(self.squares)

    @property
    def wide(self) -> str:
        """What the spread of the tester over all that changed in the study is called.

        ``reproducibility`` with two operators or more, ``intermediate precision`` where only days, lots or testers
        changed, else ``repeatability``.
        """
        own = [part for part in self.parts if not part.of_edges]
        if any(OPERATOR in part.names for part in own):
            return REPRODUCIBILITY
        return INTERMEDIATE if own else REPEATABILITY

    @cached_property
    def sums(self) -> dict[str, Floats]:
        """Weights over the parts of each sum that is told, by its name."""
        edges = np.array([*(part.of_edges for part in self.parts), False])
        operators = np.array([*(OPERATOR in part.names or BOTH in part.names for part in self.parts), False]) & ~edges
        found = dict(zip(self.terms, np.eye(len(self.terms)), strict=True))
        found |= {BETWEEN: operators.astype(float)} if operators.sum() > 1 else {}
        found |= {self.wide: (~edges).astype(float)}
        return found | ({WHOLE: np.ones(len(edges))} if edges.any() else {})

    def sd_of(self, weights: Floats) -> Amount:
        """SD of a weighted sum of the parts.

        Parameters
        ----------
        weights : ndarray of shape (k + 1,)
            Over `terms`.

        Returns
        -------
        Amount
            On the scale of the analysis.
        """
        return root_of(float(weights @ self.variances), self.known.of_sum(weights, self.level), self.level)

    @cached_property
    def sds(self) -> Amounts:
        """SD of each part, and of the sums `between operators`, `reproducibility` and `whole`, on the scale."""
        return gathered(self.sums, map(self.sd_of, self.sums.values()), self.level)

    @cached_property
    def shares(self) -> Amounts:
        """Share of each part, and of the tester, in the variance of the whole, in percent."""
        whole = self.sums.get(WHOLE, self.sums[self.wide])
        asked = {term: row for term, row in self.sums.items() if not np.array_equal(row, whole)}
        return gathered(asked, (self._ratio(row, whole, 100.0) for row in asked.values()), self.level)

    def _ratio(self, above: Floats, below: Floats, factor: float) -> Amount:
        estimate = float(above @ self.variances) / float(below @ self.variances)
        low, high = self.known.of_ratio(above, below, self.level)
        most = 1.0 if np.all(above <= below) else np.inf
        low, high = min(low, estimate), max(min(high, most), estimate)
        return Amount(estimate=estimate, low=low, high=high, level=self.level).times(factor)

    @cached_property
    def limits(self) -> Amounts:
        """ISO 5725's limits r and R: 2.8 SDs, on the scale; two single cuts differ by less 95 times in 100."""
        named = {"r": REPEATABILITY} | ({"R": self.wide} if self.wide != REPEATABILITY else {})
        return gathered(named, (self.sds[term].times(LIMIT_FACTOR) for term in named.values()), self.level)

    @cached_property
    def by_two(self) -> Amount | None:
        """The limit for two cuts by two operators where nothing else differs; None where R itself is that, or unknown.

        R holds days, filament lots and testers as well, of which a study has few: its upper end may be of no use.
        """
        own = [part for part in self.parts if not part.of_edges]
        hands = [part for part in own if set(part.names) <= {OPERATOR, BOTH}]
        if not hands or len(hands) == len(own):
            return None
        weights = sum((self.sums[part.name] for part in hands), self.sums[REPEATABILITY])
        return self.sd_of(weights).times(LIMIT_FACTOR)

    @cached_property
    def categories(self) -> Amount | None:
        """Number of groups of edges like these that the tester tells apart.

        1.41 times the SD between edges over the SD of the tester; None where the edges have no spread of their own.
        """
        if EDGE not in self.terms:
            return None
        edges = self.sums[WHOLE] - self.sums[self.wide]
        squared = self._ratio(edges, self.sums[self.wide], CATEGORIES_FACTOR**2)
        low, high = float(np.sqrt(squared.low)), float(np.sqrt(squared.high))
        return Amount(estimate=float(np.sqrt(squared.estimate)), low=low, high=high, level=self.level)

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a part or sum: term, variance, sd, low, high (of the SD), level, share."""
        whole = float(self.sums.get(WHOLE, self.sums[self.wide]) @ self.variances)
        variances = np.array([row @ self.variances for row in self.sums.values()])
        return pd.DataFrame({"term": self.sds.terms, "variance": variances, "sd": self.sds.estimate,
                             "low": self.sds.low, "high": self.sds.high, "level": self.level,
                             "share": 100 * variances / whole})  # fmt: skip

    @cached_property
    def by_likelihood(self) -> pd.DataFrame:
        """One row a part by REML: term, variance, sd, low, high (profile likelihood), level, share."""
        return self.fit.components.table.assign(term=self.terms)

    @cached_property
    def check(self) -> Bootstrap | None:
        """The study drawn again many times from its own estimates; None where there are no mean squares."""
        if not isinstance(self.known, FromSquares):
            return None
        codes = [part.codes for part in self.parts]
        layout = sweep(codes, len(self.readings))
        return draw_again(self.fit, codes, layout, self.known, self.variances, self.sums, self.seed, self.draws)

    @cached_property
    def other_way(self) -> Spreads | None:
        """The same study with operator x edge kept where it was pooled, or pooled where it was kept."""
        if self.pooling is None:
            return None
        return find_spreads(
            self.readings, scale=self.scale, level=self.level, layout=self.layout, unit=self.unit,
            pool_above=1.0 if self.pooling.pooled else 0.0, seed=self.seed, draws=self.draws,
        )  # fmt: skip


def find_spreads(
    readings: pd.DataFrame, *, scale: Scale, level: float = 0.95, layout: Kind | None = None,
    unit: ForceUnit = "gf", pool_above: float = POOL_ABOVE, seed: int = 1, draws: int = 2000,
) -> Spreads:  # fmt: skip
    """Split the spread of a tester's readings into its parts.

    Parameters
    ----------
    readings : DataFrame
        One row a cut: `edge`, `reading` (in `unit`), and where recorded `over_range`, `operator`, `day`,
        `filament_lot`, `tester`.
    scale : {"log", "as read"}
        On ``log`` all SDs are SDs of the natural logarithm.
    level : float
        Level of the intervals, between 0 and 1.
    layout : {"crossed", "nested", "one operator", "like edges"}, optional
        As the plan has it; left out: as the readings show it. Only a person can say that edges are alike.
    unit : {"gf", "N"}
    pool_above : float
        Pool operator x edge into repeatability where the p value of its F test is above this.
    seed, draws : int
        Of the bootstrap in `Spreads.check`.

    Returns
    -------
    Spreads

    Raises
    ------
    FitError
        If the readings cannot answer.

    Examples
    --------
    >>> table = pd.DataFrame({
    ...     "edge": list("aaabbbccc"), "reading": [150, 156, 147, 171, 180, 176, 139, 148, 144],
    ... })
    >>> found = find_spreads(table, scale="as read")
    >>> found.sds.table.round(1)[["term", "estimate", "low", "high"]]
                term  estimate  low   high
    0           edge      16.6  8.4  105.3
    1  repeatability       4.5  2.9   10.0
    2          whole      17.2  9.5  105.4
    """
    _check(scale, level, pool_above)
    used = _with_values(_labelled(readings), scale)
    arrangement = find_arrangement(used, layout)
    over = bool(used["over_range"].any())
    pooling = None if over else _pooling(used, arrangement, pool_above)
    parts = tuple(part for part in arrangement.parts if not (pooling and pooling.pooled and part.name == BOTH))
    fit = _fitted(used, parts, level, over)
    squares = None if over else _squares(used, parts, level)
    exact = squares is not None and fit.strata is not None
    by_reml = _by_reml(fit)
    variances = np.maximum(squares.weights @ squares.mean_square, 0) if exact and squares is not None else by_reml
    why = "" if exact else _why_not(over, squares is None)
    notes = [*arrangement.notes, FRESH_SPOT]
    notes += alike_notes(used, arrangement, VALUE) if arrangement.kind == "like edges" and not over else []
    notes += [] if pooling is None else [pooling_note(pooling)]
    if over:
        notes.append(over_note(int(used["over_range"].sum())))
    elif why:
        notes.append(unbalanced_note(why, squares is not None))
    notes += spread_notes((*(part.name for part in parts), REPEATABILITY), variances, by_reml)
    return Spreads(
        layout=arrangement.kind, scale=scale, unit=unit, level=level, parts=parts, variances=variances, fit=fit,
        squares=squares, exact=exact, why_not=why, pooling=pooling, readings=used, seed=seed, draws=draws,
        notes=tuple(notes),
    )  # fmt: skip


def _check(scale: str, level: float, pool_above: float) -> None:
    check_scale(scale)
    check_level(level)
    if not 0 <= pool_above <= 1:
        raise ValueError(f"`pool_above` must lie between 0 and 1, got {pool_above}")


def _labelled(readings: pd.DataFrame) -> pd.DataFrame:
    """Leave out columns that nobody filled in; refuse one that is filled in part."""
    for name in ("edge", "operator", *CIRCUMSTANCES):
        if name in readings and (blank := readings[name].isna()).any():
            if not blank.all():
                raise FitError(
                    f"`{name}` is blank in row {readings.index[blank][0]} of the table, but not in all. Fill it in, or "
                    "set the row aside."
                )
            readings = readings.drop(columns=name)
    if "edge" not in readings:
        raise FitError("No edge is named, so nothing tells which cuts belong together. Fill in the column `edge`.")
    return readings


def _with_values(readings: pd.DataFrame, scale: Scale) -> pd.DataFrame:
    """The readings with their values on the scale; refuse what shows no spread at all."""
    if len(readings) < 2:
        raise FitError(f"A tester study needs at least two cuts; there {'is 1' if len(readings) else 'are none'}.")
    y = readings["reading"].to_numpy(float)
    if not np.isfinite(y).all():
        row = readings.index[~np.isfinite(y)][0]
        raise FitError(f"The reading in row {row} of the table is no number. Set the row aside with its reason.")
    values = on_scale(readings, scale)
    if over_range(readings).all():
        raise FitError(
            f"All {len(y)} readings are over the tester's range, so nothing is known of its spread. Study edges that "
            "it can read."
        )
    if np.ptp(y) == 0:
        raise FitError(
            f"All {len(y)} readings are {y[0]:g}. That is no proof that the tester repeats: it may be too coarse, or "
            "the edges all over its range. Ask for its smallest step, and study edges that differ."
        )
    return readings.assign(**{VALUE: values, "over_range": over_range(readings)})


def _fitted(used: pd.DataFrame, parts: tuple[Part, ...], level: float, over: bool) -> MixedFit:
    terms = [part.columns for part in parts]
    if not over:
        return fit_mixed(used, response=VALUE, random=terms, level=level)
    try:
        return fit_mixed(used, response=VALUE, random=terms, level=level, over="over_range")
    except FitError as error:
        inside = int((~used["over_range"]).sum())
        raise FitError(
            f"Only {inside} of {len(used)} readings are within the tester's range, and these cannot tell the parts of "
            "the spread. Study keener edges, or set aside edges that are all over the range."
        ) from error


def _pooling(used: pd.DataFrame, arrangement: Arrangement, above: float) -> Pooling | None:
    """Decide on operator x edge where the layout has it as a part of its own."""
    names = [part.name for part in arrangement.parts]
    squares = _squares(used, arrangement.parts, 0.95) if BOTH in names else None
    if squares is None:
        return None
    i = names.index(BOTH)
    return decide((squares.mean_square[i], squares.mean_square[-1]), (squares.df[i], squares.df[-1]), above)


def _squares(used: pd.DataFrame, parts: tuple[Part, ...], level: float) -> MeanSquares | None:
    layout = sweep([part.codes for part in parts], len(used))
    y = used[VALUE].to_numpy(float)
    found = mean_squares_of(layout, y, (*(part.name for part in parts), REPEATABILITY), level)
    if found is not None and found.mean_square[-1] <= 1e-20 * float(np.var(y)):
        raise FitError(
            "All cuts that should show repeatability read the same, so it cannot be told. Most likely the tester's "
            "step is coarser than its spread: find the step, and read finer if the tester can."
        )
    return found


def _by_reml(fit: MixedFit) -> Floats:
    return np.where(fit.optimum.zero, 0.0, fit.optimum.variances)[fit.structure.positions]


def _from_curvature(fit: MixedFit) -> FromCurvature:
    """Covariance of the variances by the expected information, with zero ones held there."""
    places = fit.structure.positions
    inside = np.flatnonzero(~fit.optimum.zero[places])
    covariance = np.zeros((len(places), len(places)))
    information = fit.optimum.expected[np.ix_(places, places)][np.ix_(inside, inside)]
    covariance[np.ix_(inside, inside)] = 2 * np.linalg.inv(information)
    return FromCurvature(_by_reml(fit), covariance, np.array([fit.components.low, fit.components.high]))


def _why_not(over: bool, confounded: bool) -> str:
    if over:
        return "Some readings are over the tester's range, so mean squares cannot be formed."
    if confounded:
        return "The layout leaves a part without a mean square of its own."
    return "The layout is not balanced: cuts were lost, or its factors do not meet equally often."
