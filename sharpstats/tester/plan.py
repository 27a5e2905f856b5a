"""The plan of a tester study: who cuts what how often, which masses are hung on, what is wanted.

Pure data, frozen. `toml.py` makes it from `tester.toml`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from sharpstats.tester.contribution import Contribution
from sharpstats.trial.plan import Operators, Publishing, Scale
from sharpstats.units import NEWTONS_PER_GF, ForceUnit, Quantity

Kind = Literal["crossed", "nested", "one operator", "like edges"]

STANDARD_GRAVITY = 1000 * NEWTONS_PER_GF
"""Acceleration of free fall that makes a gram of mass a gram-force: 9.80665 m/s2."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyLayout:
    """Who cuts which edges how often.

    Attributes
    ----------
    kind : str or None
        ``crossed`` (every operator cuts every edge), ``nested`` (each edge is cut by one operator only),
        ``one operator``, or ``like edges`` (edges made so alike that their differences are ignored);
        None: whatever the readings show.
    operators, edges, cuts : int or None
        How many are planned; cuts are those of each operator on each edge.
    seed : int or None
        Seed of the random order.
    """

    kind: Kind | None = None
    operators: int | None = None
    edges: int | None = None
    cuts: int | None = None
    seed: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckMasses:
    """What is known of the masses that are hung on the tester.

    Attributes
    ----------
    gravity : float
        Acceleration of free fall at the bench in m/s2; the standard one unless the plan says otherwise.
    uncertainty : Quantity or None
        Standard uncertainty of the force of one mass.
    """

    gravity: float = STANDARD_GRAVITY
    uncertainty: Quantity | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyPublishing(Publishing):
    """What the published report says about people, shops and reuse.

    Attributes
    ----------
    shops : str
        ``pseudonyms`` (the default) or ``as written``.
    """

    shops: Operators = "pseudonyms"


@dataclass(frozen=True, slots=True, kw_only=True)
class TesterPlan:
    """Everything that was decided before the tester was studied.

    Attributes
    ----------
    title, question : str
        The study's name, and what it asks.
    unit : str
        Unit of the readings: ``gf`` or ``N``.
    scale : str
        ``log`` (cuts differ by so many percent) or ``as read`` (by so many gf).
    level : float
        Level of the intervals.
    wanted : Quantity or None
        The difference between two edges that the tester shall be able to show.
    layout : StudyLayout
    masses : CheckMasses
    contributions : tuple of Contribution
        What makes readings uncertain besides, which no reading of the study can show.
    publishing : StudyPublishing
    """

    title: str
    question: str = ""
    unit: ForceUnit = "gf"
    scale: Scale = "log"
    level: float = 0.95
    wanted: Quantity | None = None
    layout: StudyLayout = field(default_factory=StudyLayout)
    masses: CheckMasses = field(default_factory=CheckMasses)
    contributions: tuple[Contribution, ...] = ()
    publishing: StudyPublishing = field(default_factory=StudyPublishing)
