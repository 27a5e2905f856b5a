"""All rules in one pass: text rows -> readings that are used and rows that are set aside.

Every row goes to one of the two, and none is lost. Rules look at whole columns, never at single rows.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from sharpstats.errors import PlanError, Problem
from sharpstats.notes import Note
from sharpstats.trial.aside import untagged
from sharpstats.trial.cautions import layout_cautions
from sharpstats.trial.checking import Checking
from sharpstats.trial.coverage import claims_without_readings
from sharpstats.trial.cutrules import check_cuts
from sharpstats.trial.edgetable import EdgeTable
from sharpstats.trial.labelrules import check_edges_agree, check_labels
from sharpstats.trial.othercolumns import type_other_columns
from sharpstats.trial.plan import Plan
from sharpstats.trial.readingrules import check_readings
from sharpstats.trial.slips import slips
from sharpstats.trial.spelling import closest
from sharpstats.trial.table import PLACE, TextTable


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Checked:
    """What the check gives.

    Attributes
    ----------
    readings : DataFrame
        The rows that are used, typed; see `Trial`.
    set_aside : DataFrame
        file, row, column, value, code, reason for each row that is not used.
    repairs, cautions : tuple of Note
    """

    readings: pd.DataFrame
    set_aside: pd.DataFrame
    repairs: tuple[Note, ...]
    cautions: tuple[Note, ...]


def check(table: TextTable, plan: Plan) -> Checked:
    """Check every row against the plan.

    Parameters
    ----------
    table : TextTable
        The rows as text.
    plan : Plan

    Raises
    ------
    PlanError
        If the files lack a column that the plan names as a factor or block.

    Examples
    --------
    >>> frame = pd.DataFrame({"edge": ["e1", "e1"], "medium": ["slate", "slate"], "reading": ["152", "blunt"],
    ...                       "file": "readings.csv", "row": [2, 3]}, dtype="str").astype({"row": int})
    >>> checked = check(TextTable(frame=frame), Plan(title="Slate", factors={"medium": ("slate", "film")}))
    >>> checked.readings[["edge", "cut", "medium", "role", "reading"]]
      edge  cut medium   role  reading
    0   e1    1  slate  trial    152.0
    >>> checked.set_aside[["row", "code"]]
       row          code
    0    3  not-a-number
    """
    problems = missing_columns(table, plan)
    if problems:
        raise PlanError.gather(problems)
    checking = Checking.begin(table, plan)
    set_aside_damaged(checking)
    set_aside_by_hand(checking)
    check_labels(checking)
    _complain_of_claims(checking)
    check_edges_agree(checking)
    check_readings(checking)
    check_cuts(checking)
    type_other_columns(checking)
    _advise(checking)
    return Checked(
        readings=used_rows(checking),
        set_aside=checking.asides.table(),
        repairs=(*table.repairs, *checking.repairs),
        cautions=tuple(checking.cautions),
    )


def missing_columns(table: TextTable, plan: Plan) -> tuple[Problem, ...]:
    """Return a problem for each factor or block of the plan that is no column of the files."""
    files = ", ".join(table.frame["file"].unique()) or "the readings"
    needed = [(name, "factors") for name in plan.factors] + [(name, "layout.blocks") for name in plan.layout.blocks]
    return tuple(
        Problem(
            code="no-such-column",
            file="trial.toml",
            key=f"{key}.{name}" if key == "factors" else key,
            value=name,
            says=f'The plan names "{name}", but {files} has no such column.',
            mend=_mend(name, table),
        )
        for name, key in dict(needed).items()
        if name not in table.names
    )


def _mend(name: str, table: TextTable) -> str:
    near = closest(name, [other for other in table.names if other not in ("edge", "reading")])
    if near is not None:
        return f'Did you mean "{near}"? Give both the same name.'
    return f'Add a column "{name}" to the readings, or take it out of the plan.'


def _advise(checking: Checking) -> None:
    """Gather the cautions."""
    if not checking.asides.kept.any():
        if len(checking.frame):
            checking.caution("nothing-left", "No row is left to use; see why each was set aside.")
        return
    checking.cautions.extend(slips(checking))
    edges = EdgeTable.of(checking)
    if len(edges.rows):
        checking.cautions.extend(layout_cautions(edges))


def _complain_of_claims(checking: Checking) -> None:
    """Refuse a claim about a level that no row has, be the row used, set aside or still without its reading."""
    if not len(checking.frame):
        return
    present = {name: frozenset(checking.labels[name].texts) for name in checking.plan.factors}
    problems = claims_without_readings(checking.plan, present)
    if problems:
        raise PlanError.gather(problems)


def set_aside_by_hand(checking: Checking) -> None:
    """Set rows aside for which somebody wrote a reason."""
    if checking.has("set_aside"):
        reasons = checking.encoded("set_aside")
        said = [untagged(text) for text in reasons.texts]
        for code in sorted({code for code, reason in said if reason}):
            rows = reasons.rows_where([bool(reason) and code == own for own, reason in said])
            checking.asides.add(rows, "set_aside", code, reasons.spread([reason for _, reason in said], rows))


def set_aside_damaged(checking: Checking) -> None:
    """Set rows aside that do not fit the header; no rule may look at their cells, which may stand anywhere."""
    damage = checking.table.damage
    if damage:
        places = pd.MultiIndex.from_frame(checking.frame[list(PLACE)])
        rows = places.get_indexer(pd.MultiIndex.from_tuples([(one.file, one.row) for one in damage]))
        values = [one.value for one in damage]
        checking.asides.add(rows, "", "ragged-row", [one.reason for one in damage], values=values)
        checking.asides.close()


def used_rows(checking: Checking) -> pd.DataFrame:
    """Put the used rows together: known columns in their own order, unknown ones as they came, then the place."""
    kept = checking.asides.kept
    everything = bool(kept.all())
    known = checking.table.schema.names
    present = {*checking.table.names, *checking.labels, *checking.typed}
    names = [name for name in known if name in present] + [name for name in checking.table.names if name not in known]
    added = [name for name in checking.table.schema.added if name in checking.typed]
    columns = {name: checking.column(name) for name in (*names, *added, *PLACE, "over_range")}
    if not everything:
        columns = {name: column[kept].reset_index(drop=True) for name, column in columns.items()}
    return pd.DataFrame(columns, copy=False)
