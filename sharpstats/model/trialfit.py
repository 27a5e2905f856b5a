"""`trial.fit()`: the plan's layout decides the model, and this file writes it down.

Fixed are the factors under test and their planned interactions; random are the blocks, block
by medium (and by medium and another factor) where the layout makes it again, and the edge. Cuts
over the tester's range are fitted as what they are, limits from below (`overrange.py`). Control
edges stay out of the comparison.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from sharpstats.errors import FitError
from sharpstats.late import Shown
from sharpstats.model import diagnose as checks
from sharpstats.model.anova import Welch, welch
from sharpstats.model.controls import Drift, control_drift
from sharpstats.model.means import mean_rows, pair_rows
from sharpstats.model.meansquares import MeanSquares
from sharpstats.model.mixed import MixedFit, fit_mixed
from sharpstats.model.overtrial import OVER, control_notes, fitted_notes, left_out_notes, without_end
from sharpstats.model.reduce import combine, first_of_each
from sharpstats.model.result import Components, Estimates
from sharpstats.model.spec import Term
from sharpstats.model.structure import RESIDUAL
from sharpstats.notes import Note
from sharpstats.trial.plan import Scale
from sharpstats.trial.trial import Trial
from sharpstats.units import ForceUnit

Floats = NDArray[np.float64]
CUT, EDGE, MEDIUM = "cut", "edge", "medium"
RESPONSE = "reading on the scale of the fit"
MOST_INFLUENCE = 20_000
"""More edges than this, and the influence of single ones is not worth its memory."""


@dataclass(frozen=True, eq=False)
class TrialFit(Shown):
    """The fitted comparison of a trial.

    Attributes
    ----------
    trial : Trial
    scale, unit : str
        ``log`` or ``as read``; ``gf`` or ``N``.
    mixed : MixedFit
    data : DataFrame
        The readings in the comparison, with the response on the fit's scale.
    left_out : DataFrame
        Edges kept out of the comparison, since every cut on edges like them is over the tester's
        range: edge, medium, reason.
    drift : Drift or None
        Control edges over the trial.
    notes : tuple of Note
    """

    trial: Trial
    scale: Scale
    unit: ForceUnit
    mixed: MixedFit
    data: pd.DataFrame = field(repr=False)
    left_out: pd.DataFrame = field(repr=False)
    drift: Drift | None
    notes: tuple[Note, ...]

    @cached_property
    def components(self) -> Components:
        """Where the spread comes from; the last component is the cut."""
        found = self.mixed.components
        return replace(found, terms=self._named(found.terms))

    @cached_property
    def mean_squares(self) -> MeanSquares:
        """Mean squares of a balanced layout; their `components` have limits beside the likelihood's.

        Raises
        ------
        FitError
            If the layout is not balanced.
        """
        found = self.mixed.mean_squares
        return replace(found, terms=self._named(found.terms))

    def _named(self, terms: tuple[str, ...]) -> tuple[str, ...]:
        """Call the residual what it is in a trial."""
        last = CUT if (EDGE,) in self.mixed.structure.kept else f"{EDGE} and {CUT}"
        return tuple(last if term == RESIDUAL else term for term in terms)

    @cached_property
    def means(self) -> Estimates:
        """Mean of each medium over the other factors, then at each level of each of them."""
        parts = [self.mixed.means(MEDIUM)]
        parts += [self.mixed.means(MEDIUM, by=name) for name in self.mixed.frame.fixed_factors if name != MEDIUM]
        names = ["", *(name for name in self.mixed.frame.fixed_factors if name != MEDIUM)]
        counts = [self._count(name, part) for name, part in zip(names, parts, strict=True)]
        joined: dict[str, Any] = {
            column: np.concatenate([getattr(part, column) for part in parts])
            for column in ("estimate", "se", "df", "statistic", "p", "low", "high", "levels")
        }
        return replace(
            parts[0], terms=sum((part.terms for part in parts), ()), at=sum((part.at for part in parts), ()),
            counts=(sum((c[0] for c in counts), ()), sum((c[1] for c in counts), ())),
            notes=tuple(dict.fromkeys(note for part in parts for note in part.notes)), **joined,
        )  # fmt: skip

    def _count(self, by: str, part: Estimates) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """Edges and cuts behind each mean."""
        keys = [MEDIUM, by] if by else [MEDIUM]
        groups = self.edges.groupby(keys, observed=True)["cuts"]
        edges, cuts = groups.size().to_dict(), groups.sum().to_dict()
        wanted = [(term, at) if by else term for term, at in zip(part.terms, part.at, strict=True)]
        return tuple(int(edges.get(key, 0)) for key in wanted), tuple(int(cuts.get(key, 0)) for key in wanted)

    @cached_property
    def readings(self) -> pd.DataFrame:
        """The means in the trial's unit (geometric means on the log scale)."""
        table = self.means.table.drop(columns=["se", "df"])
        for column in ("estimate", "low", "high"):
            table[column] = self.as_reading(table[column].to_numpy())
        return table

    @cached_property
    def contrasts(self) -> Estimates:
        """All differences between media, averaged over the other factors, unadjusted."""
        return self.mixed.contrasts(MEDIUM)

    def as_reading(self, value: Floats | float) -> Floats:
        """Turn values on the fit's scale into readings in the trial's unit."""
        return np.exp(np.asarray(value)) if self.scale == "log" else np.asarray(value)

    @property
    def cuts(self) -> int:
        """Number of cuts in the comparison."""
        return len(self.data)

    @cached_property
    def edges(self) -> pd.DataFrame:
        """One row an edge of the comparison, with its mean, spread, residual and influence.

        `over_range` counts the cuts over the tester's range. With any, `mean` is the working mean
        of the fit, and `sd` that of the other cuts.
        """
        factors = [*self.trial.plan.factors, *self.trial.plan.layout.blocks]
        grouped = self.data.groupby(EDGE, sort=True, observed=True)
        table = grouped[list(dict.fromkeys(factors))].first()
        table["cuts"], table[OVER] = grouped.size(), grouped[OVER].sum()
        table["mean"] = self._means_with_limits(grouped[RESPONSE].mean())
        table["reading"] = self.as_reading(table["mean"].to_numpy())
        inside = self.data[~self.data[OVER]] if self.mixed.over is not None else self.data
        table["sd"] = inside.groupby(EDGE, sort=True, observed=True)[RESPONSE].std()
        left = self._residuals(table.index)
        for name in ("fitted", "residual", "deleted", "influence"):
            table[name] = getattr(left, name) if left is not None else np.nan
        if left is not None:
            table["fitted"] += self.mixed.offset
        return table.reset_index()

    def _means_with_limits(self, plain: pd.Series) -> pd.Series:
        """Put the working means of the fit in the place of means that hold a limit."""
        fit = self.mixed
        if fit.over is None:
            return plain
        edge, held = self.data[EDGE].to_numpy()[fit.units.first], fit.unit_sizes != fit.units.size
        working = pd.Series(fit.unit_means[held, -1] + fit.offset, index=edge[held])
        return working.reindex(plain.index).fillna(plain)

    def _residuals(self, order: pd.Index) -> checks.UnitResiduals | None:
        """Residuals edge by edge, in the order of the edges' names."""
        fit = self.mixed
        if len(order) > MOST_INFLUENCE or len(order) != fit.units.size.size:
            return None
        place = np.argsort(self.data[EDGE].to_numpy()[fit.units.first], kind="stable")
        blocks = [np.eye(count)[codes[place]] for codes, count in zip(fit.units.upper, fit.units.levels, strict=True)]
        means = fit.unit_means[place]
        rows = np.column_stack([*blocks, means[:, list(fit.kept_columns)]])
        differences = pair_rows(len(fit.frame.factors[MEDIUM].levels), None)[0] if self._compares else np.eye(1)
        contrasts = (differences @ self._medium_rows)[:, list(fit.kept_columns)]
        return checks.unit_residuals(fit, rows, means[:, -1], fit.unit_sizes[place], contrasts)

    def spreads(self, media: Sequence[str], where: Mapping[str, str]) -> MixedFit:
        """Fit the same model with an edge spread of its own for each medium.

        Parameters
        ----------
        media : sequence of str
            Media whose spread is asked for. Of the others those stay out whose edges show none, one at each
            combination of the other factors, or have cuts over the tester's range.
        where : mapping of str to str
            Levels of other factors; only their edges are fitted.

        Returns
        -------
        MixedFit

        Raises
        ------
        FitError
            If a medium asked for shows no spread of its own, or has cuts over the tester's range, or the
            layout cannot answer.
        """
        data = self._spreading(media, where)
        fixed = fixed_terms(self.trial, data)[0]
        random = random_terms(self.trial, data, fixed, int(data.groupby(EDGE, observed=True).size().max()))[0]
        return fit_mixed(data, response=RESPONSE, fixed=fixed, random=random, spread_by=MEDIUM)

    def _spreading(self, media: Sequence[str], where: Mapping[str, str]) -> pd.DataFrame:
        """Readings of some media, and of those that can show a spread of their own beside them."""
        data = self.data
        for name, level in where.items():
            data = data[data[name].astype(str) == level]
        over = set(data.loc[data[OVER], MEDIUM]) if self.mixed.over is not None else set()
        if over & set(media):
            raise FitError(
                f"Edges made with {' and with '.join(name for name in media if name in over)} have cuts over the "
                "tester's range. How far such edges differ rests on what was not seen, so the two spreads are not "
                "compared."
            )
        others = [name for name in self.trial.plan.factors if name != MEDIUM]
        edges = data.drop_duplicates(EDGE)
        made, cells = edges.groupby(MEDIUM).size(), edges.drop_duplicates([MEDIUM, *others]).groupby(MEDIUM).size()
        return data[data[MEDIUM].isin([*media, *made.index[made > cells]]) & ~data[MEDIUM].isin(over)]

    @property
    def _compares(self) -> bool:
        return MEDIUM in self.mixed.frame.fixed_factors

    @property
    def _medium_rows(self) -> Floats:
        return mean_rows(self.mixed.frame, (MEDIUM,) if self._compares else (), {})[0]

    @cached_property
    def welch(self) -> Welch | None:
        """Welch's test of the media on edge means: a companion that asks for no equal spreads.

        None where there is one medium, or where an edge has no cut in range, and so no mean of its own.
        """
        if not self._compares or (self.edges[OVER] == self.edges["cuts"]).any():
            return None
        return welch(self.edges["mean"].to_numpy(), pd.factorize(self.edges[MEDIUM], sort=True)[0])

    @cached_property
    def scale_profile(self) -> checks.ScaleProfile | None:
        """How well each power of the reading suits the model; None where it cannot be told."""
        readings = self.data["reading"].to_numpy(float)
        return checks.scale_profile(readings, self.mixed.criterion_for, ~self.data[OVER].to_numpy())

    @cached_property
    def diagnostics(self) -> checks.Diagnostics:
        """Residuals, spread against level, single edges, and whether the scale suits."""
        return checks.diagnose(self.edges, self.scale_profile, self.scale)

    @cached_property
    def table(self) -> pd.DataFrame:
        """The means in the trial's unit."""
        return self.readings


@lru_cache(maxsize=4)
def fit_trial(trial: Trial) -> TrialFit:
    """Fit the model that the trial's layout asks for.

    Parameters
    ----------
    trial : Trial

    Returns
    -------
    TrialFit

    Raises
    ------
    FitError
        If no edge is left, or the layout cannot answer.
    """
    compared, left_out = _compared(trial)
    if compared.empty:
        raise FitError(
            "No edge is left to compare: every row is set aside or over range. "
            "`sharpstats check` names the rows and the reasons."
        )
    _check_cuts(compared, trial.plan.unit)
    scale = trial.plan.scale
    values = compared["reading"].to_numpy(float)
    compared = compared.assign(**{RESPONSE: np.log(values) if scale == "log" else values})
    fixed, fixed_notes = fixed_terms(trial, compared)
    most_cuts = int(compared.groupby(EDGE, observed=True).size().max())
    random, random_notes = random_terms(trial, compared, fixed, most_cuts)
    mixed = fit_mixed(
        compared, response=RESPONSE, fixed=fixed, random=random, level=1 - trial.plan.alpha, over=OVER
    )
    notes = (*fixed_notes, *random_notes, *left_out_notes(left_out), *fitted_notes(compared),
             *control_notes(_controls(trial)), *own_notes(mixed))  # fmt: skip
    return TrialFit(trial=trial, scale=scale, unit=trial.plan.unit, mixed=mixed, data=compared, left_out=left_out,
                    drift=_drift(trial), notes=notes)  # fmt: skip


def _compared(trial: Trial) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Readings in the comparison, and the edges that stay out since nothing bounds their mean."""
    readings = trial.readings
    if "role" in readings.columns:
        readings = readings[readings["role"] != "control"]
    out = readings[EDGE].isin(readings.loc[_without_end(trial, readings), EDGE].unique())
    media = readings[out].drop_duplicates(EDGE)[[EDGE, MEDIUM]].reset_index(drop=True)
    return readings[~out], media.assign(reason="all cuts on edges like it are over the tester's range")


def _without_end(trial: Trial, readings: pd.DataFrame) -> NDArray[np.bool_]:
    if not readings[OVER].any():  # no need to look at the factors
        return np.zeros(len(readings), dtype=bool)
    return without_end(readings, fixed_terms(trial, readings)[0])


def _controls(trial: Trial) -> pd.DataFrame:
    readings = trial.readings
    return readings[readings["role"] == "control"] if "role" in readings.columns else readings.iloc[:0]


def own_notes(mixed: MixedFit) -> list[Note]:
    """Notes of the fit, but for the one that the trial tells in its own words (`one-cut`)."""
    return [note for note in mixed.notes if note.code != "one-reading-each"]


def fixed_terms(trial: Trial, data: pd.DataFrame) -> tuple[list[Term], list[Note]]:
    """Factors with more than one level in the readings, and the planned interactions among them."""
    plan, notes = trial.plan, []
    varied = [name for name in plan.factors if data[name].nunique() > 1]
    for name in plan.factors:
        if name not in varied:
            notes.append(Note("one-level", f"All edges in the comparison have one {name}, {data[name].iloc[0]}, so "
                              f"nothing is said about other ones."))  # fmt: skip
    terms: list[Term] = [(name,) for name in varied]
    for term in plan.layout.interactions:
        if all(name in varied for name in term):
            terms.append(tuple(term))
            notes += _empty_cells(data, term)
    return terms, notes


def _empty_cells(data: pd.DataFrame, term: Term) -> list[Note]:
    counts = data.groupby(list(term), observed=True)[EDGE].nunique()
    whole = pd.MultiIndex.from_product([data[name].unique() for name in term], names=list(term))
    empty = [cell for cell in whole if cell not in counts.index]
    return [Note("empty-cell", f"No edge was made with {' and '.join(map(str, cell))}; averages over it are not "
                 "given.") for cell in empty]  # fmt: skip


def random_terms(
    trial: Trial, data: pd.DataFrame, fixed: list[Term], most_cuts: int
) -> tuple[list[Term], list[Note]]:
    """Blocks with more than one level, what they do to media where that is made again, and the edge.

    What a block does to a medium may be another thing at another level of a factor: without a term for that, edges
    made again would count as if each were a block of its own, and a gap would be found too often.

    Parameters
    ----------
    trial : Trial
    data : DataFrame
        Readings or edges of the comparison.
    fixed : list of tuple of str
        Fixed terms of the model.
    most_cuts : int
        Cuts of the edge that has most.
    """
    terms: list[Term] = []
    notes: list[Note] = []
    edges = data.drop_duplicates(EDGE)
    for block in trial.plan.layout.blocks:
        if data[block].nunique() < 2:
            notes.append(Note("one-block", f"All edges share one {block}, {data[block].iloc[0]}: nothing is known "
                              f"about other ones."))  # fmt: skip
            continue
        if data[block].nunique() == data[EDGE].nunique():
            notes.append(Note("block-is-edge", f"Each {block} has one edge, so the spread between levels of {block} "
                              f"and between edges of one {block} are one: the edge's."))  # fmt: skip
            continue
        terms.append((block,))
        with_medium = [(MEDIUM, *(name for name in term if name != MEDIUM)) for term in fixed if MEDIUM in term]
        terms += [(block, *term) for term in with_medium if _made_again(edges, block, term)]
    terms.append((EDGE,))  # `fit_mixed` leaves it out where it is the residual
    if most_cuts == 1:
        notes.append(Note("one-cut", "Each edge has one cut, so the spread between edges and the error of a cut are "
                          "one."))  # fmt: skip
    return terms, notes


def _made_again(edges: pd.DataFrame, block: str, term: Term) -> bool:
    """Whether block by term can be told from the edge, from block by all but the last factor, and from the term."""
    codes = {name: pd.factorize(edges[name])[0] for name in (block, *term)}
    cell, cells = combine([codes[name] for name in (block, *term)])
    first = first_of_each(cell, cells)
    below = [combine([codes[name][first] for name in names]) for names in ((block, *term[:-1]), term)]
    (one, size), (other, more) = below
    graph = coo_array((np.ones(cells), (one, other + size)), shape=(size + more, size + more))
    pieces = connected_components(graph, directed=False)[0]
    return cells < len(edges) and cells > size + more - pieces and more > 1


def _drift(trial: Trial) -> Drift | None:
    """Control edges in the order in which they were made."""
    controls = _controls(trial)
    controls = controls[~controls[EDGE].isin(controls.loc[controls[OVER], EDGE])]
    if controls.empty:
        return None
    order = _order(trial.readings)
    controls = controls.assign(order=order)
    kinds = [name for name in (MEDIUM, "blade") if name in controls.columns]
    log = trial.plan.scale == "log"
    values = controls["reading"].astype(float)
    grouped = controls.assign(y=np.log(values) if log else values).groupby(EDGE, sort=False, observed=True)
    first: Any = grouped[kinds].first().astype(str)
    table = pd.DataFrame({"order": grouped["order"].min(), "mean": grouped["y"].mean()})
    table["reading"] = np.exp(table["mean"]) if log else table["mean"]
    table["kind"] = first.agg(" on ".join, axis=1)
    return control_drift(table.reset_index(), float(order.min()), float(order.max()), 1 - trial.plan.alpha)


def _check_cuts(compared: pd.DataFrame, unit: str) -> None:
    """Refuse cuts without any spread, in the words of a trial."""
    inside = compared[~compared[OVER]]
    reading, which = inside["reading"], "cuts" if len(inside) == len(compared) else "cuts in range"
    if reading.nunique() == 1:
        raise FitError(
            f"All {len(inside):,} {which} read {reading.iloc[0]:g} {unit}, so there is no spread to judge a difference "
            "by. Does the tester hold its peak, and round to steps finer than the edges differ?"
        )
    edges = inside.groupby(EDGE, observed=True)["reading"]
    if edges.size().max() > 1 and edges.nunique().max() == 1:
        raise FitError(
            f"All {which} on each edge read the same, so the error of a single cut cannot be seen. If one number was "
            "copied to all cuts of an edge, keep one row for each edge; else ask what step the tester rounds to."
        )


def _order(readings: pd.DataFrame) -> pd.Series:
    """Place of each row's edge in the trial: its run where all have one, else first appearance."""
    if "run" in readings.columns and readings["run"].notna().all():
        return readings["run"].astype(float)
    return pd.Series(pd.factorize(readings[EDGE])[0] + 1.0, index=readings.index)
