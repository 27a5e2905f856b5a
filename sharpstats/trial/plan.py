"""The plan: what is asked, what is compared, how edges are laid out, what is claimed.

Pure data, frozen, written before the first reading. `toml.py` makes it from `trial.toml`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import ClassVar, Literal

from sharpstats.units import ForceUnit, Quantity

Scale = Literal["log", "as read"]
Family = Literal["holm", "none"]
Operators = Literal["pseudonyms", "as written"]
Nothing: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A reading that the trade attaches a use to.

    Attributes
    ----------
    name : str
        What an edge that reads below it is fit for.
    reading : Quantity
        The force.
    """

    name: str
    reading: Quantity


DEFAULT_LEVELS: tuple[Level, ...] = (
    Level(name="about the keenest an edge gets", reading=Quantity(75.0, "gf")),
    Level(name="fine smoothing work", reading=Quantity(150.0, "gf")),
    Level(name="nearly all bench work", reading=Quantity(200.0, "gf")),
    Level(name="general work", reading=Quantity(300.0, "gf")),
    Level(name="time to resharpen", reading=Quantity(400.0, "gf")),
    Level(name="what most people call a sharp kitchen knife", reading=Quantity(500.0, "gf")),
)
"""Levels used where a plan gives none: common practice, no source. Resharpening is due
between 300 and 400 gf; the upper end is the level."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """A sentence with a number in it that readings can show or contradict.

    Attributes
    ----------
    id : str
        Short name, unique in the plan.
    says : str
        The claim as a sentence.
    medium : str
        The medium the claim is about.
    where : mapping of str to str
        Factor levels at which alone the claim is made; empty: averaged over the other factors.
    primary : bool
        Whether the claim belongs to the family that shares the error rate.
    line : int or None
        Line of `trial.toml` where the claim begins.
    """

    kind: ClassVar[str]

    id: str
    says: str
    medium: str
    where: Mapping[str, str] = field(default_factory=lambda: Nothing)
    primary: bool = True
    line: int | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison(Claim):
    """A claim about the difference between `medium` and `than`."""

    than: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Same(Comparison):
    """`medium` and `than` differ by less than `margin`."""

    kind: ClassVar[str] = "same"
    margin: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class NoWorse(Comparison):
    """`medium` is not duller than `than` by more than `margin`."""

    kind: ClassVar[str] = "no worse"
    margin: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Keener(Comparison):
    """`medium` is keener than `than` by more than `by`; zero is allowed."""

    kind: ClassVar[str] = "keener"
    by: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Steadier(Comparison):
    """Edges made on `medium` differ less from each other than those made on `than`, by `by` percent; zero is allowed.

    "By 20 %" means that the spread of `than` (the SD between edges) is at least 1.20 times as large.
    """

    kind: ClassVar[str] = "steadier"
    by: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap(Comparison):
    """The difference between `medium` and `than` depends on another factor, or does not.

    The gap is the difference at the first of the two `levels` of the factor `across`, minus
    the difference at the second. It is claimed to be less than `margin` either way or, with
    `depends`, more than that; zero is then allowed.
    """

    kind: ClassVar[str] = "gap"
    across: str
    levels: tuple[str, str]
    margin: Quantity
    depends: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Reaches(Claim):
    """At least a `share` of the edges made on `medium` read below `level`.

    `share` lies between 0 and 1; `level` carries the name of one of the plan's levels, or
    the reading itself as its name.
    """

    kind: ClassVar[str] = "reaches"
    level: Level
    share: float


CLAIM_KINDS: tuple[type[Claim], ...] = (Same, NoWorse, Keener, Gap, Steadier, Reaches)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How edges are assigned. The layout decides the model.

    Attributes
    ----------
    blocks : tuple of str
        Columns whose levels are a sample (blade, day, operator): random in the model.
    interactions : tuple of tuple of str
        Fixed interactions among the factors under test.
    edges_per_cell : int or None
        Edges planned for each medium within each level of the first block.
    cuts : int or None
        Cuts planned for each edge.
    seed : int or None
        Seed of the random order.
    """

    blocks: tuple[str, ...] = ()
    interactions: tuple[tuple[str, ...], ...] = ()
    edges_per_cell: int | None = None
    cuts: int | None = None
    seed: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Publishing:
    """What the published report says about people and reuse.

    Attributes
    ----------
    operators : str
        ``pseudonyms`` (the default) or ``as written``.
    author : str
        Who answers for the trial; empty if nobody is named.
    license : str
        Licence of the published data, for example ``CC-BY-4.0``.
    invented : bool
        Whether the readings are invented, which the report then says on top.
    """

    operators: Operators = "pseudonyms"
    author: str = ""
    license: str = "CC-BY-4.0"
    invented: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Everything that was decided before the first reading.

    Attributes
    ----------
    title, question : str
        The trial's name, and what it asks.
    unit : str
        Unit of the readings: ``gf`` or ``N``.
    scale : str
        ``log`` (effects are ratios) or ``as read`` (effects are forces).
    alpha : float
        Error rate of a finding.
    family : str
        ``holm`` or ``none``: how the primary claims share the error rate.
    factors : mapping of str to tuple of str
        What is compared, each with all its levels; `medium` is always one of them.
    layout : Layout
    levels : tuple of Level
    claims : tuple of Claim
    files : tuple of str
        Files with the readings, relative to the folder; empty: found by name.
    tester_study : str
        Folder of the study of the tester that took the readings, relative to this one; empty: none is named.
    publishing : Publishing
    """

    title: str
    factors: Mapping[str, tuple[str, ...]]
    question: str = ""
    unit: ForceUnit = "gf"
    scale: Scale = "log"
    alpha: float = 0.05
    family: Family = "holm"
    layout: Layout = field(default_factory=Layout)
    levels: tuple[Level, ...] = DEFAULT_LEVELS
    claims: tuple[Claim, ...] = ()
    files: tuple[str, ...] = ()
    tester_study: str = ""
    publishing: Publishing = field(default_factory=Publishing)
