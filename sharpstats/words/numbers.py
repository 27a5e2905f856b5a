"""Numbers as text: one pure function for each kind of number, used by every output.

A number and its unit are held together by a no-break space. Rounding follows the unit and the
width of the interval beside the number, and never makes a "-0".
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from sharpstats.trial.plan import Scale
from sharpstats.units import ForceUnit, Quantity, Unit

NBSP = "\u00a0"
MINUS = "\u2212"
SAME = "the same to within rounding"
UNKNOWN = "unknown"
_FEWEST = {"gf": 0, "N": 2, "%": 0}
_MOST = {"gf": 1, "N": 3, "%": 1}
"""Decimals that a unit bears: 0.01 N is about 1 gf."""
_FINEST = 4
_PLURALS = {"medium": "media"}


def fixed(value: float | None, decimals: int = 0) -> str:
    """Return a number with so many decimals, never "-0"; "unknown" for none.

    Examples
    --------
    >>> fixed(152.34), fixed(-0.04, 1), fixed(float("nan"))
    ('152', '0.0', 'unknown')
    """
    if value is None or math.isnan(value):
        return UNKNOWN
    if math.isinf(value):
        return "no upper limit" if value > 0 else "no lower limit"
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def decimals_for(width: float | None, unit: Unit, apart: Iterable[tuple[float | None, float | None]] = ()) -> int:
    """Return how many decimals to show beside an interval of this width.

    Parameters
    ----------
    width : float or None
        Width of the interval, in `unit`; None or not finite: the unit alone decides.
    unit : str
        ``gf``, ``N`` or ``%``.
    apart : pairs of float
        Numbers that differ and must not look the same, for example a limit and the margin.

    Examples
    --------
    >>> decimals_for(12.0, "%"), decimals_for(3.0, "%"), decimals_for(0.3, "N")
    (0, 1, 2)
    >>> decimals_for(12.0, "%", [(14.98, 15.0)])
    2
    """
    decimals = _FEWEST[unit]
    if width is not None and math.isfinite(width) and width > 0:
        decimals = min(max(1 - math.floor(math.log10(2 * width)), decimals), _MOST[unit])
    for one, other in apart:
        while one is not None and other is not None and decimals < _FINEST and _look_alike(one, other, decimals):
            decimals += 1
    return decimals


def _look_alike(one: float, other: float, decimals: int) -> bool:
    differ = math.isfinite(one) and math.isfinite(other) and abs(one - other) > 10**-_FINEST
    return differ and fixed(one, decimals) == fixed(other, decimals)


def amount(value: float | None, unit: Unit, decimals: int | None = None) -> str:
    r"""Return a force or a percentage with its unit.

    Parameters
    ----------
    value : float or None
        In `unit`.
    unit : str
        ``gf``, ``N`` or ``%``.
    decimals : int, optional
        Left out: as few as the unit bears, and one digit at least.

    Examples
    --------
    >>> amount(152.4, "gf"), amount(1.4912, "N"), amount(4.2, "%"), amount(0.31, "%")
    ('152\xa0gf', '1.49\xa0N', '4\xa0%', '0.3\xa0%')
    """
    if value is None or not math.isfinite(value):
        return fixed(value)
    return f"{fixed(value, _own_decimals(value, unit) if decimals is None else decimals)}{NBSP}{unit}"


def _own_decimals(value: float, unit: Unit) -> int:
    decimals = _FEWEST[unit]
    while value and decimals < _MOST[unit] + 1 and abs(value) < 10**-decimals:
        decimals += 1
    return decimals


def stated(quantity: Quantity) -> str:
    r"""Return a number that a person stated, with the digits they gave it.

    Examples
    --------
    >>> stated(Quantity(7.5, "%"))
    '7.5\xa0%'
    """
    return plainly(quantity.value, quantity.unit)


def plainly(value: float | None, unit: Unit) -> str:
    r"""Return a margin or level as it was stated, whatever arithmetic did to its last digits.

    Examples
    --------
    >>> plainly(14.999999999999991, "%"), plainly(0.25, "N"), plainly(1.96133, "N")
    ('15\xa0%', '0.25\xa0N', '1.961\xa0N')
    """
    if value is None or not math.isfinite(value):
        return fixed(value)
    return f"{round(value, 3 if unit == 'N' else 2) + 0.0:.10g}{NBSP}{unit}"


HIGHER = ("lower", "higher")


def difference(
    value: float | None, unit: Unit, decimals: int | None = None, ways: tuple[str, str] = HIGHER
) -> str:
    r"""Return a difference of readings with its direction in words.

    Parameters
    ----------
    value : float or None
        Positive where the first of the two reads higher; in `unit`.
    unit : str
        ``gf``, ``N`` or ``%``.
    decimals : int, optional
        As for `amount`.
    ways : tuple of str
        Words for less and for more.

    Examples
    --------
    >>> difference(4.2, "%"), difference(-12.0, "gf"), difference(0.2, "gf", 0)
    ('4\xa0% higher', '12\xa0gf lower', 'the same to within rounding')
    """
    if value is None or not math.isfinite(value):
        return fixed(value)
    text = amount(abs(value), unit, decimals)
    if not _shows_digits(text):
        return SAME
    return f"{text} {ways[value > 0]}"


def signed(value: float | None, unit: Unit, decimals: int | None = None) -> str:
    r"""Return a number that lies above or below zero with its sign; a true minus, which no line break parts from it.

    Examples
    --------
    >>> signed(4.2, "%"), signed(-12.0, "gf"), signed(0.2, "gf", 0)
    ('+4\xa0%', '\u221212\xa0gf', '0\xa0gf')
    """
    if value is None or not math.isfinite(value):
        return fixed(value)
    text = amount(abs(value), unit, decimals)
    return f"{'+' if value > 0 else MINUS}{text}" if _shows_digits(text) else text


def signed_span(low: float, high: float, unit: Unit, decimals: int) -> str:
    r"""Return the limits of a number that lies above or below zero.

    Examples
    --------
    >>> signed_span(-2.0, 10.0, "%", 0)
    '\u22122\xa0% to +10\xa0%'
    """
    return f"{signed(low, unit, decimals)} to {signed(high, unit, decimals)}"


def _shows_digits(text: str) -> bool:
    return any(sign in "123456789" for sign in text)


def span(
    low: float | None, high: float | None, unit: Unit, decimals: int | None = None, ways: tuple[str, str] = HIGHER
) -> str:
    r"""Return the limits of a difference in words, from low to high.

    Examples
    --------
    >>> span(-2.0, 10.0, "%"), span(3.0, 10.0, "%"), span(-10.0, -3.0, "%")
    ('2\xa0% lower to 10\xa0% higher', '3\xa0% to 10\xa0% higher', '3\xa0% to 10\xa0% lower')
    >>> span(-math.inf, 10.0, "%"), span(-12.0, math.inf, "gf")
    ('up to 10\xa0% higher', 'from 12\xa0gf lower upwards')
    """
    below, above = _known(low), _known(high)
    if below is None and above is None:
        return "no limit on either side"
    if below is None:
        return f"up to {difference(above, unit, decimals, ways)}"
    if above is None:
        return f"from {difference(below, unit, decimals, ways)} upwards"
    if decimals is None:
        decimals = decimals_for(above - below, unit)
    ends = [amount(abs(end), unit, decimals) for end in (below, above)]
    if not any(map(_shows_digits, ends)):
        return SAME
    if not _shows_digits(ends[0]) or (below > 0 and _shows_digits(ends[1])):
        return f"{ends[0]} to {ends[1]} {ways[1]}"
    if above <= 0 or not _shows_digits(ends[1]):
        return f"{ends[1]} to {ends[0]} {ways[0]}"
    return f"{ends[0]} {ways[0]} to {ends[1]} {ways[1]}"


def _known(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else value


def level_percent(level: float) -> str:
    r"""Return the level of an interval.

    Examples
    --------
    >>> level_percent(0.9), level_percent(1 - 0.1 / 6), level_percent(0.9995)
    ('90\xa0%', '98.3\xa0%', '99.95\xa0%')
    """
    percent = 100 * level
    decimals = next((d for d in (0, 1, 2) if abs(percent - round(percent, d)) < 1e-9), 1 if percent < 99.9 else 2)
    return f"{percent:.{decimals}f}{NBSP}%"


def interval(
    low: float | None, high: float | None, unit: Unit, level: float, decimals: int | None = None,
    ways: tuple[str, str] = HIGHER,
) -> str:  # fmt: skip
    r"""Return an interval of a difference with its level.

    Examples
    --------
    >>> interval(-2.0, 10.0, "%", 0.9)
    '90\xa0% interval: 2\xa0% lower to 10\xa0% higher'
    """
    return f"{level_percent(level)} interval: {span(low, high, unit, decimals, ways)}"


def amounts(low: float | None, high: float | None, unit: Unit, decimals: int | None = None) -> str:
    r"""Return the limits of a force, from low to high.

    Examples
    --------
    >>> amounts(141.2, 160.0, "gf"), amounts(141.2, math.inf, "gf")
    ('141\xa0gf to 160\xa0gf', '141\xa0gf or more')
    """
    below, above = _known(low), _known(high)
    if below is None and above is None:
        return "no limit on either side"
    if above is None:
        return f"{amount(below, unit, decimals)} or more"
    if below is None:
        return f"{amount(above, unit, decimals)} or less"
    decimals = decimals_for(above - below, unit) if decimals is None else decimals
    return f"{amount(below, unit, decimals)} to {amount(above, unit, decimals)}"


def p_value(p: float | None) -> str:
    """Return a p value; it is never rounded to the other side of 0.05 or 0.01.

    Examples
    --------
    >>> p_value(0.03), p_value(0.0496), p_value(0.00004), p_value(0.999)
    ('p = 0.03', 'p = 0.0496', 'p < 0.001', 'p > 0.99')
    """
    return f"p {UNKNOWN}" if p is None or math.isnan(p) else f"p {p_number(p, equals='= ')}"


def p_number(p: float | None, equals: str = "") -> str:
    """Return a p value for a table, without the letter.

    Examples
    --------
    >>> p_number(0.0312), p_number(0.4), p_number(1e-9)
    ('0.031', '0.4', '< 0.001')
    """
    if p is None or math.isnan(p):
        return UNKNOWN
    if p < 0.001:
        return "< 0.001"
    if p > 0.99:
        return "> 0.99"
    digits = 2
    while digits < 6 and any((float(f"{p:.{digits}g}") < edge) != (p < edge) for edge in (0.01, 0.05)):
        digits += 1
    return f"{equals}{float(f'{p:.{digits}g}')}"


def count(number: int, noun: str, plural: str | None = None) -> str:
    r"""Return a number of things.

    Examples
    --------
    >>> count(16, "edge"), count(1, "edge"), count(1250, "cut"), count(2, "medium")
    ('16\xa0edges', '1\xa0edge', '1,250\xa0cuts', '2\xa0media')
    """
    many = plural or _PLURALS.get(noun, f"{noun}s")
    return f"{number:,}{NBSP}{noun if number == 1 else many}"


def degrees(df: float | None) -> str:
    r"""Return degrees of freedom in words.

    Examples
    --------
    >>> degrees(11.0), degrees(11.34), degrees(1.0)
    ('11\xa0degrees of freedom', '11.3\xa0degrees of freedom', '1\xa0degree of freedom')
    """
    if df is not None and math.isinf(df):
        return "unlimited degrees of freedom"
    text = df_number(df)
    return f"{text}{NBSP}{'degree' if text == '1' else 'degrees'} of freedom"


def df_number(df: float | None) -> str:
    """Return degrees of freedom for a table.

    Examples
    --------
    >>> df_number(11.0), df_number(11.34), df_number(482.7), df_number(math.inf)
    ('11', '11.3', '483', 'unlimited')
    """
    if df is None or math.isnan(df):
        return UNKNOWN
    if math.isinf(df):
        return "unlimited"
    return fixed(df, 1).removesuffix(".0") if df < 100 else fixed(df)


def sd(value: float | None, scale: Scale, unit: ForceUnit, decimals: int | None = None) -> str:
    r"""Return a standard deviation on the scale of a fit as a reader sees it.

    On the log scale it is the percentage by which a reading one standard deviation up is higher.

    Examples
    --------
    >>> sd(0.08, "log", "gf"), sd(12.0, "as read", "gf")
    ('8\xa0%', '12\xa0gf')
    """
    return amount(from_scale(value, scale), unit_on(scale, unit), decimals)


def from_scale(value: float | None, scale: Scale) -> float | None:
    """Return a difference on the scale of a fit as a percentage (log) or unchanged (as read).

    Examples
    --------
    >>> round(from_scale(0.04, "log"), 2), from_scale(12.0, "as read")
    (4.08, 12.0)
    """
    return 100 * math.expm1(value) if scale == "log" and value is not None and value < 700 else value


def unit_on(scale: Scale, unit: ForceUnit) -> Unit:
    """Return the unit in which a difference on the scale of a fit is told: percent on the log scale.

    Examples
    --------
    >>> unit_on("log", "gf"), unit_on("as read", "N")
    ('%', 'N')
    """
    return "%" if scale == "log" else unit
