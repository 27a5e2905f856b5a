"""A trial whose readings stay in their file: checked and added up by DuckDB, edge by edge.

The rules are those that a file with types leaves to check: labels that are blank or not in the
plan, readings that are no positive number, rows set aside by hand, edges with two values of a
factor. Spelling is not mended and units are not converted here: what is not plain is set
aside and counted, and the first rows of each kind are kept. Only one row an edge comes to memory.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sharpstats.errors import FitError, PublishError, TrialError
from sharpstats.model.largefile import MEMORY, LargeFile, count, number, open_file, quoted
from sharpstats.model.mixed import MixedFit, fit_sums
from sharpstats.model.spec import Term, listed
from sharpstats.model.sums import add_up
from sharpstats.model.trialfit import EDGE, MEDIUM, RESPONSE, TrialFit, fixed_terms, own_notes, random_terms
from sharpstats.notes import Note
from sharpstats.trial.aside import COLUMNS
from sharpstats.trial.freeze import differences, plan_sha256, read_freeze
from sharpstats.trial.plan import Plan
from sharpstats.trial.table import TextTable
from sharpstats.trial.toml import PLAN_FILE, read_plan
from sharpstats.trial.trial import Trial, data_sha256, find_files, trial_folder

KEPT = 5
"""Rows of each kind of fault that are kept to be shown."""
TWO_VALUES, OVER_RANGE = "two-values", "over-range"


@dataclass(frozen=True, slots=True)
class Rule:
    """A fault that a row may have: where, what it is called, what is said of it, and when it is there (in SQL)."""

    column: str
    code: str
    reason: str
    when: str
    needs: tuple[Any, ...] = ()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LargeTrial(Trial):
    """A trial that was opened by `open_large`.

    `readings` has one row an edge: its labels, `cuts`, `mean` and `sd` (on the plan's scale) and the `reading` that the
    mean stands for. `set_aside` has the
    first rows of each kind; `counted` counts all.

    Attributes
    ----------
    counted : mapping of str to int
        As `Trial.counts`.
    origin : float
        What was taken off the values before they were added up.
    """

    counted: Mapping[str, int]
    origin: float

    @property
    def counts(self) -> dict[str, int]:
        """How many rows were read, used and set aside; edges; control edges."""
        return dict(self.counted)

    def fit(self) -> TrialFit:
        """Fit the model that the layout asks for."""
        return fit_large(self)

    def publish(self, *args: Any, **options: Any) -> Any:
        """Refuse: a report holds the readings and a picture of each edge."""
        raise PublishError("A trial opened with `open_large` is judged, not published: a report holds all readings.")


@dataclass(frozen=True, eq=False)
class LargeFit(TrialFit):
    """The fit of a `LargeTrial`: `data` has one row an edge."""

    trial: LargeTrial

    @property
    def cuts(self) -> int:
        """Number of cuts in the comparison."""
        return int(self.data["cuts"].sum())

    @cached_property
    def edges(self) -> pd.DataFrame:
        """One row an edge, with its mean and spread; without residual and influence."""
        unknown = dict.fromkeys(("fitted", "residual", "deleted", "influence"), np.nan)
        return self.data.assign(over_range=0, **unknown)

    @cached_property
    def scale_profile(self) -> None:
        """None: it needs the readings, and so do the other checks but that of spread against level."""


    def spreads(self, media: Sequence[str], where: Mapping[str, str]) -> MixedFit:
        """Fit the same model with an edge spread of its own for each medium, as `TrialFit.spreads` does."""
        edges = self._spreading(media, where)
        fixed = fixed_terms(self.trial, edges)[0]
        random = random_terms(self.trial, edges, fixed, int(edges["cuts"].max()))[0]
        return _fit_edges(self.trial, edges, fixed, random, spread_by=MEDIUM)


@lru_cache(maxsize=4)
def fit_large(trial: LargeTrial) -> LargeFit:
    """Fit the model that the layout asks for to the sums of a large trial.

    Parameters
    ----------
    trial : LargeTrial

    Returns
    -------
    LargeFit
    """
    edges = trial.readings
    if edges.empty:
        raise FitError("No edge is left to compare: every row is set aside. `set_aside` has the first of each kind.")
    fixed, fixed_notes = fixed_terms(trial, edges)
    random, random_notes = random_terms(trial, edges, fixed, int(edges["cuts"].max()))
    mixed = _fit_edges(trial, edges, fixed, random)
    nothing = pd.DataFrame({name: pd.Series([], dtype="str") for name in (EDGE, MEDIUM, "reason")})
    return LargeFit(
        trial=trial, scale=trial.plan.scale, unit=trial.plan.unit, mixed=mixed, data=edges, left_out=nothing,
        drift=None, notes=(*fixed_notes, *random_notes, *own_notes(mixed)),
    )  # fmt: skip


def _fit_edges(
    trial: LargeTrial, edges: pd.DataFrame, fixed: list[Term], random: list[Term], spread_by: str | None = None
) -> MixedFit:
    """Fit edges, those that are alike added up."""
    names = dict.fromkeys(name for term in (*fixed, *random) for name in term if name != EDGE)
    units = edges.assign(**{RESPONSE: edges["mean"] - trial.origin})
    sums = add_up(units, RESPONSE, tuple(names), random, trial.origin)
    return fit_sums(sums, RESPONSE, fixed, random, (), 1 - trial.plan.alpha, spread_by)


def open_large(path: Path | str, *, memory: str = MEMORY) -> LargeTrial:
    r"""Open a trial folder whose readings are too many to hold, as one Parquet or CSV file.

    Parameters
    ----------
    path : path
        The folder, or its `trial.toml`.
    memory : str
        Most memory that the database may use, for example ``500MB``.

    Returns
    -------
    LargeTrial
        Its `judge()` and `fit()` work as those of any trial.

    Raises
    ------
    PlanError
        If the plan has mistakes.
    TrialError
        If there is no trial, or its file lacks a column or holds cuts over the tester's range.
    FitError
        If the file cannot be read, or DuckDB is not installed.

    Examples
    --------
    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> _ = (folder / "trial.toml").write_text("title = 'Slate'\n[factors]\nmedium = ['slate', 'film']\n")
    >>> _ = (folder / "readings.csv").write_text("edge,medium,reading\ne1,slate,150\ne1,slate,152\ne2,film,\n")
    >>> trial = open_large(folder)
    >>> trial.counts["used"], trial.set_aside[["row", "code"]].values.tolist()
    (2, [[4, 'no-reading']])
    """
    folder = trial_folder(Path(path))
    plan = read_plan(folder / PLAN_FILE)
    files = find_files(folder, plan)
    if len(files) > 1:
        raise TrialError(f"A large trial has one file with readings, not {len(files)}. Write them into one.")
    with open_file(files[0], memory) as file:
        columns = _columns(file, plan)
        rules = tuple(_rules(file, plan))
        origin = _collect(file, plan, columns, rules)
        faults = _faults(file, columns, rules)
        edges, controls = _edges(file, plan, columns, origin)
    text = (folder / PLAN_FILE).read_text(encoding="utf-8")
    frozen = read_freeze(folder)
    aside = sum(fault.rows for fault in faults)
    return LargeTrial(
        folder=folder, plan=plan, readings=edges, set_aside=_first_rows(files[0], faults), repairs=(),
        cautions=tuple(_cautions(faults)), frozen=frozen,
        differences=() if frozen is None else tuple(differences(frozen, plan, text)),
        plan_sha256=plan_sha256(text), data_sha256=data_sha256(files),
        text=TextTable(frame=pd.DataFrame({"file": pd.Series([], dtype="str"), "row": pd.Series([], dtype="int64")})),
        counted={
            "read": int(edges["cuts"].sum()) + controls[1] + aside, "used": int(edges["cuts"].sum()) + controls[1],
            "set_aside": aside, "over_range": 0, "edges": len(edges), "control_edges": controls[0],
        }, origin=origin,
    )  # fmt: skip


def _columns(file: LargeFile, plan: Plan) -> dict[str, str]:
    """Columns that tell edges apart, the edge first, with the text of their labels in SQL."""
    names = tuple(dict.fromkeys((EDGE, *plan.factors, *plan.layout.blocks)))
    missing = [name for name in (*names, "reading") if name not in file.columns]
    if missing:
        raise TrialError(f"{file.path.name} has no column {listed(missing)}. Its columns are {listed(file.columns)}.")
    columns = {name: _label(name) for name in names}
    role = f"coalesce(nullif({_label('role')}, ''), 'trial')" if "role" in file.columns else "'trial'"
    return {**columns, "role": role}


def _label(name: str) -> str:
    return f"trim(CAST({quoted(name)} AS VARCHAR))"


def _rules(file: LargeFile, plan: Plan) -> Iterator[Rule]:
    """All faults that a single row may have; the first that holds is told."""
    if "set_aside" in file.columns:
        yield Rule("set_aside", "by-hand", "It was set aside by hand.", f"{_label('set_aside')} <> ''")
    for name in dict.fromkeys((EDGE, *plan.factors, *plan.layout.blocks)):
        reason = "The row does not say which edge was read." if name == EDGE else f"The row has no {name}."
        code = "no-edge" if name == EDGE else "no-value"
        yield Rule(name, code, reason, f"coalesce({_label(name)}, '') = ''")
    for name, levels in plan.factors.items():
        reason = f"It is not a level of {name} in the plan, letter by letter."
        yield Rule(name, "unknown-level", reason, f"NOT list_contains(?, {_label(name)})", (list(levels),))
    if "role" in file.columns:
        reason = 'The role of an edge is "trial" or "control"; blank means "trial".'
        yield Rule("role", "unknown-role", reason, f"coalesce({_label('role')}, '') NOT IN ('', 'trial', 'control')")
    yield from _reading_rules(file, plan)


def _reading_rules(file: LargeFile, plan: Plan) -> Iterator[Rule]:
    text, value = _label("reading"), number(file, "reading")
    blank = f"coalesce({text}, '') IN ('', 'nan')"
    yield Rule("reading", "no-reading", "The row has no reading: the edge is not yet cut there.", blank)
    yield Rule("reading", OVER_RANGE, "", f"starts_with({text}, '>')")
    yield Rule("reading", "not-a-number", "It is not a number alone.", f"TRY_CAST({text} AS DOUBLE) IS NULL")
    yield Rule("reading", "not-finite", "It is not a finite number.", f"{value} IS NULL")
    yield Rule("reading", "negative", "It is negative, which a force that parts a filament cannot be.", f"{value} < 0")
    if plan.scale == "log":
        yield Rule("reading", "not-positive", "It is not above zero, and has no logarithm.", f"{value} = 0")


def _fault(rules: Sequence[Rule]) -> tuple[str, list[Any]]:
    """Place of the first rule that a row breaks, in SQL, and the values that it needs; NULL for a sound row."""
    whens = " ".join(f"WHEN {rule.when} THEN {place}" for place, rule in enumerate(rules))
    return f"CASE {whens} END", [value for rule in rules for value in rule.needs]


def _collect(file: LargeFile, plan: Plan, columns: Mapping[str, str], rules: Sequence[Rule]) -> float:
    """Group sound readings by edge and all labels (table `units`), and the others by their fault; give the origin."""
    value = number(file, "reading")
    value = f"ln({value})" if plan.scale == "log" else value
    fault, needed = _fault(rules)
    # The logarithm of what is not positive is an error, so it must not be taken before the rules have looked.
    sound = f"CASE WHEN ({fault}) IS NULL THEN {value} END"
    found = file.ask(f"SELECT y FROM (SELECT {sound} AS y FROM {{rows}}) WHERE y IS NOT NULL LIMIT 1", *needed)
    origin = float(found[0][0]) if found else 0.0
    keys = "".join(f", CASE WHEN fault IS NULL THEN {key} END AS k{i}" for i, key in enumerate(columns.values()))
    file.ask(
        f"""CREATE TEMP TABLE units AS
        SELECT * EXCLUDE (y), count(*) AS n, avg(y) AS mean, var_pop(y) * count(y) AS within
        FROM (SELECT {fault} AS fault{keys}, CASE WHEN fault IS NULL THEN {value} - ? END AS y FROM {{rows}})
        GROUP BY ALL""", *needed, origin,
    )  # fmt: skip
    return origin


@dataclass(frozen=True, slots=True)
class Fault:
    """Rows set aside for one reason: how many, and the first of them (row, value, reason)."""

    column: str
    code: str
    rows: int
    first: tuple[tuple[int, str, str], ...]


def _faults(file: LargeFile, columns: Mapping[str, str], rules: Sequence[Rule]) -> tuple[Fault, ...]:
    """Count the rows of each fault, and look up the first of them."""
    question = "SELECT fault, CAST(sum(n) AS BIGINT) FROM units WHERE fault IS NOT NULL GROUP BY fault ORDER BY fault"
    counted = dict(file.base.execute(question).fetchall())
    found = []
    for place, rows in counted.items():
        rule = rules[place]
        first = tuple(_first(file, rules, place))
        if rule.code == OVER_RANGE:
            raise TrialError(
                f"{file.path.name} has {rows:,} cut(s) over the tester's range, the first {first[0][1]} in row "
                f"{first[0][0]:,}. A large trial takes plain numbers only: open it with `open_trial`, or set such "
                "edges aside."
            )
        found.append(Fault(rule.column, rule.code, rows, first))
    return (*found, *_two_values(file, columns))


def _first(file: LargeFile, rules: Sequence[Rule], place: int) -> Iterator[tuple[int, str, str]]:
    fault, needed = _fault(rules)
    question = f"""SELECT row, value FROM (
        SELECT {fault} AS fault, row_number() OVER () AS row, CAST({quoted(rules[place].column)} AS VARCHAR) AS value
        FROM {{rows}}) WHERE fault = {place} ORDER BY row LIMIT {KEPT}"""
    for row, value in file.ask(question, *needed):
        yield int(row) + file.header, value or "", rules[place].reason


def _two_values(file: LargeFile, columns: Mapping[str, str]) -> Iterator[Fault]:
    """Take edges with two labels of one column out of `units`, whole."""
    file.base.execute("CREATE TEMP TABLE twice AS SELECT k0 FROM units WHERE fault IS NULL GROUP BY k0 "
                      "HAVING count(*) > 1")  # fmt: skip
    if not count(file, "twice"):
        return
    rows = count(file, "(SELECT unnest(range(n)) FROM units WHERE fault IS NULL AND k0 IN (SELECT k0 FROM twice))")
    names = list(columns)
    spans = ", ".join(f"min(k{i}), max(k{i})" for i in range(1, len(names)))
    edges = file.base.execute(f"SELECT k0, {spans} FROM units WHERE k0 IN (SELECT k0 FROM twice) GROUP BY k0 "
                              f"ORDER BY k0 LIMIT {KEPT}").fetchall()  # fmt: skip
    first = []
    for edge, *ends in edges:
        name, one, two = next((n, a, b) for n, a, b in zip(names[1:], ends[::2], ends[1::2], strict=True) if a != b)
        row = file.ask(f"SELECT row FROM (SELECT row_number() OVER () AS row, {columns[EDGE]} = ? AS meant FROM "
                       "{rows}) WHERE meant ORDER BY row LIMIT 1", edge)[0][0]  # fmt: skip
        says = f'Edge "{edge}" has two values of {name}: "{one}" and "{two}". An edge is one sharpening.'
        first.append((int(row) + file.header, edge, says))
    file.base.execute("DELETE FROM units WHERE k0 IN (SELECT k0 FROM twice)")
    yield Fault(EDGE, TWO_VALUES, rows, tuple(first))


def _edges(
    file: LargeFile, plan: Plan, columns: Mapping[str, str], origin: float
) -> tuple[pd.DataFrame, tuple[int, int]]:
    """One row for each edge to compare; and how many control edges and control cuts there are."""
    names, role = list(columns)[:-1], f"k{len(columns) - 1}"
    controls = file.base.execute(f"SELECT count(*), CAST(coalesce(sum(n), 0) AS BIGINT) FROM units WHERE fault IS NULL "
                                 f"AND {role} = 'control'").fetchall()[0]  # fmt: skip
    sound = f"FROM units WHERE fault IS NULL AND {role} = 'trial'"
    for i in range(1, len(names)):  # labels become numbers before they leave the database
        file.base.execute(f"CREATE TYPE t{i} AS ENUM (SELECT DISTINCT k{i} {sound} ORDER BY k{i})")
    labels = "".join(f"CAST(k{i} AS t{i}), " for i in range(1, len(names)))
    edges = file.base.execute(f"SELECT k0, {labels} n, mean, within {sound} ORDER BY k0").df()
    edges.columns = pd.Index([*names, "cuts", "mean", "within"])
    spread = np.sqrt(edges["within"] / (edges["cuts"] - 1).where(edges["cuts"] > 1))
    mean = edges["mean"] + origin
    reading = np.exp(mean) if plan.scale == "log" else mean
    whole = edges.assign(mean=mean, reading=reading, sd=spread, role="trial")
    return whole, (int(controls[0]), int(controls[1]))


def _first_rows(path: Path, faults: Sequence[Fault]) -> pd.DataFrame:
    """The first rows of each fault, as `Trial.set_aside` has all of them."""
    rows = [
        (path.name, row, fault.column, value, fault.code, reason)
        for fault in faults for row, value, reason in fault.first
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(COLUMNS)).sort_values("row", kind="stable", ignore_index=True)


def _cautions(faults: Sequence[Fault]) -> Iterator[Note]:
    for fault in faults:
        says = f"{fault.rows:,} row(s) are set aside as {fault.code}; the first is row {fault.first[0][0]:,}."
        yield Note("counted-aside", says)
    yield Note("large-trial", "A large trial is checked for blanks, unknown levels, numbers that are none and edges "
               "with two labels; spelling, units, the numbering of cuts and the order of the edges were not looked "
               "at.")  # fmt: skip
