"""What it takes to publish one kind of folder. `kinds.py` has the kinds that there are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from sharpstats.trial.plan import Publishing
from sharpstats.trial.toml import DESCRIPTOR

PAGE, RESULTS, FIGURES = "index.html", "results.json", "figures"


class PublicPlan(Protocol):
    """What every plan has, whatever it plans."""

    @property
    def title(self) -> str:
        """Its name."""

    @property
    def question(self) -> str:
        """What it asks."""

    @property
    def publishing(self) -> Publishing:
        """What a report says about people and reuse."""


class Opened(Protocol):
    """What every opened folder has, whatever it holds."""

    @property
    def folder(self) -> Path:
        """Where it is."""

    @property
    def plan(self) -> PublicPlan:
        """Its plan."""

    @property
    def plan_sha256(self) -> str:
        """Fingerprint of the plan."""

    @property
    def data_sha256(self) -> str:
        """Fingerprint of the files with readings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One code cell of the notebook.

    Attributes
    ----------
    name : str
        Also the cell's id.
    code : str
    heading : str
        Heading of the section that begins here; empty for a cell that belongs to the section before.
    said : str
        What is said under the heading.
    """

    name: str
    code: str
    heading: str = ""
    said: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Publication:
    """One kind of folder, and how it is published.

    Attributes
    ----------
    noun : str
        What such a folder is called in a sentence.
    plan : type
        Class of its plan.
    plan_file, notebook : str
        Names of the plan and of the published notebook.
    mark : str
        How the `format` of its results.json begins: the mark by which such a report is known.
    tables : tuple of pairs of str
        Names of the published tables, and what the page calls them.
    beside : tuple of str
        Other files of data that a report may hold.
    opening : str
        Code that opens the folder, at the start of the first section.
    parts : tuple of Part
        What the notebook tells, in order.
    read_plan : callable
        Read the plan from its file.
    open_folder : callable
        Open the folder.
    write_data : callable
        Write the data of an opened folder into another, without names.
    """

    noun: str
    plan: type
    plan_file: str
    notebook: str
    mark: str
    tables: tuple[tuple[str, str], ...]
    beside: tuple[str, ...] = ()
    opening: str
    parts: tuple[Part, ...]
    read_plan: Callable[[Path], PublicPlan]
    open_folder: Callable[[str], Any]
    write_data: Callable[[Any, Path], object]

    @property
    def files(self) -> frozenset[str]:
        """What such a report consists of. Anything else in a report folder was put there by its owner and stays."""
        tables = (name for name, _ in self.tables)
        return frozenset((PAGE, RESULTS, FIGURES, DESCRIPTOR, self.notebook, self.plan_file, *tables, *self.beside))
