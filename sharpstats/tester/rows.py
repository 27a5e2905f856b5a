"""The rows of a tester study: which are used, which are set aside and why, and in which order cuts were made.

The same rules as for a trial, but for what is different here: several operators may cut one edge, a check mass
is no edge, and a tester without a load may read below zero.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.errors import TrialError
from sharpstats.notes import Note
from sharpstats.tester.plan import STANDARD_GRAVITY, TesterPlan
from sharpstats.trial.check import Checked, set_aside_by_hand, set_aside_damaged, used_rows
from sharpstats.trial.checking import Checking
from sharpstats.trial.cutrules import check_cuts, given_cuts
from sharpstats.trial.labelrules import NO_VALUE, check_named, meanings
from sharpstats.trial.labels import Flags, Labels
from sharpstats.trial.othercolumns import type_other_columns
from sharpstats.trial.plan import Plan, Scale
from sharpstats.trial.readingrules import check_readings
from sharpstats.trial.slips import slips
from sharpstats.trial.spelling import counted, quoted
from sharpstats.trial.table import PLACE, TextTable
from sharpstats.units import Quantity

CONDITIONS = ("operator", "day", "tester", "filament_lot")
"""Columns that say under which conditions a reading was taken: labels, none of them needed."""
DIRECTIONS = ("up", "down")


def check_tested(table: TextTable, plan: TesterPlan) -> Checked:
    """Check the rows of `readings.csv`: cuts on edges.

    Returns
    -------
    Checked
        Its readings have `turn` (place of the cut in the order of the whole study) where `run` or `taken_at` tells
        it, and `order` (place of the cut on its edge, counting every cut that was made) where that is known.
    """
    return _checked(table, plan, _check_tested, plan.scale)


def check_masses(table: TextTable, plan: TesterPlan) -> Checked:
    """Check the rows of `masses.csv`: what the tester showed under known loads.

    Returns
    -------
    Checked
        Its readings have `applied`, the force in the plan's unit, for every row.
    """
    return _checked(table, plan, _check_masses, "as read")


def check_shops(table: TextTable, plan: TesterPlan) -> Checked:
    """Check the rows of `shops.csv`: like edges that went round several shops."""
    return _checked(table, plan, _check_shops, plan.scale)


Rules = Callable[[Checking, TesterPlan], None]


def _checked(table: TextTable, plan: TesterPlan, rules: Rules, scale: Scale) -> Checked:
    checking = Checking.begin(table, Plan(title=plan.title, factors={}, unit=plan.unit, scale=scale))
    set_aside_damaged(checking)
    set_aside_by_hand(checking)
    rules(checking, plan)
    if not checking.asides.kept.any() and not _waiting(checking).all():
        checking.caution("nothing-left", "No row is left to use; see why each was set aside.")
    return Checked(
        readings=used_rows(checking),
        set_aside=checking.asides.table(),
        repairs=(*table.repairs, *checking.repairs),
        cautions=tuple(checking.cautions),
    )


def _check_tested(checking: Checking, plan: TesterPlan) -> None:
    check_named(checking, "edge", "The row does not say which edge was read.")
    _check_conditions(checking)
    check_readings(checking)
    check_cuts(checking, _numbered_within(checking))
    type_other_columns(checking)
    _put_in_order(checking)
    if checking.asides.kept.any():
        checking.cautions.extend(slips(checking))


def _check_masses(checking: Checking, plan: TesterPlan) -> None:
    _check_conditions(checking)
    _check_direction(checking)
    check_readings(checking, below_zero=True)
    type_other_columns(checking)
    _find_applied(checking, plan)


def _check_direction(checking: Checking) -> None:
    """Read whether a load was reached from below or from above; the reading without a load needs none."""
    if not checking.has("direction"):
        return
    labels = checking.encoded("direction")
    meant = [one or text.strip() for one, text in zip(meanings(labels.texts, DIRECTIONS), labels.texts, strict=True)]
    unknown = labels.rows_where([text not in ("", *DIRECTIONS) for text in meant])
    checking.asides.add(unknown, "direction", "unknown-level", "The direction of a load is up or down, or left blank.")
    checking.labels["direction"] = labels.renamed(meant)


def _check_shops(checking: Checking, plan: TesterPlan) -> None:
    check_named(checking, "shop", "The row does not say which shop read the edge.")
    check_named(checking, "batch", "The row does not say which batch the edge belongs to.")
    _check_conditions(checking)
    check_readings(checking)
    check_cuts(checking, together(checking.labels["shop"], checking.labels["batch"]))
    type_other_columns(checking)


def _check_conditions(checking: Checking) -> None:
    """Read who, when and with what as labels; a column without any entry tells nothing and is left as it is."""
    for name in CONDITIONS:
        if checking.has(name) and not set(map(str.casefold, checking.encoded(name).texts)) <= NO_VALUE:
            reason = f"The row has no {name.replace('_', ' ')}, though others have; write it down or set the row aside."
            check_named(checking, name, reason)


def _numbered_within(checking: Checking) -> Labels:
    """Tell what cuts are numbered within: the edge, or the edge in the hands of one operator.

    Where two operators both have a cut 1 on one edge, each counts their own.
    """
    edge, operator = checking.labels["edge"], checking.labels.get("operator")
    if operator is None:
        return edge
    cut, missing = given_cuts(checking)
    rows = checking.asides.kept & ~missing
    seen = pd.DataFrame({"edge": edge.codes[rows], "cut": cut[rows], "operator": operator.codes[rows]})
    shared = seen.drop_duplicates().duplicated(["edge", "cut"])
    return together(edge, operator) if shared.any() else edge


def together(one: Labels, other: Labels) -> Labels:
    """Return two columns of labels as one.

    Examples
    --------
    >>> together(Labels(np.array([0, 1]), ("e1", "e2")), Labels(np.array([0, 0]), ("Ann",))).texts
    ('e1, Ann', 'e2, Ann')
    """
    key = one.codes * len(other.texts) + other.codes
    codes, distinct = pd.factorize(key)
    texts = (f"{one.texts[each // len(other.texts)]}, {other.texts[each % len(other.texts)]}" for each in distinct)
    return Labels(codes.astype(np.int64), tuple(texts))


def _put_in_order(checking: Checking) -> None:
    """Find the place of each cut in the whole study and on its edge; a cut that was set aside was made all the same."""
    made = checking.asides.kept | (~_waiting(checking) & _says_which_edge(checking))
    turn = _turn(checking, made)
    if turn is not None:
        checking.typed["turn"] = pd.Series(turn)
    order = _order(checking, made, turn)
    if order is not None:
        checking.typed["order"] = pd.Series(order)
    elif made.any():
        checking.caution(
            "order-unknown",
            "Nothing says in which order the cuts were made, so neither drift nor wear of the edges can be seen. Give "
            "the column run a number for each cut, or taken_at a time.",
        )


def _waiting(checking: Checking) -> Flags:
    """Tell which rows have no reading as the edge is not yet cut there."""
    texts = checking.encoded("reading")
    blank = texts.rows_where([not text.strip() for text in texts.texts])
    if not checking.has("set_aside"):
        return blank
    reasons = checking.encoded("set_aside")
    return blank & reasons.rows_where([not text.strip() for text in reasons.texts])


def _says_which_edge(checking: Checking) -> Flags:
    """Tell which rows name an edge; in one that does not fit the header anything may stand in that cell."""
    edge = checking.labels["edge"]
    named = edge.rows_where([bool(text) for text in edge.texts])
    damaged = [(damage.file, damage.row) for damage in checking.table.damage]
    return named & ~pd.MultiIndex.from_frame(checking.frame[list(PLACE)]).isin(damaged)


def _turn(checking: Checking, made: Flags) -> NDArray[np.float64] | None:
    """Return the place in the whole study, from `run` or else from `taken_at`; None if they do not tell it."""
    for name in ("run", "taken_at"):
        given = checking.typed.get(name)
        if given is None or given[made].isna().any() or given[made].duplicated().any():
            continue
        return np.asarray(given if name == "run" else given.rank(), dtype=np.float64)
    return None


def _order(checking: Checking, made: Flags, turn: NDArray[np.float64] | None) -> NDArray[np.float64] | None:
    """Return the place on the edge, from the turn or else from cut numbers that run on along the edge."""
    edge, cut = checking.labels["edge"], checking.typed["cut"].to_numpy(dtype=float)
    along = cut if turn is None else turn
    table = pd.DataFrame({"edge": edge.codes, "along": along})[made]
    if turn is None and (not checking.has("cut") or table.duplicated().any()):
        return None
    order = np.full(len(made), np.nan)
    order[made] = table.groupby("edge")["along"].rank(method="first").to_numpy()
    return order


def _find_applied(checking: Checking, plan: TesterPlan) -> None:
    """Work out the force on the tester; set rows aside that have none, or two."""
    missing = pd.Series(np.full(len(checking.frame), np.nan))
    mass, force = (checking.typed.get(name, missing).to_numpy(dtype=float) for name in ("mass_g", "applied"))
    if not (checking.has("mass_g") or checking.has("applied")):
        files = ", ".join(checking.frame["file"].unique()) or "masses.csv"
        raise TrialError(
            f"{files} has neither a column mass_g (the mass hung on, in grams) nor applied (the force). "
            "Name the column that says how much the tester was loaded."
        )
    both, none = ~np.isnan(mass) & ~np.isnan(force), np.isnan(mass) & np.isnan(force)
    where = "mass_g" if checking.has("mass_g") else "applied"
    unit = "grams" if where == "mass_g" else plan.unit
    checking.asides.add(none, where, "no-value", f"The row does not say, as a number in {unit}, how much was applied.")
    reason = "The row has both a mass and a force; leave out the one that is not meant."
    checking.asides.add(both, where, "two-values", reason)
    weight = mass * plan.masses.gravity / STANDARD_GRAVITY * Quantity(1.0, "gf").to(plan.unit).value
    checking.typed["applied"] = pd.Series(np.where(np.isnan(force), weight, force))


def plan_cautions(readings: pd.DataFrame, plan: TesterPlan) -> Iterator[Note]:
    """Compare what was read with what was planned.

    Parameters
    ----------
    readings : DataFrame
        The used rows of `readings.csv`.
    plan : TesterPlan
    """
    if readings.empty:
        return
    for name, planned in {"operator": plan.layout.operators, "edge": plan.layout.edges}.items():
        found = readings[name].nunique() if name in readings else None
        if planned is not None and found is not None and found != planned:
            says = f"The plan has {counted(planned, name)}; the readings that are used have {found}."
            yield Note("not-as-planned", says)
    if plan.layout.cuts is not None:
        yield from _odd_cells(readings, plan.layout.cuts)


def _odd_cells(readings: pd.DataFrame, cuts: int) -> Iterator[Note]:
    """Look for edges, in the hands of an operator, that were not cut as often as planned."""
    sizes = readings.groupby([name for name in ("edge", "operator") if name in readings], observed=True).size()
    odd = sizes[sizes != cuts]
    if len(odd):
        first = odd.index[0]
        name = quoted(" by ".join(first) if isinstance(first, tuple) else first)
        yield Note(
            "not-as-planned",
            f"The plan has {counted(cuts, 'cut')} each; {len(odd)} of {len(sizes)} have another number "
            f"(first: {name} with {odd.iloc[0]}).",
        )
