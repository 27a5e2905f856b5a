"""Rules on readings and cuts: a positive number or a limit, and one reading for each cut of an edge."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.trial.checking import Checking
from sharpstats.trial.labels import Flags, Labels, encode
from sharpstats.trial.numerals import Numbers, force_unit, plain_numbers, read_numbers
from sharpstats.units import ForceUnit, Quantity

REASONS = {
    "not-a-number": 'The reading "{}" is not a number. Write the number alone, or >1500 for over-range.',
    "not-finite": 'The reading "{}" is not a finite number. Write >1500 or the like for over-range, or leave it blank.',
    "under-range": 'The reading "{}" is a limit from above, which cannot be used. Write the number that was shown.',
    "formula": 'The cell holds the formula "{}" without its value. Write the number itself.',
    "spreadsheet-error": 'The cell holds "{}", an error of the spreadsheet program. Write the number itself.',
    "ambiguous-number": '"{}" can be read with a decimal sign or as thousands. Write it without the sign in between.',
    "unknown-unit": 'The unit of the reading "{}" is not known. Give readings in gf or N.',
    "not-positive": 'The reading "{}" is not above zero, and such a reading has no logarithm.',
    "negative": 'The reading "{}" is negative, which a force that parts a filament cannot be.',
}
REPAIRS = {
    "decimal-comma": "of reading have a decimal comma",
    "digit-groups": "of reading have their thousands set apart",
    "space-or-apostrophe": "of reading hold a number as text, with space or an apostrophe",
    "unit": "of reading carry a unit",
}


def check_readings(checking: Checking, *, below_zero: bool = False) -> None:
    """Read the readings as numbers in the plan's unit and set rows aside that have none.

    Parameters
    ----------
    checking : Checking
    below_zero : bool
        Whether a reading may be negative, as that of a tester without any load may.
    """
    plain = None if checking.table.decimal_comma else plain_numbers(checking.frame["reading"])
    if plain is not None and (plain > 0).all():
        factor = header_factors(checking, "reading")
        _note_conversion(checking, np.broadcast_to(factor != 1, plain.shape))
        checking.typed["reading"] = pd.Series(plain * factor)
    else:
        _check_odd_readings(checking, below_zero)


def _check_odd_readings(checking: Checking, below_zero: bool) -> None:
    labels = checking.encoded("reading")
    numbers = read_numbers(labels.texts, decimal_comma=checking.table.decimal_comma)
    problems = _problems(numbers, checking.plan.scale == "log", below_zero)
    blank = labels.rows_where(problems == "blank") & ~_explained(checking)
    checking.asides.add(blank, "reading", "no-reading", "The row has no reading: the edge is not yet cut there.")
    for code, reason in REASONS.items():
        at_fault = labels.rows_where(problems == code)
        if at_fault.any():
            texts = [reason.format(text.strip()[:60]) for text in labels.texts]
            checking.asides.add(at_fault, "reading", code, labels.spread(texts, at_fault))
    sound = problems == ""
    _report(checking, labels, numbers, sound)
    checking.typed["over_range"] = pd.Series(labels.rows_where(numbers.over & sound))
    factor = _factors(checking, labels, numbers)
    _note_conversion(checking, (factor != 1) & labels.rows_where(sound))
    checking.typed["reading"] = pd.Series(np.where(sound, numbers.value, np.nan)[labels.codes] * factor)


def _explained(checking: Checking) -> Flags:
    """Tell which rows say in `set_aside` why they stay out: a cut without a reading was lost, not still to come."""
    if not checking.has("set_aside"):
        return np.zeros(len(checking.frame), dtype=bool)
    reasons = checking.encoded("set_aside")
    return reasons.rows_where([bool(text.strip()) for text in reasons.texts])


def _problems(numbers: Numbers, log: bool, below_zero: bool) -> NDArray[np.object_]:
    """Add to the problems of reading a number those of a force."""
    problems = numbers.problem.copy()
    sound = problems == ""
    units = [bool(unit) and force_unit(unit) is None for unit in numbers.unit]
    problems[sound & np.array(units, dtype=bool)] = "unknown-unit"
    sound = problems == ""
    problems[sound & (numbers.value < 0) & (not below_zero)] = "negative"
    problems[sound & (numbers.value == 0) & (log | numbers.over)] = "not-positive"
    return problems


def _report(checking: Checking, labels: Labels, numbers: Numbers, sound: Flags) -> None:
    for code in ("decimal-comma", "digit-groups", "space-or-apostrophe"):
        checking.repaired(code, labels.rows_where((numbers.repair == code) & sound), REPAIRS[code])
    checking.repaired("unit", labels.rows_where((numbers.unit != "") & sound), REPAIRS["unit"])


def _note_conversion(checking: Checking, converted: Flags) -> None:
    checking.repaired("unit-converted", converted, f"of reading were converted to {checking.plan.unit}")


def _factors(checking: Checking, labels: Labels, numbers: Numbers) -> NDArray[np.float64]:
    """Return what brings each reading to the plan's unit: its own unit says, else that of its header."""
    unit = checking.plan.unit
    own = np.array([factor_to(unit, force_unit(written)) if written else np.nan for written in numbers.unit])
    by_text = own[labels.codes]
    return np.where(np.isnan(by_text), header_factors(checking, "reading"), by_text)


def header_factors(checking: Checking, name: str) -> NDArray[np.float64]:
    """Return what brings numbers without a unit of their own to the plan's: one for all, or one for each row."""
    factors = {file: factor_to(checking.plan.unit, units.get(name)) for file, units in checking.table.units.items()}
    if all(factor == 1 for factor in factors.values()):
        return np.ones(1)
    files = encode(checking.frame["file"])
    return np.array([factors.get(file, 1.0) for file in files.texts])[files.codes]


def factor_to(wanted: ForceUnit, unit: ForceUnit | None) -> float:
    """Return what a number in one unit of force is multiplied by to be in another.

    Examples
    --------
    >>> factor_to("N", "gf"), factor_to("gf", None)
    (0.00980665, 1.0)
    """
    return 1.0 if unit is None else Quantity(1.0, unit).to(wanted).value
