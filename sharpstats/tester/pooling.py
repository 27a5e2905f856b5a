"""Whether the spread of operator x edge is kept as a part of its own or pooled into repeatability."""

from __future__ import annotations

from dataclasses import dataclass

from scipy import stats

POOL_ABOVE = 0.25
"""Pool operator x edge where the p value of its F test against repeatability is above this. A quarter is the level
that Bancroft advises for a test that comes before pooling (1964, Biometrics 20:427-442), and that published worked
studies of gauges commonly use (both from memory). Pooling at 0.05 would too often call two different spreads one."""

HELD_SUMS, HELD_KEPT = 92, 88
"""In so many of 100 simulated studies the 95 % intervals hold the truth at worst where the readings decide: those of
parts and sums, and that of operator x edge where it is kept although there is none
(tests/validity/RESULTS_TESTER.md)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pooling:
    """What was done with operator x edge, and why.

    Attributes
    ----------
    pooled : bool
    p, f, df1, df2 : float
        F test of operator x edge against repeatability.
    above : float
        The p value above which it is pooled.
    """

    pooled: bool
    p: float
    f: float
    df1: float
    df2: float
    above: float


def decide(squares: tuple[float, float], df: tuple[float, float], above: float) -> Pooling:
    """Apply the rule.

    Parameters
    ----------
    squares : tuple of float
        Mean squares of operator x edge and of repeatability.
    df : tuple of float
        Their degrees of freedom.
    above : float
        Pool where the p value is above this: 0 always pools, 1 never does.

    Returns
    -------
    Pooling

    Examples
    --------
    >>> found = decide((0.0199, 0.0460), (18, 60), POOL_ABOVE)
    >>> found.pooled, f"{found.f:.3f}", f"{found.p:.2f}"
    (True, '0.433', '0.97')
    """
    f = squares[0] / squares[1]
    p = float(stats.f.sf(f, *df))
    return Pooling(pooled=p > above or above == 0, p=p, f=f, df1=df[0], df2=df[1], above=above)
