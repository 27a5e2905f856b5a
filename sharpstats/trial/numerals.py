"""Numbers as people and spreadsheets write them: decimal commas, thousands, units, ``>1500``.

All work is done on the distinct texts of a column, so that its cost does not grow with the rows.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from sharpstats.trial.labels import Flags
from sharpstats.units import ForceUnit, parse_quantity

Comma = Literal["decimal", "thousands", "unknown"]
ERRORS = frozenset(
    {"#REF!", "#N/A", "#N/A N/A", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!", "#SPILL!", "#CALC!", "#FIELD!"}
)
"""What spreadsheet programs show where a formula failed."""

PLAIN = r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$"
_GROUPED_BY_POINT = r"^[+-]?[1-9]\d{0,2}\.\d{3}$"
_ODD = re.compile(r"^(>=?|≥|=>)?\s*([+\-−]?)\s*(\d[\d.,\s]*|[.,]\d+)((?:[eE][+-]?\d+)?)\s*([^\d\s.,]\D*)?$", re.DOTALL)
_DECIMAL_COMMA = re.compile(r"(?:^|\D)0,\d|\d,\d{1,2}(?!\d)|\d,\d{4,}|\d\.\d{3},\d")
_DECIMAL_POINT = re.compile(r"\d\.\d{1,2}(?!\d)|\d\.\d{4,}|\d,\d{3}\.\d")
_GROUPS = {sign: re.compile(rf"^\d{{1,3}}(?:{re.escape(sign)}\d{{3}})+$") for sign in ",."}
_GROUPS[" "] = re.compile(r"^\d{1,2}(?: \d{3})+$")  # "152 153" is rather two readings in one cell
_NOT_FINITE = frozenset({"nan", "inf", "infinity", "∞"})


@dataclass(frozen=True, slots=True)
class Number:
    """One text read as a number.

    Attributes
    ----------
    value : float
        The number; NaN if there is none.
    over : bool
        Whether it is a limit: ``>1500``.
    unit : str
        The unit written behind it, as written; empty if none.
    problem : str
        Code of what is wrong; empty if nothing is.
    repair : str
        Code of what was repaired; empty if nothing was.
    """

    value: float = float("nan")
    over: bool = False
    unit: str = ""
    problem: str = ""
    repair: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Numbers:
    """Distinct texts read as numbers, field by field as in `Number`."""

    value: NDArray[np.float64]
    over: Flags
    unit: NDArray[np.object_]
    problem: NDArray[np.object_]
    repair: NDArray[np.object_]


def read_numbers(texts: Sequence[str], *, decimal_comma: bool = False) -> Numbers:
    """Read distinct texts as numbers.

    Parameters
    ----------
    texts : sequence of str
        Distinct texts; what they have in common tells a decimal comma from thousands.
    decimal_comma : bool
        Whether the file itself says that a comma is a decimal sign.

    Examples
    --------
    >>> numbers = read_numbers(["152,5", "1.520,0", ">1500", "sharp"])
    >>> numbers.value, numbers.over, numbers.problem
    (array([ 152.5, 1520. , 1500. ,    nan]), array([False, False,  True, False]),
     array(['', '', '', 'not-a-number'], dtype=object))
    """
    size = len(texts)
    column = pa.array(texts, type=pa.large_string())
    numbers = Numbers(np.full(size, np.nan), np.zeros(size, bool), _codes(size), _codes(size), _codes(size))
    plain = _matches(column, PLAIN)
    comma: Comma = "unknown"
    if decimal_comma or not plain.all():
        comma, suspect = _meaning_of_signs(texts, decimal_comma)
        if suspect:
            plain &= ~_matches(column, _GROUPED_BY_POINT)
    numbers.value[plain] = pc.cast(column.filter(pa.array(plain)), pa.float64()).to_numpy()
    numbers.problem[plain & ~np.isfinite(numbers.value)] = "not-finite"
    for i in np.flatnonzero(~plain).tolist():
        number = parse_number(texts[i], comma)
        numbers.value[i], numbers.over[i], numbers.unit[i] = number.value, number.over, number.unit
        numbers.problem[i], numbers.repair[i] = number.problem, number.repair
    return numbers


def _codes(size: int) -> NDArray[np.object_]:
    return np.full(size, "", dtype=object)


def _matches(column: pa.Array, pattern: str) -> Flags:
    return np.asarray(pc.match_substring_regex(column, pattern).to_numpy(zero_copy_only=False), dtype=bool)


def _meaning_of_signs(texts: Sequence[str], decimal_comma: bool) -> tuple[Comma, bool]:
    """Tell from all texts of a column what a comma before three digits means, and whether a point is suspect.

    Where some texts show a decimal comma and none a decimal point, ``1.500`` may be fifteen hundred.
    """
    comma = any(_DECIMAL_COMMA.search(text) for text in texts)
    point = any(_DECIMAL_POINT.search(text) for text in texts)
    if comma and point:
        return "unknown", False
    if point:
        return "thousands", False
    if comma:
        return "decimal", True
    return ("decimal", any("." not in text for text in texts)) if decimal_comma else ("unknown", False)


def plain_numbers(texts: pd.Series) -> NDArray[np.float64] | None:
    """Return a whole column as numbers if every cell is one, plainly written; else None.

    Examples
    --------
    >>> plain_numbers(pd.Series(["152", "1.5e2"]))
    array([152., 150.])
    >>> plain_numbers(pd.Series(["152", "1,5"])) is None
    True
    """
    try:
        numbers = np.asarray(pc.cast(pa.array(texts, type=pa.large_string()), pa.float64()))
    except pa.ArrowInvalid:
        return None
    return numbers if np.isfinite(numbers).all() else None


def parse_number(text: str, comma: Comma = "unknown") -> Number:
    """Read one text as a number.

    Examples
    --------
    >>> parse_number("≥ 1 500 gf")
    Number(value=1500.0, over=True, unit='gf', problem='', repair='digit-groups')
    >>> parse_number("1,500").problem, parse_number("1,500", "decimal").value
    ('ambiguous-number', 1.5)
    """
    trimmed = text.strip().removeprefix("'").strip()
    if not trimmed:
        return Number(problem="blank")
    if trimmed.upper() in ERRORS:
        return Number(problem="spreadsheet-error")
    if trimmed.lstrip("+-−").casefold() in _NOT_FINITE:
        return Number(problem="not-finite")
    if trimmed.startswith("<"):
        return Number(problem="under-range")
    if trimmed.startswith("="):
        return Number(problem="formula")
    match = _ODD.match(trimmed)
    return Number(problem="not-a-number") if match is None else _from_parts(match, text, comma)


def _from_parts(match: re.Match[str], text: str, comma: Comma) -> Number:
    limit, sign, digits, power, unit = match.groups()
    plain, repair = _plain_digits(" ".join(digits.split()), comma)
    if plain is None:
        return Number(problem=repair)
    value = float(f"{'-' if sign in ('-', '−') else ''}{plain}{power}")
    if not np.isfinite(value):
        return Number(problem="not-finite")
    if not repair and text != text.strip().removeprefix("'"):
        repair = "space-or-apostrophe"
    return Number(value, limit is not None, (unit or "").strip(), "", repair)


def _plain_digits(digits: str, comma: Comma) -> tuple[str | None, str]:
    """Return the digits with a decimal point, and the repair; or None and the problem."""
    if " " in digits:
        head, mark, tail = _split_at_decimal(digits)
        if not _GROUPS[" "].match(head) or " " in tail:
            return None, "not-a-number"
        return head.replace(" ", "") + (f".{tail}" if mark else ""), "digit-groups"
    if "," in digits and "." in digits:
        decimal, group = (",", ".") if digits.rindex(",") > digits.rindex(".") else (".", ",")
        head, _, tail = digits.rpartition(decimal)
        if decimal in head or not _GROUPS[group].match(head):
            return None, "not-a-number"
        return f"{head.replace(group, '')}.{tail}", "digit-groups"
    return _one_sign(digits, "," if "," in digits else ".", comma)


def _split_at_decimal(digits: str) -> tuple[str, str, str]:
    sign = "," if "," in digits else "."
    return digits.partition(sign)


def _one_sign(digits: str, sign: str, comma: Comma) -> tuple[str | None, str]:
    if sign not in digits:
        return digits, ""
    if digits.count(sign) > 1:
        groups = comma != ("decimal" if sign == "," else "thousands")
        if groups and _GROUPS[sign].match(digits):
            return digits.replace(sign, ""), "digit-groups"
        return None, "not-a-number"
    if _GROUPS[sign].match(digits) and not digits.startswith("0"):
        return _three_behind(digits, sign, comma)
    return digits.replace(",", "."), "decimal-comma" if sign == "," else ""


def _three_behind(digits: str, sign: str, comma: Comma) -> tuple[str | None, str]:
    """Read ``1,500`` or ``1.500``: only the rest of the column tells which it is."""
    if sign == ",":
        if comma == "decimal":
            return digits.replace(",", "."), "decimal-comma"
        return (digits.replace(",", ""), "digit-groups") if comma == "thousands" else (None, "ambiguous-number")
    return (None, "ambiguous-number") if comma == "decimal" else (digits, "")  # plain ones never come here


def force_unit(text: str) -> ForceUnit | None:
    """Return the unit of force that a text behind a number means, or None.

    Examples
    --------
    >>> force_unit("g"), force_unit("n"), force_unit("lbf")
    ('gf', 'N', None)
    """
    quantity = parse_quantity(f"1 {text}") if text else None
    return None if quantity is None or quantity.unit == "%" else quantity.unit
