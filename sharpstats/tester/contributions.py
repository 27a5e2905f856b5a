"""`[[contribution]]` of `tester.toml`: what makes readings uncertain and no reading of the study can show."""

from __future__ import annotations

import math
from functools import partial
from typing import get_args

from sharpstats.tester.contribution import Contribution, Evaluation, df_from_doubt
from sharpstats.tester.distributions import BOUNDED, Distribution
from sharpstats.trial.item import Item, Key, folded, list_of, read_table, report_repeats
from sharpstats.trial.spelling import listed, quoted
from sharpstats.trial.values import any_text, choice, number_between, quantity, table, text, yes_no
from sharpstats.units import ForceUnit, Quantity

SIZES = ("standard", "expanded", "half_width")
FACTORS = ("k", "level")


def contribution_keys(unit: ForceUnit) -> tuple[Key, ...]:
    """Return the keys of `[[contribution]]`."""
    size = partial(_size, unit=unit)
    return (
        Key(name="name", read=text, example='"check masses"', required=True),
        Key(name="standard", read=size, example=f'"0.3 {unit}"'),
        Key(name="expanded", read=size, example=f'"0.6 {unit}"'),
        Key(name="k", read=number_between(0, 100), example="2"),
        Key(name="level", read=number_between(0, 1), example="0.95"),
        Key(name="half_width", read=size, example=f'"0.5 {unit}"'),
        Key(name="distribution", read=choice(get_args(Distribution)), example='"rectangular"'),
        Key(name="kind", read=choice(get_args(Evaluation)), example='"B"'),
        Key(name="df", read=_df, example="12"),
        Key(name="doubt", read=_doubt, example='"25 %"'),
        Key(name="averages", read=yes_no, example="true"),
        Key(name="cancels", read=yes_no, example="true"),
        Key(name="source", read=any_text, example='"the maker\'s data sheet"'),
    )


def read_contributions(item: Item, *, unit: ForceUnit = "gf") -> tuple[Contribution, ...]:
    r"""Read `[[contribution]]`; keep every mistake and leave out what has one.

    Parameters
    ----------
    item : Item
        The list of tables; None where the plan has none.
    unit : str
        Unit of the study, to propose where one is missing.

    Returns
    -------
    tuple of Contribution
        Percentages stay in ``%``, forces in the unit in which they were written.

    Raises
    ------
    PlanError
        If it is not a list of tables.

    Examples
    --------
    >>> from sharpstats.trial.toml import toml_root
    >>> root = toml_root('[[contribution]]\nname = "check masses"\nhalf_width = "0.5 gf"', "tester.toml")
    >>> read_contributions(root.child("contribution"))[0].shape
    'rectangular'
    """
    if item.raw is None:
        return ()
    if not isinstance(item.raw, list):
        mend = "Write [[contribution]], with two brackets on each side."
        raise item.wrong("wrong-type", "`contribution` must be a list of tables.", mend)
    found = list_of(partial(_contribution, unit=unit))(item)
    names = [one.child("name") for one in item.children() if isinstance(one.raw, dict) and "name" in one.raw]
    report_repeats(names, "duplicate-name", "Give each contribution its own name; capitals do not count.", same=folded)
    return found


def _contribution(item: Item, unit: ForceUnit) -> Contribution | None:
    before = len(table(item).problems)
    values = read_table(item, contribution_keys(unit))
    for check in (_check_size, _check_factor, _check_distribution, _check_df):
        item.attempt(check)
    if len(item.problems) > before:
        return None
    size = next(key for key in SIZES if key in values)
    values |= {size: values[size].value, "unit": values[size].unit}
    if "doubt" in values:
        values["df"] = df_from_doubt(values.pop("doubt"))
    return Contribution(**values)


def _size(item: Item, unit: ForceUnit) -> Quantity:
    found = quantity(item, unit)
    if found.value <= 0:
        says = f"`{item.name}` must be more than zero; it is {found}."
        raise item.wrong("out-of-range", says, "Write it without a sign: it goes either way.")
    return found


def _df(item: Item) -> float:
    if isinstance(item.raw, bool) or not isinstance(item.raw, int | float):
        raise item.wrong_type("a number without quotes")
    if not 1 <= item.raw < math.inf:
        says = f"`df` must be 1 or more; it is {quoted(item.raw)}."
        raise item.wrong("out-of-range", says, "Leave it out where the size is taken as exact.")
    return float(item.raw)


def _doubt(item: Item) -> float:
    """Read how far off the size itself may be; at more than 70 % it would have less than one degree of freedom."""
    found = quantity(item, "%")
    if found.unit != "%" or not 0 < found.value <= 70:
        says = f"`doubt` says by how many percent the size itself may be off, up to 70 %; it is {quoted(item.raw)}."
        raise item.wrong("out-of-range", says, item.hint)
    return found.value / 100


def _check_size(item: Item) -> None:
    given = [key for key in SIZES if key in item.raw]
    if not given:
        mend = 'Write for example: half_width = "0.5 gf"'
        says = f"The size is missing: give one of {listed(SIZES)}."
        raise item.wrong("missing-size", says, mend, missing="half_width")
    if len(given) > 1:
        says = f"The size is given more than once: {listed(given, last='and')}."
        raise item.child(given[1]).wrong("two-sizes", says, "Keep the one that your source states.")


def _check_factor(item: Item) -> None:
    given = [key for key in FACTORS if key in item.raw]
    if "expanded" not in item.raw:
        if given and any(key in item.raw for key in SIZES):
            says = f"`{given[0]}` says how wide `expanded` is, which is not here."
            raise item.child(given[0]).wrong("stray-factor", says, "Take it out, or give the size as `expanded`.")
        return
    if not given:
        says = "`expanded` needs `k`, the coverage factor, or `level`: the certificate states one of them."
        raise item.wrong("missing-factor", says, "Write for example: k = 2", missing="k")
    if len(given) > 1:
        raise item.child("level").wrong("two-factors", "`k` and `level` say the same thing.", "Keep `k`.")


def _check_distribution(item: Item) -> None:
    shape = item.raw.get("distribution")
    if "half_width" in item.raw and shape in ("normal", "t"):
        says = f"A {shape} distribution has no limits, so no half-width."
        mend = f"Write {listed(BOUNDED)}; or give `standard`, or `expanded` with its level."
        raise item.child("distribution").wrong("no-limits", says, mend)
    if shape == "t" and not {"df", "doubt"} & set(item.raw):
        says = "A t distribution needs `df`, the degrees of freedom of the size."
        raise item.wrong("missing-key", says, "Write for example: df = 12", missing="df")


def _check_df(item: Item) -> None:
    if "df" in item.raw and "doubt" in item.raw:
        mend = "Keep one of them."
        raise item.child("doubt").wrong("two-dfs", "`df` and `doubt` both say how well the size is known.", mend)
