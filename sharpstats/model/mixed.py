"""`fit_mixed`: a linear mixed model for any table, with small-sample inference.

Four steps, each usable alone: the model frame (`spec.py`), its sums (`reduce.py`), the
variances (`reml.py`), the fixed effects with their degrees of freedom (`freedom.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.errors import FitError
from sharpstats.interval import check_level
from sharpstats.late import Shown
from sharpstats.model import freedom, means
from sharpstats.model.answerable import check_spread, independent_columns, settle_or_explain
from sharpstats.model.largefile import read_sums
from sharpstats.model.meansquares import MeanSquares, named_mean_squares
from sharpstats.model.multiple import ADJUSTMENTS, Adjust, Family
from sharpstats.model.overrange import (
    Criterion,
    OverRange,
    equivalent,
    over_range_derivatives,
    with_true_bends,
    working,
)
from sharpstats.model.oversums import OverSums, reduce_over_range, single_units
from sharpstats.model.profile import profile_limits
from sharpstats.model.reduce import (
    Codes,
    Reduced,
    Units,
    constant_within,
    reduce_readings,
)
from sharpstats.model.reml import Optimum, maximise
from sharpstats.model.result import Components, Estimates, Terms
from sharpstats.model.shared import Shared, gather
from sharpstats.model.spec import (
    ModelFrame,
    Term,
    TermLike,
    as_terms,
    column_name,
    design_columns,
    design_matrix,
    model_frame,
    term_name,
)
from sharpstats.model.strata import Strata, find_strata
from sharpstats.model.structure import (
    RESIDUAL,
    Structure,
    check_columns,
    coded_term,
    find_structure,
    structure_notes,
    structure_of,
    unit_name,
    with_spread,
)
from sharpstats.model.sums import Sums, reduce_sums
from sharpstats.notes import Note

Floats = NDArray[np.float64]
DfMethod = Literal["kenward-roger", "satterthwaite"]
@dataclass(frozen=True, slots=True)
class OverPart:
    """What a fit knows of the readings that are limits.

    Attributes
    ----------
    flags : ndarray of bool of shape (N,)
        Which readings are limits.
    model : OverRange
    eta : ndarray of shape (E,)
        Expected readings of the units that hold limits, at the fit.
    sizes : ndarray of shape (units,)
        Number of readings that each unit is worth.
    """

    flags: NDArray[np.bool_]
    model: OverRange
    eta: Floats
    sizes: Floats

    @property
    def criterion(self) -> Criterion:
        """The criterion as a function of the variances."""
        return Criterion(self.model, self.eta)


@dataclass(frozen=True, eq=False)
class MixedFit(Shown):
    """A fitted linear mixed model.

    Attributes
    ----------
    frame : ModelFrame
    structure : Structure
    units : Units
        Fitted to a file, its entries, like those of `frame`, are units that are alike.
    unit_means : ndarray of shape (units, p + 1)
        Means of [X | centred response] over each unit; the working mean where a reading is a limit.
    reduced : Reduced
        Where readings are limits: of the equivalent fit of `overrange.py`.
    optimum : Optimum
    fixed : FixedEffects
    kept_columns : tuple of int
        Columns of X that can be told apart.
    null : ndarray of shape (p, k)
        Null space of X.
    offset : float
        What was subtracted from the response before the fit.
    level : float
        Level of the intervals.
    notes : tuple of Note
    over : OverPart or None
        Where readings are limits: what was fitted.
    """

    frame: ModelFrame
    structure: Structure
    units: Units = field(repr=False)
    unit_means: Floats = field(repr=False)
    reduced: Reduced = field(repr=False)
    optimum: Optimum = field(repr=False)
    fixed: freedom.FixedEffects = field(repr=False)
    kept_columns: tuple[int, ...]
    null: Floats = field(repr=False)
    offset: float
    level: float
    notes: tuple[Note, ...]
    over: OverPart | None = field(default=None, repr=False)

    @property
    def unit_sizes(self) -> Floats:
        """Readings in each unit, or as many as it is worth where some are limits (units,)."""
        return self.units.size if self.over is None else self.over.sizes

    @property
    def reml_criterion(self) -> float:
        """-2 log restricted likelihood, with its constant."""
        return self.optimum.criterion

    @property
    def log_likelihood(self) -> float:
        """Log restricted likelihood."""
        return -self.optimum.criterion / 2

    @cached_property
    def components(self) -> Components:
        """Variances of the random terms and of the residual, with profile intervals."""
        places = self.structure.positions
        low, high = np.array([self._limits(place) for place in places]).T
        variances = np.where(self.optimum.zero, 0.0, self.optimum.variances)
        return Components(
            terms=tuple(name for name, _ in self.structure.places), variances=variances[places], low=low, high=high,
            level=self.level, notes=self.notes,
        )  # fmt: skip

    @cached_property
    def residual_limits(self) -> tuple[float, float]:
        """Limits of the residual's variance alone, as in `components`: those of the other parts take far longer."""
        return self._limits(self.structure.positions[-1])

    def _limits(self, place: int) -> tuple[float, float]:
        evaluate = self.over.criterion if self.over else None
        return profile_limits(self.reduced, self.optimum, place, self.level, evaluate)

    @cached_property
    def strata(self) -> Strata | None:
        """The parts that a balanced layout splits into, each with a mean square; None where there are none."""
        return None if self.over is not None or self.structure.levels else find_strata(self.reduced)

    @cached_property
    def mean_squares(self) -> MeanSquares:
        """Mean squares of a balanced layout; their `components` have intervals beside the profile's.

        Raises
        ------
        FitError
            If the layout is not balanced.

        Examples
        --------
        >>> table = pd.DataFrame({"y": [5.1, 5.2, 4.8, 4.9, 5.5, 5.6], "blade": list("aabbcc")})
        >>> found = fit_mixed(table, response="y", random=["blade"]).mean_squares
        >>> found.table.round(4)
               term   df  mean_square
        0     blade  2.0       0.2467
        1  residual  3.0       0.0050
        >>> found.components.table[["term", "sd", "low", "high"]].round(3)
               term     sd    low   high
        0     blade  0.348  0.183  2.206
        1  residual  0.071  0.040  0.264
        """
        if self.strata is None:
            raise FitError(self._no_mean_squares())
        names = (*map(term_name, self.structure.kept), RESIDUAL)
        return named_mean_squares(self.strata, names, self.structure.positions, self.level)

    def _no_mean_squares(self) -> str:
        """Say what is in the way of mean squares, and what does without them."""
        structure, sizes = self.structure, len(self.reduced.h) - (self.reduced.units < self.reduced.readings)
        if self.over is not None:
            why = "Some readings are limits"
        elif structure.levels:
            why = f"The spread differs by {structure.by}"
        elif structure.own is not None and sizes > 1:
            unit = term_name(structure.kept[structure.own])
            why = f"The layout is not balanced: not every {unit} has the same number of readings"
        else:
            why = "The layout is not balanced: its factors do not meet equally often"
        return f"{why}, so the variances have no mean squares of their own. Use `components`, which needs none."

    @cached_property
    def coefficients(self) -> Estimates:
        """Coefficients against each factor's first level, with Kenward-Roger df."""
        columns = design_columns(self.frame)
        names = tuple(column_name(self.frame, columns[j]) for j in self.kept_columns)
        rows = np.eye(len(columns))[list(self.kept_columns)]
        intercept = np.eye(1, len(names)).ravel() * self.offset
        return self.estimates("coefficients", rows, names, ("",) * len(names), df="kenward-roger", shift=intercept)

    def terms(self, df: DfMethod = "kenward-roger") -> Terms:
        """Test each fixed term with all its degrees of freedom (partial hypotheses).

        Parameters
        ----------
        df : {"kenward-roger", "satterthwaite"}

        Returns
        -------
        Terms
        """
        test = {"kenward-roger": freedom.f_kenward_roger, "satterthwaite": freedom.f_satterthwaite}[df]
        tested, notes, undefined = [], list(self._method_notes(df)), False
        for term in self.frame.fixed:
            rows = means.term_rows(self.frame, term)
            if np.all(means.estimable(rows, self.null)):
                tested.append(test(self.fixed, rows[:, self.kept_columns]))
                undefined |= bool(np.isnan(tested[-1].df2))
            else:
                tested.append(freedom.Tested(np.nan, len(rows), np.nan, np.nan))
                notes.append(_not_answered(f"the term {term_name(term)}"))
        if undefined:
            notes.append(Note("df-undefined", "Fewer than two denominator degrees of freedom: no F test is given."))
        return Terms(
            terms=tuple(map(term_name, self.frame.fixed)),
            df1=np.array([t.df1 for t in tested], dtype=float), df2=np.array([t.df2 for t in tested]),
            f=np.array([t.f for t in tested]), p=np.array([t.p for t in tested]),
            scaling=np.array([t.scaling for t in tested]), method=df, notes=tuple(notes),
        )  # fmt: skip

    def means(
        self, term: TermLike, *, by: str | None = None, df: DfMethod = "kenward-roger", level: float | None = None
    ) -> Estimates:
        """Estimated marginal means: equal weights over the levels of the other factors.

        Parameters
        ----------
        term : str or sequence of str
            Factor, or factors whose combinations are wanted.
        by : str, optional
            Factor at whose levels the means are given one by one.
        df : {"kenward-roger", "satterthwaite"}
        level : float, optional
            Level of the intervals; the fit's own if left out.

        Returns
        -------
        Estimates
        """
        rows, names, at = [], [], []
        for held in self._levels_of(by):
            part, combinations = means.mean_rows(self.frame, _as_term(term), held)
            rows.append(part)
            names += [self._combination_name(_as_term(term), c) for c in combinations]
            at += [next(iter(held.values()), "")] * len(part)
        return self.estimates("means", np.vstack(rows), tuple(names), tuple(at), df=df, level=level, shift=self.offset)

    def contrasts(
        self, term: TermLike, *, against: str | None = None, adjust: Adjust = "none", by: str | None = None,
        df: DfMethod = "kenward-roger", level: float | None = None,
    ) -> Estimates:  # fmt: skip
        """Differences between marginal means, each named "A minus B".

        Parameters
        ----------
        term : str or sequence of str
        against : str, optional
            Level that all others are compared with; left out: all pairs.
        adjust : {"none", "tukey", "dunnett", "holm"}
            Family adjustment of p values and intervals; the family is the rows at one level
            of `by`. Tukey is for all pairs, Dunnett for comparisons against one.
        by, df, level
            As for `means`.

        Returns
        -------
        Estimates
        """
        _check_family(adjust, against)
        name = _as_term(term)
        names: list[str] = []
        pieces, at, spans = [], [], []
        for held in self._levels_of(by):
            rows, combinations = means.mean_rows(self.frame, name, held)
            labels = [self._combination_name(name, c) for c in combinations]
            differences, pairs = means.pair_rows(len(labels), _place(against, labels, name))
            spans.append(slice(len(names), len(names) + len(pairs)))
            pieces.append(differences @ rows)
            names += [f"{labels[i]} minus {labels[j]}" for i, j in pairs]
            at += [next(iter(held.values()), "")] * len(pairs)
        return self.estimates(
            "contrasts", np.vstack(pieces), tuple(names), tuple(at), df=df, level=level,
            family=Family(adjust, tuple(spans), len(labels)),
        )  # fmt: skip

    def estimates(
        self, kind: str, rows: Floats, names: tuple[str, ...], at: tuple[str, ...], *, df: DfMethod,
        level: float | None = None, family: Family | None = None, shift: float | Floats = 0.0,
    ) -> Estimates:  # fmt: skip
        """Any linear functions of the fixed effects.

        Parameters
        ----------
        kind : str
            ``coefficients``, ``means`` or ``contrasts``.
        rows : ndarray of shape (c, p)
            Functions over all columns of X.
        names, at : tuple of str
            What each row is about.
        df : {"kenward-roger", "satterthwaite"}
        level : float, optional
        family : Family, optional
            How p values and intervals are adjusted.
        shift : float or ndarray of shape (c,)
            Added to every estimate (the offset that was taken off the response).

        Returns
        -------
        Estimates
        """
        level = self.level if level is None else level
        family = family or Family("none", (), 0)
        kept = rows[:, self.kept_columns]
        answered = means.estimable(rows, self.null)
        adjusted = df == "kenward-roger"
        estimate = np.where(answered, kept @ self.fixed.beta + shift, np.nan)
        se = np.where(answered, freedom.standard_errors(self.fixed, kept, adjusted=adjusted), np.nan)
        find = freedom.df_kenward_roger if adjusted else freedom.df_satterthwaite
        freedoms = np.where(answered, find(self.fixed, kept), np.nan)
        statistic = estimate / se
        covariance = kept @ (self.fixed.adjusted if adjusted else self.fixed.phi) @ kept.T
        p, factor, levels = family.apply(statistic, freedoms, covariance, level)
        notes = list(self._method_notes(df)) + list(family.notes(covariance))
        notes += [_not_answered(name) for name, known in zip(names, answered, strict=True) if not known]
        return Estimates(
            kind=kind, terms=names, at=at, estimate=estimate, se=se, df=freedoms, statistic=statistic, p=p,
            low=estimate - factor * se, high=estimate + factor * se, level=level, levels=levels, method=df,
            adjust=family.adjust, covariance=covariance, notes=tuple(notes),
        )  # fmt: skip

    def refit(self, response: Floats) -> MixedFit:
        """Fit the same model to another response, for simulations.

        Parameters
        ----------
        response : ndarray of shape (N,)
            One number for each row of the table, in its order; its limit where `over` says so.

        Returns
        -------
        MixedFit

        Raises
        ------
        ValueError
            If there is not one number for each row.
        FitError
            As `fit_mixed`.

        Examples
        --------
        >>> import pandas as pd
        >>> table = pd.DataFrame({"y": [5.1, 5.2, 4.8, 4.9], "medium": ["film", "film", "stone", "stone"]})
        >>> fit = fit_mixed(table, response="y", fixed=["medium"])
        >>> fit.refit(np.array([5.0, 5.4, 4.8, 4.4])).contrasts("medium").estimate.round(3)
        array([0.6])
        """
        self._needs_readings()
        y = np.asarray(response, dtype=float)
        if y.shape != self.frame.y.shape:
            raise ValueError(f"`response` must have shape {self.frame.y.shape}, got {y.shape}")
        frame = replace(self.frame, y=y)
        if self.over is not None:
            return _fit_over_range(frame, self.structure, self.units, self.level, self.over.flags)
        return _fit(frame, self.structure, self.units, self.level)

    def criterion_for(self, response: Floats) -> float:
        """-2 log restricted likelihood of the same model for another response.

        Parameters
        ----------
        response : ndarray of shape (N,)
        """
        self._needs_readings()
        if self.over is not None:
            return self.refit(response).reml_criterion
        centred, _ = _centred(response)
        reduced, _ = reduce_readings(self.units, _design(self.frame, self.units), centred)
        return maximise(reduced.keep_columns(self.kept_columns)).criterion

    def answered_rows(self, rows: Floats) -> Floats:
        """Contrasts over the columns of X that the fit keeps.

        Parameters
        ----------
        rows : ndarray of shape (c, p)
            Over all columns of X.

        Returns
        -------
        ndarray of shape (c, kept columns)

        Raises
        ------
        FitError
            If the layout does not answer one of them.
        """
        if not np.all(means.estimable(rows, self.null)):
            raise FitError("The layout does not answer one of the contrasts: a combination it needs has no edge.")
        return rows[:, list(self.kept_columns)]

    @cached_property
    def shared(self) -> Shared:
        """The layout's sums, ready for many other responses (`many.py`)."""
        self._needs_readings()
        if self.over is not None:
            raise FitError("Fits of many responses together know no readings over the range. Refit them one by one.")
        if self.reduced.residuals > 1:
            raise FitError("Fits of many responses together know only one error of a reading. Refit them one by one.")
        x = _design(self.frame, self.units)
        kept = self.unit_means[:, list(self.kept_columns)]
        constant = len(x) == len(self.units.size)
        within = None if constant else x[:, list(self.kept_columns)] - kept[self.units.unit]
        return gather(self.units, kept, within, self.reduced)

    def _needs_readings(self) -> None:
        if self.units.alike is not None:
            raise FitError(
                "This fit was made from the sums of a file and does not hold the readings. Read the file into a "
                "table and fit that, if memory allows."
            )

    def _levels_of(self, by: str | None) -> list[dict[str, str]]:
        if by is None:
            return [{}]
        return [{by: level} for level in means.fixed_factor(self.frame, by).levels]

    def _combination_name(self, term: Term, combination: Sequence[int]) -> str:
        return ", ".join(self.frame.factors[name].levels[c] for name, c in zip(term, combination, strict=True))

    def _method_notes(self, df: DfMethod) -> tuple[Note, ...]:
        if df == "satterthwaite" and not np.all(self.fixed.interior):
            return (*self.notes, BOUNDARY_SATTERTHWAITE)
        return self.notes


BOUNDARY_SATTERTHWAITE = Note(
    "satterthwaite-at-zero",
    "A spread is estimated as zero, so Satterthwaite's degrees of freedom leave it out and are too many; "
    "use Kenward and Roger's.",
)


def _not_answered(what: str) -> Note:
    return Note("not-answered", f"These edges do not answer {what}: a combination it needs has no edge.")


def _as_term(term: TermLike) -> Term:
    return (term,) if isinstance(term, str) else tuple(term)


def _place(against: str | None, labels: Sequence[str], term: Term) -> int | None:
    if against is None:
        return None
    if against not in labels:
        raise FitError(f"{term_name(term)} has no level {against!r}. It has {', '.join(labels)}.")
    return labels.index(against)


def _check_family(adjust: str, against: str | None) -> None:
    if adjust not in ADJUSTMENTS:
        raise ValueError(f"`adjust` must be one of {', '.join(ADJUSTMENTS)}, got {adjust!r}")
    if adjust == "tukey" and against is not None:
        raise ValueError('`adjust="tukey"` is for all pairs; against one level use "dunnett"')
    if adjust == "dunnett" and against is None:
        raise ValueError('`adjust="dunnett"` needs `against`, the level that all others are compared with')


def fit_mixed(
    table: pd.DataFrame | Path | str, *, response: str, fixed: Sequence[TermLike] = (), random: Sequence[TermLike] = (),
    covariates: Sequence[str] = (), level: float = 0.95, spread_by: str | None = None, over: str | None = None,
) -> MixedFit:  # fmt: skip
    """Fit a linear mixed model by restricted maximum likelihood.

    Parameters
    ----------
    table : DataFrame or path
        One row a reading; no blanks in the columns that are used. A path names a Parquet or CSV file
        that is added up without being held in memory (this needs ``sharpstats[large]``); labels in
        a CSV file are texts.
    response : str
        Column with the numbers to be explained.
    fixed : sequence of str or tuple of str
        Factors whose levels are compared; a tuple is an interaction. A column of numbers is
        taken as levels too, unless `covariates` names it.
    random : sequence of str or tuple of str
        Factors whose levels are a sample; a tuple is an interaction. Crossed or nested does
        not need saying: the labels show it.
    covariates : sequence of str
        Names among `fixed` that are numbers.
    level : float
        Level of the intervals, between 0 and 1.
    spread_by : str, optional
        A fixed factor by whose levels the variance of the units themselves (the finest random
        term: edges) differs. Where each unit has one reading, or where there are no random
        terms, the residual differs instead.
    over : str, optional
        Column of True and False: where True, the response is a limit that the reading is over.

    Returns
    -------
    MixedFit

    Raises
    ------
    FitError
        If the table or the layout cannot answer, or the fit does not converge.

    Notes
    -----
    With `over`, variances and fixed effects maximise the likelihood of what is known: the readings
    in range, and that the others are over their limits (see `model/overrange.py`). Standard errors
    and degrees of freedom are those of the equivalent fit without limits, so they are approximate
    where few readings are in range.

    Cost and memory grow with the number of readings only in one pass that adds them up; a
    step of the fit does not depend on it.

    References
    ----------
    Patterson, H. D. & Thompson, R. (1971). Biometrika 58:545-554. Kenward, M. G. & Roger,
    J. H. (1997). Biometrics 53:983-997.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({
    ...     "reading": [5.1, 5.2, 5.0, 4.8, 4.9, 4.6, 5.3, 5.5, 5.2, 4.9, 5.0, 5.1],
    ...     "medium": ["film"] * 6 + ["stone"] * 6,
    ...     "edge": ["a", "a", "b", "b", "c", "c", "d", "d", "e", "e", "f", "f"],
    ... })
    >>> fit = fit_mixed(table, response="reading", fixed=["medium"], random=["edge"])
    >>> fit.contrasts("medium").table[["term", "estimate", "df"]].round(3)
                    term  estimate   df
    0  film minus stone    -0.233  4.0
    """
    check_level(level)
    if isinstance(table, (str, Path)):
        if over is not None:
            raise ValueError("`over` needs the readings in a table, not a file; read the file first")
        terms = as_terms(fixed, "fixed"), as_terms(random, "random")
        sums = read_sums(table, response, *terms, covariates)
        return fit_sums(sums, response, *terms, covariates, level, spread_by)
    frame = model_frame(table, response, fixed, random, covariates)
    structure, units = find_structure(frame, spread_by)
    if over is not None and (flags := _flags(table, over)).any():
        return _fit_over_range(frame, structure, units, level, flags)
    return _fit(frame, structure, units, level)


def _flags(table: pd.DataFrame, over: str) -> NDArray[np.bool_]:
    if over not in table.columns or not pd.api.types.is_bool_dtype(table[over]) or table[over].isna().any():
        raise FitError(f"`over` must name a column of True and False without blanks; `{over}` is none.")
    return table[over].to_numpy(dtype=bool)


def _fit(frame: ModelFrame, structure: Structure, units: Units, level: float) -> MixedFit:
    x = _design(frame, units)
    centred, offset = _centred(frame.y)
    reduced, means_of_units = reduce_readings(units, x, centred)
    return _fit_reduced(frame, structure, units, means_of_units, reduced, offset, level)


def fit_sums(
    sums: Sums, response: str, fixed: Sequence[Term], random: Sequence[Term], covariates: Sequence[str], level: float,
    spread_by: str | None = None,
) -> MixedFit:  # fmt: skip
    """Fit the model of `fit_mixed` to the sums of units that are alike."""
    structure, upper = structure_of(random, sums.levels, int(sums.alike.sum()), int(sums.alike @ sums.size))
    frame = model_frame(sums.table, response, fixed, [random[k] for k in upper], covariates)
    coded = [coded_term(frame, term) for term in frame.random]
    kinds = np.arange(frame.y.size)
    units = Units(
        unit=kinds, first=kinds, size=sums.size, upper=tuple(codes for codes, _ in coded),
        levels=tuple(levels for _, levels in coded), diagonal=structure.own is not None, alike=sums.alike,
    )  # fmt: skip
    check_columns(frame.random, units.levels)
    if spread_by is not None:
        structure, units = with_spread(frame, structure, units, spread_by)
    centre = float(np.average(frame.y, weights=sums.alike * sums.size))
    means_of_kinds = np.column_stack([_design(frame, units), frame.y - centre])
    reduced = reduce_sums(units, means_of_kinds, sums.between, sums.within)
    whole = replace(frame, random=tuple(random))
    return _fit_reduced(whole, structure, units, means_of_kinds, reduced, sums.origin + centre, level)


def _fit_reduced(
    frame: ModelFrame, structure: Structure, units: Units, means_of_units: Floats, whole: Reduced, offset: float,
    level: float,
) -> MixedFit:  # fmt: skip
    reduced, kept, null = independent_columns(whole)
    check_spread(frame, structure, reduced)
    optimum = settle_or_explain(structure, reduced)
    return MixedFit(
        frame=frame, structure=structure, units=units, unit_means=means_of_units, reduced=reduced, optimum=optimum,
        fixed=freedom.fixed_effects(reduced, optimum), kept_columns=kept, null=null, offset=offset, level=level,
        notes=structure_notes(structure, optimum),
    )  # fmt: skip


def _fit_over_range(
    frame: ModelFrame, structure: Structure, units: Units, level: float, flags: NDArray[np.bool_]
) -> MixedFit:
    if structure.own is None and structure.by:
        raise FitError(
            f"With one reading for each {unit_name(structure)}, some over the range, a spread that differs by "
            f"{structure.by} cannot be fitted. Take several readings of each."
        )
    units = units if structure.own is not None else single_units(units)
    x = _design(frame, units)
    if len(x) != units.size.size:
        raise FitError(
            f"A factor or covariate changes within one {unit_name(structure)}. With readings "
            "over the range that cannot be fitted: leave it out, or the readings over the range."
        )
    centred, offset = _centred(frame.y)
    if flags.all():
        raise FitError(f"All values of `{frame.response}` are over the range, so nothing is known but their limits.")
    sums = reduce_over_range(units, x, centred, flags)
    reduced, kept, null = independent_columns(sums.in_range)
    _check_anchored(frame, sums, null)
    check_spread(frame, structure, reduced)
    model = sums.model(kept)
    criterion = Criterion(model, sums.start)
    optimum = with_true_bends(settle_or_explain(structure, reduced, criterion), criterion)
    _, mode = over_range_derivatives(model, optimum.variances, criterion.eta)
    edges = working(model, optimum.variances, mode.eta, mode.terms)
    alike = equivalent(model, edges)
    return MixedFit(
        frame=frame, structure=structure, units=units, unit_means=_put(sums.means, sums.at, edges.mean), reduced=alike,
        optimum=optimum, fixed=freedom.fixed_effects(alike, optimum), kept_columns=kept, null=null, offset=offset,
        level=level, notes=structure_notes(structure, optimum),
        over=OverPart(flags, model, mode.eta, _put(units.size, sums.at, edges.size)),
    )  # fmt: skip


def _put(values: Floats, at: Codes, new: Floats) -> Floats:
    """Put new values in (the last column of) some rows of a copy."""
    filled = values.copy()
    filled[(at, -1) if values.ndim > 1 else at] = new
    return filled


def _check_anchored(frame: ModelFrame, sums: OverSums, null: Floats) -> None:
    """Refuse effects that only units with all readings over the range would tell."""
    floating = ~means.estimable(sums.rows[:, sums.whole.q :], null)
    if floating.any():
        raise FitError(
            f"{int(floating.sum())} unit(s) with all values of `{frame.response}` over the range are alone in their "
            "combination of the factors under test: their mean has no upper end. Leave them out."
        )


def _design(frame: ModelFrame, units: Units) -> Floats:
    """X unit by unit where it is constant within units, else reading by reading."""
    codes = {name: frame.factors[name].codes for name in frame.fixed_factors}
    columns, first = design_columns(frame), units.first
    single = units.size.size == units.unit.size
    if not single and (frame.covariates or not all(constant_within(c, units.unit, first) for c in codes.values())):
        return design_matrix(columns, codes, frame.covariates, frame.y.size)
    covariates = {name: values[first] for name, values in frame.covariates.items()}
    return design_matrix(columns, {name: c[first] for name, c in codes.items()}, covariates, first.size)


def _centred(y: Floats) -> tuple[Floats, float]:
    """Subtract a value of the data, then the mean: exact where many leading digits are constant."""
    shifted = y - y[0]
    centre = shifted.mean()
    return shifted - centre, float(y[0] + centre)
