"""Evidence for a claim that compares two media, at one place or between two places."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from sharpstats.claims import rerandomising, second
from sharpstats.claims.contrast import Contrast, at_levels
from sharpstats.claims.evidence import Evidence
from sharpstats.claims.finding import Outcome, Part, SecondOpinion
from sharpstats.claims.region import Region, reported
from sharpstats.claims.settle import more_for_region
from sharpstats.claims.simulated import narrow_note, scale_note
from sharpstats.model.means import mean_rows
from sharpstats.model.spec import ModelFrame
from sharpstats.model.trialfit import EDGE, RESPONSE, TrialFit
from sharpstats.notes import Note
from sharpstats.trial.plan import Scale

Floats = NDArray[np.float64]
Estimate = tuple[float, float, float]
"""Estimate, standard error and df, on the fit's scale."""
Counts = Mapping[str, NDArray[np.int64]]
"""Cuts of each of a medium's edges."""


def comparison(fit: TrialFit, region: Region, contrast: Contrast) -> Evidence:
    """Test whether a difference of two media, or of two such differences, lies in a region.

    Parameters
    ----------
    fit : TrialFit
    region : Region
        Differences on the fit's scale that make the claim true.
    contrast : Contrast
        The media, and the places at which they are compared.

    Returns
    -------
    Evidence
    """
    return Compared(fit, region, contrast).evidence


@dataclass(frozen=True, eq=False)
class Compared:
    """A region, and the difference that is held against it.

    Attributes
    ----------
    fit : TrialFit
    region : Region
    contrast : Contrast
    """

    fit: TrialFit
    region: Region
    contrast: Contrast

    @cached_property
    def _found(self) -> list[Estimate] | None:
        return _estimates(self.fit, self.contrast)

    @property
    def _estimate(self) -> Estimate:
        return (math.nan,) * 3 if self._found is None else self._found[0]

    @property
    def _media(self) -> tuple[str, str]:
        return self.contrast.medium, self.contrast.than

    @cached_property
    def _cells(self) -> list[pd.DataFrame]:
        """Edges at each place."""
        return [edges_where(self.fit, place.where) for place in self.contrast.places]

    @cached_property
    def _counts(self) -> list[Counts]:
        return [_cuts(edges, self._media) for edges in self._cells]

    @property
    def _others(self) -> list[str]:
        """Factors over whose levels the difference is averaged."""
        factors, held = self.fit.mixed.frame.fixed_factors, self.contrast.places[0].where
        return [name for name in factors if name != "medium" and name not in held]

    @property
    def evidence(self) -> Evidence:
        """All that the family needs to know."""
        fit, region, (estimate, se, df), unknown = self.fit, self.region, self._estimate, self._found is None
        reach = float(stats.t.isf(fit.trial.plan.alpha / 2, df)) * se
        return Evidence(
            p_shown=math.nan if unknown else region.p_shown(estimate, se, df),
            p_contradicted=math.nan if unknown else region.p_contradicted(estimate, se, df),
            unit="%" if fit.scale == "log" else fit.unit,
            estimate=reported(estimate, fit.scale), df=df, estimate_on_scale=estimate, se=se,
            bound_low=reported(region.low, fit.scale) if math.isfinite(region.low) else None,
            bound_high=reported(region.high, fit.scale) if math.isfinite(region.high) else None,
            tails=region.tails, real=None if unknown else abs(estimate) > reach,
            interval=partial(_interval, self._estimate, fit.scale), more_edges=self._more_edges,
            opinions=self._opinions,
            edges={name: sum(len(at[name]) for at in self._counts) for name in self._media},
            cuts={name: sum(int(at[name].sum()) for at in self._counts) for name in self._media},
            parts=partial(_parts, fit, self.contrast, self._found, self._counts), further_notes=self._further_notes,
            notes=(*_notes(fit, self.contrast, unknown, self._counts), *_limits(self._cells, self._media)),
        )  # fmt: skip

    def _more_edges(self, rate: float) -> int | None:
        # A cell without an edge may still be answered by the others: then all edges of the medium count.
        made = self.fit.edges["medium"]
        now = min(len(cuts) for at in self._counts for cuts in at.values())
        now = now or min(int((made == name).sum()) for name in self._media)
        return more_for_region(self.region, *self._estimate, rate, now)

    @cached_property
    def _dealt(self) -> rerandomising.Layout | Note | None:
        """How the media were dealt out, or why that cannot be done again."""
        layout = self.fit.trial.plan.layout
        plain = [_at_limits(self.fit, edges) for edges in self._cells]
        return _hidden(self._cells, self._media) or rerandomising.layout(
            plain, *self._media, self._others, layout.blocks, self.fit.trial.plan.alpha
        )

    def _opinions(self, rate: float, outcome: Outcome) -> tuple[SecondOpinion, ...]:
        if _hidden(self._cells, self._media) is not None:
            return ()
        layout = self.fit.trial.plan.layout
        simple = second.without_model(self._cells[0], *self._media, self._others, layout.blocks, *self._cells[1:])
        found = [] if simple is None else [second.opinion(*simple, self.region, rate, outcome)]
        if isinstance(self._dealt, rerandomising.Layout):
            found.append(rerandomising.opinion(self._dealt, self.region, rate, outcome, layout.seed))
        return tuple(found)

    def _further_notes(self) -> tuple[Note, ...]:
        edges = [sum(len(at[name]) for at in self._counts) for name in self._media]
        _, se, df = self._estimate
        told = [self._dealt, scale_note(self.fit, edges), narrow_note(self.region, se, df, self.fit.trial.plan.alpha)]
        return tuple(note for note in told if isinstance(note, Note))


def _cuts(edges: pd.DataFrame, media: Sequence[str]) -> Counts:
    medium, cuts = edges["medium"].to_numpy(dtype=object), edges["cuts"].to_numpy()
    return {name: cuts[medium == name] for name in media}


def _hidden(cells: Sequence[pd.DataFrame], media: tuple[str, str]) -> Note | None:
    """Say so where an edge has no cut in range: what the fit takes for its mean comes from the other edges.

    A second opinion that took it for a reading of its own would lean on the very fit beside which it
    stands. With a cut in range it is that cut, above all, that tells where the edge lies.
    """
    edges = pd.concat(cells)
    blank = edges[edges["medium"].isin(media) & (edges["over_range"] == edges["cuts"])]
    if blank.empty:
        return None
    which = "one edge has" if len(blank) == 1 else f"{len(blank)} edges have"
    return Note("over-range-alone", f"No second opinion is given: {which} no cut in the tester's range, and so no mean "
                "that does not come from the fit.")  # fmt: skip


def _limits(cells: Sequence[pd.DataFrame], media: tuple[str, str]) -> tuple[Note, ...]:
    """Count the edges of the two media that have cuts over the tester's range."""
    over = np.concatenate([edges.loc[edges["medium"].isin(media), "over_range"].to_numpy() for edges in cells]) > 0
    if not over.any():
        return ()
    which = f"{int(over.sum())} of {len(over)} edges {'has' if over.sum() == 1 else 'have'}"
    return (Note("over-range", f"{which} cuts over the tester's range, fitted as \"at least so much\"."),)


def _at_limits(fit: TrialFit, edges: pd.DataFrame) -> pd.DataFrame:
    """Give edges the mean of their cuts as they stand, over-range ones at the limit: no medium plays a part in that."""
    if fit.mixed.over is None:
        return edges
    return edges.assign(mean=edges[EDGE].map(fit.data.groupby(EDGE, observed=True)[RESPONSE].mean()))


def _interval(found: Estimate, scale: Scale, rate: float) -> tuple[float, float]:
    """Limits with so much of the error rate on each side, as they are reported."""
    estimate, se, df = found
    reach = float(stats.t.isf(rate, df)) * se
    return reported(estimate - reach, scale), reported(estimate + reach, scale)


def _parts(
    fit: TrialFit, contrast: Contrast, found: list[Estimate] | None, counts: Sequence[Counts], rate: float
) -> tuple[Part, ...]:
    """The difference at each place, where there are several."""
    if len(contrast.places) == 1:
        return ()
    differences = [(math.nan,) * 3] * len(contrast.places) if found is None else found[1:]
    told = []
    for place, difference, here in zip(contrast.places, differences, counts, strict=True):
        low, high = _interval(difference, fit.scale, rate)
        edges, cuts = _counted(here)
        told.append(Part(at=place.at, estimate=reported(difference[0], fit.scale), low=low, high=high,
                         edges=edges, cuts=cuts))  # fmt: skip
    return tuple(told)


def _counted(counts: Counts) -> tuple[dict[str, int], dict[str, int]]:
    """Edges and cuts of each medium."""
    return {name: len(cuts) for name, cuts in counts.items()}, {name: int(c.sum()) for name, c in counts.items()}


def _estimates(fit: TrialFit, contrast: Contrast) -> list[Estimate] | None:
    """Estimate, Kenward-Roger standard error and df: of the claim, then at each place.

    None where the layout cannot answer the claim.
    """
    frame = fit.mixed.frame
    factor = frame.factors.get("medium")
    if factor is None or not {contrast.medium, contrast.than} <= set(factor.levels):
        return None
    if any(_missing(fit, place.where) for place in contrast.places):
        return None
    rows = np.array([difference_row(frame, contrast, place.where) for place in contrast.places])
    rows = np.vstack([np.array([place.sign for place in contrast.places]) @ rows, rows])
    names = tuple(f"{contrast.medium} minus {contrast.than}" for _ in rows)
    found = fit.mixed.estimates("contrasts", rows, names, ("",) * len(rows), df="kenward-roger")
    if np.isnan(found.estimate[0]):
        return None
    return [(float(b), float(se), float(df)) for b, se, df in zip(found.estimate, found.se, found.df, strict=True)]


def difference_row(frame: ModelFrame, contrast: Contrast, where: Mapping[str, str]) -> Floats:
    """Row over the columns of X that gives the difference of the two media at one place."""
    held = {name: level for name, level in where.items() if name in frame.fixed_factors}
    rows, _ = mean_rows(frame, ("medium",), held)
    levels = frame.factors["medium"].levels
    row: Floats = rows[levels.index(contrast.medium)] - rows[levels.index(contrast.than)]
    return row


def _missing(fit: TrialFit, where: Mapping[str, str]) -> bool:
    return any(level not in set(fit.data[name].astype(str)) for name, level in where.items())


def edges_where(fit: TrialFit, where: Mapping[str, str]) -> pd.DataFrame:
    """Edges of the comparison at the levels that a claim names."""
    return fit.edges[_rows_at(fit.edges, where)] if where else fit.edges


def _rows_at(table: pd.DataFrame, where: Mapping[str, str]) -> NDArray[np.bool_]:
    """Which rows of a table are at these levels."""
    kept = np.ones(len(table), dtype=bool)
    for name, level in where.items():
        kept &= table[name].astype(str).to_numpy(dtype=object) == level
    return kept


def _notes(fit: TrialFit, contrast: Contrast, unknown: bool, counts: Sequence[Counts]) -> tuple[Note, ...]:
    notes = [note for note in fit.mixed.notes if note.code == "zero-variance"]
    if unknown:
        return (*notes, _not_answered(contrast, counts))
    notes += [Note("borrowed", f"No edge was made with {cell}: the answer comes from other edges, by way of the "
                   "interactions that the plan leaves out.") for cell in _empty(contrast, counts)]  # fmt: skip
    return (*notes, *_one_hand(fit, contrast))


def _not_answered(contrast: Contrast, counts: Sequence[Counts]) -> Note:
    asked = f"how {contrast.medium} and {contrast.than} differ"
    if len(contrast.places) == 1:
        return Note("not-answered", f"The edges in the comparison do not answer {asked}"
                    f"{at_levels(contrast.places[0].where)}: an edge that this needs is missing.")  # fmt: skip
    empty = _empty(contrast, counts)
    lost = f"no edge was made with {'; nor with '.join(empty)}" if empty else "an edge that this needs is missing"
    return Note("not-answered", f"The gap needs to know {asked} at both levels: {lost}.")


def _empty(contrast: Contrast, counts: Sequence[Counts]) -> list[str]:
    """Media without an edge, each with its place in words."""
    cells = zip(contrast.places, counts, strict=True)
    return [f"{name}{at_levels(place.where)}" for place, here in cells for name, cuts in here.items() if not len(cuts)]


def _one_hand(fit: TrialFit, contrast: Contrast) -> tuple[Note, ...]:
    """Say so where each level of a gap was made by one operator: then person and level are one."""
    if len(contrast.places) == 1 or "operator" not in fit.data:
        return ()
    hands = [fit.data.loc[_rows_at(fit.data, place.where), "operator"] for place in contrast.places]
    if any(people.nunique() != 1 or (people == "").any() for people in hands) or hands[0].iloc[0] == hands[1].iloc[0]:
        return ()
    return (Note("one-hand", "Each of the two levels was made by one operator: the gap is between these two people, "
                 "and says nothing of others who are like them."),)  # fmt: skip
