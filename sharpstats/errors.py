"""Errors and warnings: one root, one family for each stage of the work.

Every error says what is wrong, where, and what to do about it. An error that
gathers several mistakes (all the mistakes of a plan, say) keeps them in
`problems`, so that a caller can show them as a table.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One mistake: a short code, the place, what is wrong and the mend.

    Attributes
    ----------
    code : str
        Short fixed name of the rule that was broken, for example ``unknown-key``.
    says : str
        What is wrong, as a sentence.
    mend : str
        What to do about it, as a sentence; empty where there is nothing to add.
    file : str
        Name of the file, relative to the trial folder.
    line : int or None
        Line in a text file, or row in a table, counted from 1.
    key : str
        Key in a plan, or column in a table.
    value : str
        The offending text, as it was found.

    Examples
    --------
    >>> print(Problem(code="no-unit", says="The margin 15 has no unit.", file="trial.toml", line=9,
    ...               key="margin", mend='Write "15 %" or "15 gf".'))
    trial.toml, line 9, margin: The margin 15 has no unit. Write "15 %" or "15 gf".
    """

    code: str
    says: str
    mend: str = ""
    file: str = ""
    line: int | None = None
    key: str = ""
    value: str = ""

    @property
    def where(self) -> str:
        """The place, as far as it is known: ``trial.toml, line 9, margin``."""
        line = "" if self.line is None else f"line {self.line}"
        return ", ".join(part for part in (self.file, line, self.key) if part)

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        return f"{place}{self.says} {self.mend}".rstrip()


class SharpstatsError(Exception):
    """Root of every error that sharpstats raises for a person to read.

    Parameters
    ----------
    message : str
        What is wrong and what to do.
    problems : iterable of Problem
        The single mistakes, where the error gathers several.
    """

    def __init__(self, message: str, problems: Iterable[Problem] = ()) -> None:
        super().__init__(message)
        self.message = message
        self.problems = tuple(problems)

    @classmethod
    def gather(cls, problems: Iterable[Problem]) -> Self:
        """Make one error that lists every problem, a line each."""
        found = tuple(problems)
        return cls("\n".join(str(problem) for problem in found), found)

    def __reduce__(self) -> tuple[type, tuple[str, tuple[Problem, ...]]]:
        return type(self), (self.message, self.problems)


class PlanError(SharpstatsError):
    """The plan (`trial.toml`) cannot be used as it is."""


class TrialError(SharpstatsError):
    """The trial folder or its readings cannot be read."""


class FitError(SharpstatsError):
    """The readings cannot answer: no model can be fitted, or it did not converge."""


class ClaimError(SharpstatsError):
    """A claim cannot be judged."""


class PublishError(SharpstatsError):
    """A report cannot be written."""
