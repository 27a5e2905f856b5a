"""Rules on readings and cuts: a positive number or a limit, and one reading for each cut of an edge."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sharpstats.trial.checking import Checking
from sharpstats.trial.labels import Flags, Labels
from sharpstats.trial.numerals import Numbers, force_unit, read_numbers
from sharpstats.units import Quantity

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
    "converted": "of reading were converted to {unit}",
}


def check_readings(checking: Checking) -> None:
    """Read the readings as numbers in the plan's unit and set rows aside that have none."""
    labels = checking.encoded("reading")
    numbers = read_numbers(labels.texts, decimal_comma=checking.table.decimal_comma)
    problems = _problems(numbers, checking.plan.scale == "log")
    blank = labels.rows_where(problems == "blank")
    checking.asides.add(blank, "reading", "no-reading", "The row has no reading: the edge is not yet cut there.")
    for code, reason in REASONS.items():
        at_fault = labels.rows_where(problems == code)
        if at_fault.any():
            texts = np.array([reason.format(text.strip()[:60]) for text in labels.texts], dtype=object)
            checking.asides.add(at_fault, "reading", code, texts[labels.codes[at_fault]])
    sound = problems == ""
    _report(checking, labels, numbers, sound)
    checking.over_range = labels.rows_where(numbers.over & sound)
    factor, converted = _factors(checking, labels, numbers)
    converted &= labels.rows_where(sound)
    checking.repaired("unit-converted", converted, REPAIRS["converted"].format(unit=checking.plan.unit))
    checking.typed["reading"] = pd.Series(np.where(sound, numbers.value, np.nan)[labels.codes] * factor)


def _problems(numbers: Numbers, log: bool) -> NDArray[np.object_]:
    """Add to the problems of reading a number those of a force."""
    problems = numbers.problem.copy()
    sound = problems == ""
    units = [bool(unit) and force_unit(unit) is None for unit in numbers.unit]
    problems[sound & np.array(units, dtype=bool)] = "unknown-unit"
    sound = problems == ""
    problems[sound & (numbers.value < 0)] = "negative"
    problems[sound & (numbers.value == 0) & (log | numbers.over)] = "not-positive"
    return problems


def _report(checking: Checking, labels: Labels, numbers: Numbers, sound: Flags) -> None:
    for code in ("decimal-comma", "digit-groups", "space-or-apostrophe"):
        checking.repaired(code, labels.rows_where((numbers.repair == code) & sound), REPAIRS[code])
    checking.repaired("unit", labels.rows_where((numbers.unit != "") & sound), REPAIRS["unit"])


def _factors(checking: Checking, labels: Labels, numbers: Numbers) -> tuple[NDArray[np.float64] | float, Flags]:
    """Return what each reading is multiplied by to be in the plan's unit: its own unit, else its header's."""
    plan = checking.plan
    own = np.array([_factor(force_unit(unit), plan.unit) if unit else np.nan for unit in numbers.unit])
    header = {file: _factor(units.get("reading"), plan.unit) for file, units in checking.table.units.items()}
    if np.all(np.isnan(own) | (own == 1)) and all(value == 1 for value in header.values()):
        return 1.0, np.zeros(len(checking.frame), dtype=bool)
    by_file = checking.frame["file"].map(header).fillna(1.0).to_numpy(dtype=float)
    by_text = own[labels.codes]
    factor = np.where(np.isnan(by_text), by_file, by_text)
    return factor, factor != 1


def _factor(unit: str | None, wanted: str) -> float:
    if unit not in ("gf", "N") or unit == wanted or wanted not in ("gf", "N"):
        return 1.0
    return Quantity(1.0, unit).to(wanted).value  # type: ignore[arg-type]


def check_cuts(checking: Checking) -> None:
    """Read the numbers of the cuts; number those that have none; set doubles aside."""
    edge = checking.labels["edge"]
    given, numbered = _given_cuts(checking)
    missing = ~numbered
    cut = _numbered(edge, given, missing)
    checking.typed["cut"] = pd.Series(cut)
    named = missing & edge.rows_where([bool(text) for text in edge.texts])
    why = "were blank" if checking.has("cut") else "were missing, as no file has that column"
    checking.repaired("cuts-numbered", named, f"of cut {why}; cuts were numbered within their edge in file order")
    _check_doubles(checking, edge, cut)


def _given_cuts(checking: Checking) -> tuple[NDArray[np.int64], Flags]:
    """Return the numbers that stand in the files, and where one stands."""
    size = len(checking.frame)
    if not checking.has("cut"):
        return np.zeros(size, dtype=np.int64), np.zeros(size, dtype=bool)
    labels = checking.encoded("cut")
    numbers = read_numbers(labels.texts)
    whole = (numbers.problem == "") & (numbers.unit == "") & ~numbers.over
    whole &= (np.nan_to_num(numbers.value) % 1 == 0) & (numbers.value >= 1) & (numbers.value < 1e9)
    blank = numbers.problem == "blank"
    checking.asides.add(
        labels.rows_where(~whole & ~blank), "cut", "bad-cut", "The number of a cut is a whole number from 1 upwards."
    )
    values = np.where(whole, numbers.value, 0).astype(np.int64)
    return values[labels.codes], labels.rows_where(~blank)


def _numbered(edge: Labels, given: NDArray[np.int64], missing: Flags) -> NDArray[np.int64]:
    """Number cuts without a number after the highest given one of their edge, in the order of the file."""
    if not missing.any():
        return given
    highest = np.zeros(len(edge.texts), dtype=np.int64)
    np.maximum.at(highest, edge.codes[~missing], given[~missing])
    rows = np.flatnonzero(missing)
    order = pd.Series(edge.codes[rows]).groupby(edge.codes[rows]).cumcount().to_numpy()
    cut = given.copy()
    cut[rows] = highest[edge.codes[rows]] + order + 1
    return cut


def _check_doubles(checking: Checking, edge: Labels, cut: NDArray[np.int64]) -> None:
    """Judge rows that give the same cut of the same edge.

    Where all of them give the same reading, the first is kept: it is the same cut entered twice. Where the
    readings differ, nobody can tell which one holds, and all are set aside.
    """
    rows = np.flatnonzero(checking.asides.kept)
    key = edge.codes[rows] * (int(cut.max(initial=0)) + 1) + cut[rows]
    doubled = pd.Series(key).duplicated(keep=False).to_numpy()
    if not doubled.any():
        return
    rows, key = rows[doubled], key[doubled]
    reading = checking.typed["reading"].to_numpy()[rows] + np.where(checking.over_range[rows], 0.5e-9, 0)
    some = pd.DataFrame({"key": key, "reading": reading})
    differ = some.groupby("key")["reading"].transform("nunique").to_numpy() > 1
    later = ~differ & some["key"].duplicated().to_numpy()
    _add_double(checking, rows[differ], edge, cut, "cut-read-twice",
                'Cut {cut} of edge "{edge}" stands in more than one row, with different readings. '
                "Keep the row that holds, or give the others numbers of their own.")  # fmt: skip
    _add_double(checking, rows[later], edge, cut, "row-twice",
                'Cut {cut} of edge "{edge}" stands in an earlier row with the same reading, which is used.')  # fmt: skip


def _add_double(
    checking: Checking, rows: NDArray[np.int64], edge: Labels, cut: NDArray[np.int64], code: str, reason: str
) -> None:
    texts = [reason.format(cut=cut[row], edge=edge.texts[edge.codes[row]][:60]) for row in rows]
    checking.asides.add(rows, "cut", code, texts, values=[str(cut[row]) for row in rows])
