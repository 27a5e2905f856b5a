"""Which part each random term of a model plays: the units themselves, above them, or none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sharpstats.errors import FitError
from sharpstats.model import spread
from sharpstats.model.reduce import MAX_COLUMNS, Codes, Units, combine, find_units, first_of_each
from sharpstats.model.reml import Optimum
from sharpstats.model.spec import ModelFrame, Term, term_name
from sharpstats.notes import Note

RESIDUAL = "residual"


@dataclass(frozen=True, slots=True)
class Structure:
    """Which random term plays which part, and where its variance stands in the optimum.

    Attributes
    ----------
    kept : tuple of Term
        Random terms in the model, in the order given.
    own : int or None
        Position among `kept` of the term that is the units themselves.
    dropped : tuple of Term
        Terms left out because each unit has one reading.
    by : str
        Factor by whose levels the units' own variance differs; "" if there is none. Where each unit
        has one reading it is the residual that differs.
    levels : tuple of str
        Its levels.
    """

    kept: tuple[Term, ...]
    own: int | None
    dropped: tuple[Term, ...]
    by: str = ""
    levels: tuple[str, ...] = ()

    @property
    def places(self) -> list[tuple[str, int]]:
        """Name of each kept term, then of the residual, and its place among the variances.

        A term whose variance differs by level comes once for each level.
        """
        width = max(len(self.levels), 1)
        ahead = width if self.own is None else 1 + width
        upper = iter(range(ahead, ahead + len(self.kept)))
        found: list[tuple[str, int]] = []
        for k, term in enumerate(self.kept):
            found += self._by_level(term_name(term), 1) if k == self.own else [(term_name(term), next(upper))]
        return found + (self._by_level(RESIDUAL, 0) if self.own is None else [(RESIDUAL, 0)])

    def _by_level(self, name: str, first: int) -> list[tuple[str, int]]:
        if not self.levels:
            return [(name, first)]
        return [(f"{name} ({self.by} = {level})", first + i) for i, level in enumerate(self.levels)]

    @property
    def positions(self) -> list[int]:
        """Place of each kept term, then of the residual, among the variances."""
        return [place for _, place in self.places]

    def place_of(self, level: str) -> int:
        """Place of the units' own variance at a level of the factor by which it differs."""
        return self.levels.index(level) + (0 if self.own is None else 1)


def find_structure(frame: ModelFrame, by: str | None) -> tuple[Structure, Units]:
    """Find the units, and the part that each random term plays."""
    coded = [coded_term(frame, term) for term in frame.random]
    unit, count = find_units([codes for codes, _ in coded], [levels for _, levels in coded], frame.y.size)
    if by is not None and not coded:  # no random term: each reading is a unit
        unit, count = np.arange(frame.y.size), frame.y.size
    structure, upper = structure_of(frame.random, [levels for _, levels in coded], count, frame.y.size)
    check_columns([frame.random[k] for k in upper], [coded[k][1] for k in upper])
    first = first_of_each(unit, count)
    units = Units(
        unit=unit, first=first, size=np.bincount(unit, minlength=count).astype(float),
        upper=tuple(coded[k][0][first] for k in upper), levels=tuple(coded[k][1] for k in upper),
        diagonal=structure.own is not None,
    )  # fmt: skip
    return (structure, units) if by is None else with_spread(frame, structure, units, by)


def with_spread(frame: ModelFrame, structure: Structure, units: Units, by: str) -> tuple[Structure, Units]:
    """Give the units a variance of their own at each level of a factor."""
    spread.check_column(frame, by)
    if structure.own is None and units.size.size < units.unit.size:
        raise FitError(
            f"No random term is the units themselves, so there is no spread between them that could differ by {by}. "
            f"Name what has one {by} among the random terms, for example the edge."
        )
    group = spread.levels_of_units(frame, by, units.unit, units.first, unit_name(structure))
    levels = frame.factors[by].levels
    return replace(structure, by=by, levels=levels), replace(units, group=group, groups=len(levels))


def unit_name(structure: Structure) -> str:
    """What a unit is called."""
    named = structure.dropped if structure.own is None else structure.kept[structure.own :]
    return term_name(named[0]) if named else "reading"


def coded_term(frame: ModelFrame, term: Term) -> tuple[Codes, int]:
    """Code of each row for a random term, and the number of its levels."""
    factors = [frame.factors[name] for name in term]
    return (factors[0].codes, len(factors[0].raw)) if len(term) == 1 else combine([factor.codes for factor in factors])


def check_columns(terms: Sequence[Term], levels: Sequence[int]) -> None:
    """Refuse before any matrix of that many rows is made."""
    if sum(levels) > MAX_COLUMNS:
        each = ", ".join(f"{term_name(term)} {count:,}" for term, count in zip(terms, levels, strict=True))
        raise FitError(
            f"The blocks have {sum(levels):,} levels in all ({each}); more than {MAX_COLUMNS:,} cannot be fitted. Name "
            "as blocks only what a person would count: blades, days, operators."
        )


def structure_of(
    random: Sequence[Term], levels: Sequence[int], units: int, readings: int
) -> tuple[Structure, list[int]]:
    """Say which random term is the units themselves and which are above them."""
    own = [k for k, count in enumerate(levels) if count == units]
    if len(own) > 1:
        first, second = (term_name(random[k]) for k in own[:2])
        raise FitError(
            f"The random terms {first} and {second} always change together, so their spreads cannot be told "
            "apart. Leave one of them out."
        )
    single = units == readings
    dropped = tuple(random[k] for k in own) if single else ()
    kept = tuple(term for term in random if term not in dropped)
    upper = [k for k in range(len(levels)) if k not in own]
    place = None if single or not own else kept.index(random[own[0]])
    return Structure(kept, place, dropped), upper


def structure_notes(structure: Structure, optimum: Optimum) -> tuple[Note, ...]:
    """Say which spreads are estimated as zero, and which terms are one with the residual."""
    notes = [
        Note("zero-variance", f"The spread between levels of {name} is estimated as zero. It keeps its place in the "
             "degrees of freedom: the layout, not the estimate, decides them.")
        for name, place in structure.places if optimum.zero[place]
    ]  # fmt: skip
    notes += [
        Note("one-reading-each", f"Each {term_name(term)} has one reading, so the spread between levels of "
             f"{term_name(term)} and the error of a reading are one: the residual.")
        for term in structure.dropped
    ]  # fmt: skip
    if structure.dropped and structure.levels:
        notes.append(Note("cut-error-inside", f"So the spreads by {structure.by} hold the error of a reading as well. "
                          "If that error is alike for all, the ratio of two spreads comes out nearer to 1 than it is."))
    return tuple(notes)
