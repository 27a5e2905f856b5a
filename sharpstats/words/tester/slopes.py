"""A change for each step of a number, in words."""

from __future__ import annotations

from sharpstats.tester.circumstances import Slope
from sharpstats.trial.plan import Scale
from sharpstats.units import ForceUnit
from sharpstats.words.numbers import SAME, decimals_for, difference, from_scale, interval, p_value, unit_on


def finer(value: float, scale: Scale, unit: ForceUnit) -> int:
    """Return decimals that show two digits of a number, as far as its unit bears them.

    Examples
    --------
    >>> finer(0.052, "log", "gf"), finer(123.0, "as read", "gf")
    (1, 0)
    """
    return decimals_for((from_scale(value, scale) or 0.0) / 10, unit_on(scale, unit))


def than(how: str, other: str) -> str:
    """Say that something reads so much higher or lower than another thing, or the same as it.

    Examples
    --------
    >>> than("4 % higher", "with lot A"), than(SAME, "with lot A")
    ('4 % higher than with lot A', 'the same to within rounding as with lot A')
    """
    return f"{how} {'as' if how == SAME else 'than'} {other}"


def slope_words(slope: Slope, scale: Scale, unit: ForceUnit, *, times: float = 1.0) -> tuple[str, str]:
    r"""Return a change in words, and its interval with its level and p value.

    Parameters
    ----------
    slope : Slope
    scale : {"log", "as read"}
    unit : {"gf", "N"}
    times : float
        Steps that are told at once.

    Examples
    --------
    >>> one = Slope(estimate=0.02, se=0.01, low=0.001, high=0.039, df=40.0, p=0.04, level=0.95, per=100.0)
    >>> slope_words(one, "log", "gf")
    ('2.0\xa0% higher', '95\xa0% interval: 0.1\xa0% to 4.0\xa0% higher; p = 0.04')
    """
    return change_words((slope.estimate, slope.low, slope.high), slope.level, slope.p, scale, unit, times)


def change_words(
    values: tuple[float, float, float], level: float, p: float, scale: Scale, unit: ForceUnit, times: float = 1.0
) -> tuple[str, str]:
    """Return the same for an estimate with its two limits on the scale of the study."""
    shown = unit_on(scale, unit)
    middle, low, high = (from_scale(times * value, scale) for value in values)
    digits = decimals_for(high - low if low is not None and high is not None else None, shown)
    return difference(middle, shown, digits), f"{interval(low, high, shown, level, digits)}; {p_value(p)}"
