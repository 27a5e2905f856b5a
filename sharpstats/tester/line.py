"""A calibration line: what a tester shows under a known force, and the force behind what it shows.

The line is y = a + b x. A reading scatters about it with a constant spread, or with one that grows
in proportion to the force.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sharpstats.late import Shown
from sharpstats.model.student import reach
from sharpstats.tester.amounts import Amount
from sharpstats.units import ForceUnit

Floats = NDArray[np.float64]
Shape = Literal["bounded", "everything", "outside"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Force(Shown):
    """The force behind a reading.

    Attributes
    ----------
    reading : float
        What was shown: one reading, or the mean of several.
    readings : int
        Of how many it is the mean.
    unit : str
    estimate : float
        The force, in the unit of the study; NaN where the line is level.
    low, high : float
        Limits of the set of forces that agree with the reading; see `shape`.
    level : float
    shape : str
        ``bounded``: the set lies between the limits. ``outside``: it is everything but what lies between them.
        ``everything``: no force is ruled out. The last two occur where the slope cannot be told from zero.
    """

    reading: float
    readings: int
    unit: ForceUnit
    estimate: float
    low: float
    high: float
    level: float
    shape: Shape


@dataclass(frozen=True, eq=False, kw_only=True)
class Line:
    """A straight line with its covariance.

    Attributes
    ----------
    intercept, slope : float
        In the unit of the study, and without unit.
    covariance : ndarray of shape (2, 2)
        Of intercept and slope.
    df : float
        Degrees of freedom of the scatter of one reading about the line.
    constant, relative : float
        Variance of one reading about the line: ``constant + (relative x force)``, the second squared as it stands,
        so that the variance at a force x is ``constant + relative * x**2``.
    level : float
    unit : str
    """

    intercept: float
    slope: float
    covariance: Floats
    df: float
    constant: float
    relative: float
    level: float
    unit: ForceUnit = "gf"

    @property
    def t(self) -> float:
        """Quantile of Student's t at the level."""
        return reach(self.level, self.df)

    def at(self, applied: ArrayLike) -> Floats:
        """Return what the tester shows on average under forces."""
        return np.asarray(self.intercept + self.slope * np.asarray(applied, dtype=float), dtype=np.float64)

    def variance_at(self, applied: ArrayLike) -> Floats:
        """Return the variance of `at`."""
        x = np.asarray(applied, dtype=float)
        v = self.covariance
        return np.asarray(v[0, 0] + 2 * x * v[0, 1] + x**2 * v[1, 1], dtype=np.float64)

    def band(self, applied: ArrayLike, readings: int = 1) -> tuple[Floats, Floats]:
        """Limits of the mean of so many new readings under forces (prediction band).

        Parameters
        ----------
        applied : array_like
            Forces in the unit of the study.
        readings : int
            New readings of which the mean is taken; very many give the limits of the line itself.

        Returns
        -------
        low, high : ndarray
        """
        x = np.asarray(applied, dtype=float)
        scatter = (self.constant + self.relative * x**2) / readings
        reach = self.t * np.sqrt(self.variance_at(x) + scatter)
        return self.at(x) - reach, self.at(x) + reach

    def force_behind(self, reading: float, readings: int = 1) -> Force:
        """Correct a reading: the force behind it, with Fieller's interval.

        Parameters
        ----------
        reading : float
            The mean of so many readings.
        readings : int

        Returns
        -------
        Force

        References
        ----------
        Fieller, E. C. (1954), Journal of the Royal Statistical Society B 16:175-185; for calibration Draper, N. R. &
        Smith, H. (1998), Applied Regression Analysis, 3rd ed., section 3.2.

        Examples
        --------
        >>> line = Line(intercept=2.0, slope=1.01, covariance=np.diag([0.2, 1e-5]), df=20, constant=4.0, relative=0.0,
        ...             level=0.95)
        >>> found = line.force_behind(204.0)
        >>> found.shape, round(found.estimate, 1), round(found.low, 1), round(found.high, 1)
        ('bounded', 200.0, 195.6, 204.4)
        """
        t2, v = self.t**2, self.covariance
        scatter, relative = self.constant / readings, self.relative / readings
        apart = reading - self.intercept
        # (reading - a - b x)^2 <= t^2 (variance of the left side), as a quadratic in x
        square = self.slope**2 - t2 * (v[1, 1] + relative)
        half = -(apart * self.slope + t2 * v[0, 1])
        rest = apart**2 - t2 * (v[0, 0] + scatter)
        root = half**2 - square * rest
        estimate = apart / self.slope if self.slope else float("nan")
        shape: Shape = "bounded" if square > 0 else "everything" if root <= 0 else "outside"
        far = float(np.sqrt(max(root, 0.0)))
        ends = sorted((float((-half - far) / square), float((-half + far) / square)))
        low, high = (-np.inf, np.inf) if shape == "everything" else ends
        return Force(
            reading=reading, readings=readings, unit=self.unit, estimate=estimate, low=low, high=high, level=self.level,
            shape=shape,
        )  # fmt: skip


def amount(estimate: float, se: float, df: float, level: float) -> Amount:
    """Return an estimate with its t interval; without limits where nothing is known of its error."""
    if not (np.isfinite(se) and df > 0):
        return Amount(estimate=estimate, low=float("nan"), high=float("nan"), level=level)
    far = reach(level, df) * se
    return Amount(estimate=estimate, low=estimate - far, high=estimate + far, level=level)
