"""Every column once: its name, type, unit, bounds and one sentence.

`READINGS` is the table a person fills in; a study of the tester has `TESTED`, `MASSES` and `SHOPS`.
Readers, writers, forms, checks and the published descriptor all derive from them. `RESULTS` is the
vocabulary of result tables.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

ColumnKind = Literal["text", "integer", "number", "reading", "moment"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a table.

    Attributes
    ----------
    name : str
        The name in the file.
    kind : str
        ``text``, ``integer``, ``number``, ``reading`` (a number, or a limit such as ``>1500``)
        or ``moment`` (ISO 8601 date or date and time).
    sentence : str
        What the column holds.
    unit : str
        Unit of the numbers; ``trial`` for the unit that the plan names; empty if none.
    minimum, maximum : float or None
        Bounds, themselves allowed.
    choices : tuple of str
        Allowed texts; empty for any.
    group : str
        Where the column belongs: identity, conditions, circumstances, outcome, bookkeeping.
    required : bool
        Whether a readings file must have it.
    """

    name: str
    kind: ColumnKind
    sentence: str
    unit: str = ""
    minimum: float | None = None
    maximum: float | None = None
    choices: tuple[str, ...] = ()
    group: str = ""
    required: bool = False


@dataclass(frozen=True, slots=True)
class Schema:
    """The columns that one kind of file may have.

    Attributes
    ----------
    name : str
        What the file holds, and what it is called: ``readings`` for `readings.csv`.
    columns : tuple of Column
        In the order in which a new file has them.
    added : tuple of str
        Columns that sharpstats adds; a file's own column of that name is renamed on reading.

    Examples
    --------
    >>> Schema("readings", (Column(name="edge", kind="text", sentence="Name of the edge."),)).names
    ('edge',)
    """

    name: str
    columns: tuple[Column, ...]
    added: tuple[str, ...] = ()

    def __iter__(self) -> Iterator[Column]:
        return iter(self.columns)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the columns."""
        return tuple(column.name for column in self.columns)

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the columns that every file must have."""
        return tuple(column.name for column in self.columns if column.required)

    def column(self, name: str) -> Column | None:
        """Return the column of that name, or None."""
        return next((column for column in self.columns if column.name == name), None)


def _identity() -> tuple[Column, ...]:
    return (
        Column(name="run", kind="integer", minimum=1, group="identity",
               sentence="Place of the edge in the random order in which edges are made."),
        Column(name="edge", kind="text", group="identity", required=True,
               sentence="Name of one sharpening of one blade."),
        Column(name="cut", kind="integer", minimum=1, group="identity",
               sentence="Number of the cut on its edge, counted from 1."),
    )  # fmt: skip


def _conditions() -> tuple[Column, ...]:
    return (
        Column(name="medium", kind="text", group="conditions",
               sentence="What the steel was abraded or polished on."),
        Column(name="steel", kind="text", group="conditions", sentence="Steel of the blade."),
        Column(name="blade", kind="text", group="conditions", sentence="Name of the physical tool."),
        Column(name="operator", kind="text", group="conditions",
               sentence="Who sharpened the edge."),
        Column(name="strokes", kind="integer", minimum=0, group="conditions",
               sentence="Number of strokes on the medium."),
        Column(name="pressure_n", kind="number", unit="N", minimum=0, group="conditions",
               sentence="Force of the blade on the medium."),
    )  # fmt: skip


def _circumstances() -> tuple[Column, ...]:
    return (
        Column(name="block", kind="text", group="circumstances",
               sentence="Block of the layout that the edge belongs to."),
        Column(name="day", kind="text", group="circumstances", sentence="Day on which the edge was read."),
        Column(name="tester", kind="text", group="circumstances", sentence="Name of the edge tester."),
        Column(name="filament_lot", kind="text", group="circumstances",
               sentence="Lot of the filament that was cut."),
        Column(name="position_mm", kind="number", unit="mm", minimum=0, group="circumstances",
               sentence="Distance of the cut from the heel of the edge."),
        Column(name="start_reading", kind="reading", unit="trial", minimum=0, group="circumstances",
               sentence="Reading of the dulled edge before it was sharpened."),
        Column(name="medium_state", kind="text", group="circumstances",
               sentence="State of the medium: fresh, worn or in between."),
        Column(name="burr_check", kind="text", group="circumstances",
               sentence="What the look for a burr before the reading found."),
        Column(name="role", kind="text", choices=("trial", "control"), group="circumstances",
               sentence="Whether the edge belongs to the comparison or is a control edge."),
        Column(name="minutes", kind="number", unit="min", minimum=0, group="circumstances",
               sentence="Time spent on making the edge."),
    )  # fmt: skip


def _outcome_and_bookkeeping() -> tuple[Column, ...]:
    return (
        Column(name="reading", kind="reading", unit="trial", minimum=0, group="outcome", required=True,
               sentence="Force at which the tester's filament parted; lower is keener."),
        Column(name="taken_at", kind="moment", group="bookkeeping",
               sentence="When the reading was taken."),
        Column(name="note", kind="text", group="bookkeeping", sentence="Anything worth saying."),
        Column(name="set_aside", kind="text", group="bookkeeping",
               sentence="Reason why the row stays out of the arithmetic; blank if it is used."),
    )  # fmt: skip


READINGS = Schema("readings", _identity() + _conditions() + _circumstances() + _outcome_and_bookkeeping())
"""Columns of the `readings.csv` of a trial."""


def _but(name: str, **changes: str | bool) -> Column:
    """Return a column of `READINGS` with something changed."""
    return next(replace(column, **changes) for column in READINGS if column.name == name)  # type: ignore[arg-type]


def _as_read(*names: str) -> tuple[Column, ...]:
    return tuple(column for column in READINGS if column.name in names)


TESTED = Schema(
    "readings",
    (
        _but("run", sentence="Place of the cut in the order in which all cuts of the study are made."),
        *_as_read("edge"),
        _but("cut", sentence="Number of the cut on its edge, or of the operator's cut on it, counted from 1."),
        _but("operator", sentence="Who made the cut."),
        *_as_read("day", "tester", "filament_lot", "position_mm", "reading", "taken_at", "note", "set_aside"),
    ),
    added=("turn", "order"),
)
"""Columns of the `readings.csv` of a tester study."""

MASSES = Schema(
    "masses",
    (
        _but("run", sentence="Place of the reading in the order in which all readings are taken."),
        Column(name="mass_g", kind="number", unit="g", minimum=0, group="conditions",
               sentence="Mass that was hung on the tester; 0 for the reading without a mass."),
        Column(name="applied", kind="reading", unit="trial", minimum=0, group="conditions",
               sentence="Force that was applied, where it is not the weight of a mass."),
        Column(name="direction", kind="text", choices=("up", "down"), group="conditions",
               sentence="Whether the load was reached from below (up) or from above (down)."),
        Column(name="series", kind="integer", minimum=1, group="conditions",
               sentence="Number of the ascent, or of the ascent with its descent, counted from 1."),
        _but("operator", sentence="Who took the reading."),
        *_as_read("day", "tester"),
        _but("reading", sentence="What the tester showed."),
        *_as_read("taken_at", "note", "set_aside"),
    ),
)  # fmt: skip
"""Columns of `masses.csv`: what a tester shows under known loads. `mass_g` or `applied` must be there."""

SHOPS = Schema(
    "shops",
    (
        Column(name="shop", kind="text", group="identity", required=True,
               sentence="Name of the shop that read the edge."),
        Column(name="batch", kind="text", group="identity", required=True,
               sentence="Name of the batch of like edges that the edge belongs to."),
        _but("edge", required=False),
        _but("cut", sentence="Number of the cut of this shop on this batch, counted from 1."),
        *_as_read("operator", "day", "tester", "filament_lot", "reading", "taken_at", "note", "set_aside"),
    ),
)  # fmt: skip
"""Columns of `shops.csv`: like edges that went round several shops."""

RESULTS: tuple[Column, ...] = (
    Column(name="term", kind="text", sentence="What the row is about."),
    Column(name="at", kind="text", sentence="Level of the other factor at which the row holds."),
    Column(name="estimate", kind="number", unit="scale", sentence="Estimate."),
    Column(name="variance", kind="number", unit="scale squared", sentence="Estimated variance."),
    Column(name="sd", kind="number", unit="scale", sentence="Standard deviation."),
    Column(name="share", kind="number", unit="%", sentence="Share of the total variance."),
    Column(name="se", kind="number", unit="scale", sentence="Standard error of the estimate."),
    Column(name="df", kind="number", sentence="Degrees of freedom."),
    Column(name="df1", kind="number", sentence="Numerator degrees of freedom."),
    Column(name="df2", kind="number", sentence="Denominator degrees of freedom."),
    Column(name="sum_of_squares", kind="number", unit="scale squared", sentence="Sum of squares."),
    Column(name="mean_square", kind="number", unit="scale squared", sentence="Mean square."),
    Column(name="statistic", kind="number", sentence="Value of the t statistic."),
    Column(name="f", kind="number", sentence="Value of the F statistic."),
    Column(name="p", kind="number", sentence="p value."),
    Column(name="low", kind="number", unit="scale", sentence="Lower limit of the interval."),
    Column(name="high", kind="number", unit="scale", sentence="Upper limit of the interval."),
    Column(name="level", kind="number", sentence="Level of the interval, between 0 and 1."),
    Column(name="edges", kind="integer", sentence="Number of edges."),
    Column(name="cuts", kind="integer", sentence="Number of cuts."),
    Column(name="expected", kind="number", sentence="Number of cuts to expect without a habit."),
    Column(name="evaluation", kind="text", choices=("A", "B"),
           sentence="How an uncertainty was evaluated: A from repeated readings, B from anything else."),
    Column(name="distribution", kind="text", sentence="Distribution of what a contribution may be."),
    Column(name="standard_uncertainty", kind="number", sentence="Standard uncertainty, in the contribution's unit."),
    Column(name="unit", kind="text", sentence="Unit of the contribution."),
    Column(name="sensitivity", kind="number", sentence="Change of the result for a change of 1 in the contribution."),
    Column(name="contribution", kind="number", sentence="What it adds: sensitivity times standard uncertainty."),
    Column(name="source", kind="text", sentence="Where the number comes from."),
    Column(name="step", kind="number", unit="study", sentence="Step on which all readings lie."),
    Column(name="smallest", kind="number", unit="scale",
           sentence="Smallest difference between two edges that so many cuts on each can show."),
    Column(name="by_standard", kind="number", unit="scale", sentence="The same by ISO 5725-6, with 1.96 SDs."),
    Column(name="found", kind="number", unit="scale", sentence="True difference that is found nine times in ten."),
    Column(name="wanted", kind="number", unit="scale", sentence="Difference that the tester shall be able to show."),
    Column(name="surely", kind="integer", sentence="Cuts with which a true difference is found nine times in ten."),
    Column(name="floor", kind="number", unit="scale", sentence="Difference that no number of cuts goes below."),
    Column(name="low_error", kind="number", unit="scale", sentence="Monte-Carlo standard error of the lower limit."),
    Column(name="high_error", kind="number", unit="scale", sentence="Monte-Carlo standard error of the upper limit."),
    Column(name="held", kind="number", unit="%", sentence="Share of drawn studies whose interval holds the truth."),
    Column(name="held_error", kind="number", unit="percentage points",
           sentence="Monte-Carlo standard error of that share."),
    Column(name="batch", kind="text", sentence="Batch of like edges that was sent round."),
    Column(name="shop", kind="text", sentence="Shop that read it; two where a pair is tested."),
    Column(name="shops", kind="integer", sentence="Number of shops."),
    Column(name="pair", kind="number", unit="scale", sentence="The most by which 95 of 100 pairs of cuts differ."),
    Column(name="h", kind="number", sentence="A shop's mean, in SDs of all shops' means above their mean."),
    Column(name="h_p", kind="number", sentence="p value of h for a shop named beforehand."),
    Column(name="k", kind="number", sentence="A shop's SD, divided by the root mean square of all shops' SDs."),
    Column(name="k_p", kind="number", sentence="p value of k for a shop named beforehand."),
    Column(name="outlying", kind="text", sentence="Whether the cell is proposed as a statistical outlier."),
    Column(name="at_5", kind="number", sentence="Critical value of the statistic at 5 %."),
    Column(name="at_1", kind="number", sentence="Critical value of the statistic at 1 %."),
    Column(name="cells", kind="integer", sentence="Number of cells compared."),
    Column(name="mark", kind="text", sentence="Accepted, straggler or outlier."),
    Column(name="usual", kind="number", sentence="Usual limit of a rule: standard deviations, or cuts in a row."),
    Column(name="apart", kind="number", sentence="Mean number of cuts between false alarms of the usual limit."),
    Column(name="usual_rate", kind="number", sentence="Share of steady series that cross the usual limit."),
    Column(name="limit", kind="number", sentence="Limit that is used: standard deviations, or cuts in a row."),
    Column(name="rate", kind="number", sentence="Share of steady series that cross the limit that is used."),
    Column(name="worst", kind="number", sentence="The most of this series: standard deviations, or cuts in a row."),
    Column(name="spoken", kind="integer", sentence="How often a rule speaks in this series."),
    Column(name="shared", kind="text", sentence="What changed along with the lot and cannot be told from it."),
    Column(name="load", kind="text", sentence="Known load under which the reading was taken."),
    Column(name="turn", kind="number", sentence="Place of the cut in the order of the whole study."),
    Column(name="deviation", kind="number", unit="scale", sentence="How far the cut lies off the mean of its like."),
    Column(name="average", kind="number", unit="scale",
           sentence="Average of the deviations so far, the newest counting most."),
    Column(name="signals", kind="text", sentence="Rules that speak at the cut."),
)
"""Columns that a result's `.table` may have."""


def readings_column(name: str) -> Column | None:
    """Return the column of `readings.csv` with that name, or None.

    Examples
    --------
    >>> readings_column("pressure_n").unit
    'N'
    """
    return READINGS.column(name)
