"""The steps to the best variances for many trials at once, and contrasts at them.

The rules are those of `reml.maximise`: Newton's step where the Hessian is positive definite
and not far off, else the step by the expected information (the first one always); variances
at zero are held while their gradient points outwards; a step is halved until the criterion
falls. Trials that are done leave, so that the stragglers are alone.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from sharpstats.model.manyreml import Point, evaluate, inverse, second_derivatives
from sharpstats.model.reduce import Codes
from sharpstats.model.reml import FAR, MAX_STEPS
from sharpstats.model.shared import Responses, Shared

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
LAST = 1e-9
"""Promised fall of the criterion at which the last step is taken: as Newton's method converges
quadratically, what is left after it is about this share of a variance's own error."""
NOTHING = 1e-26
"""Share of the sum of squares below which the cuts' own is rounding."""
ROUNDING = 1e-11
"""Share of the criterion that rounding may hide."""


def settle(shared: Shared, responses: Responses) -> Iterator[tuple[Codes, Point]]:
    """Find the best variances of every trial.

    Parameters
    ----------
    shared : Shared
    responses : Responses

    Yields
    ------
    kept : integer ndarray
        Trials that are done.
    point : Point
        Where they are. A trial whose cuts are all equal, or that does not settle in 100 steps, never comes.
    """
    there = start_variances(shared, responses)
    spread = there[0] > NOTHING * responses.squares.sum(axis=0)
    trials, there, responses = np.flatnonzero(spread), there[:, spread], responses.take(spread)
    walk = Walk.begin(there)
    for step in range(MAX_STEPS):
        point = evaluate(shared, responses, there)
        done, there = walk.advance(point, there, newton=step > 0)
        if done.any():
            yield trials[done], point.take(done)
            left = ~done
            if not left.any():
                return
            trials, there, responses, walk = trials[left], there[:, left], responses.take(left), walk.take(left)


class Walk:
    """Where each trial stands, and the step that it is taking.

    Attributes
    ----------
    at : ndarray of shape (c, B)
        The last variances that were found good.
    criterion : ndarray of shape (B,)
        The criterion there.
    move : ndarray of shape (c, B)
        The whole step from there.
    length : ndarray of shape (B,)
        The share of it that is being tried.
    last : ndarray of bool of shape (B,)
        Whether this is the last step.
    """

    def __init__(self, at: Floats, criterion: Floats, move: Floats, length: Floats, last: Flags) -> None:
        self.at, self.criterion, self.move, self.length, self.last = at, criterion, move, length, last

    @classmethod
    def begin(cls, at: Floats) -> Walk:
        """Start with no step behind: whatever the criterion is there is good."""
        trials = at.shape[1]
        return cls(at, np.full(trials, np.inf), np.zeros_like(at), np.ones(trials), np.zeros(trials, bool))

    def take(self, kept: Flags) -> Walk:
        """The trials `kept` only."""
        return Walk(self.at[:, kept], self.criterion[kept], self.move[:, kept], self.length[kept], self.last[kept])

    def advance(self, point: Point, there: Floats, *, newton: bool) -> tuple[Flags, Floats]:
        """Judge the place that was tried, and say where to go next.

        Returns
        -------
        done : ndarray of bool of shape (B,)
        there : ndarray of shape (c, B)
        """
        good = self.last | (point.criterion <= self.criterion + ROUNDING * np.abs(point.criterion))
        move, gain = next_step(point, there, newton=newton)
        self.at = np.where(good, there, self.at)
        self.criterion = np.where(good, point.criterion, self.criterion)
        self.move = np.where(good, move, self.move)
        self.length = np.where(good, 1.0, self.length / 2)
        near = good & (gain <= LAST)
        exact = near & ((gain <= LAST**2) | np.any(there + move < 0, axis=0))
        done = self.last | exact
        self.last = near
        floor = np.zeros_like(there)
        floor[0] = 0.05 * self.at[0]
        return done, np.maximum(self.at + self.length * self.move, np.minimum(floor, self.at))


def next_step(point: Point, s: Floats, *, newton: bool) -> tuple[Floats, Floats]:
    """The step from a place, and the fall of the criterion that it promises.

    Returns
    -------
    move : ndarray of shape (c, B)
    gain : ndarray of shape (B,)
    """
    active = (s > 0) | (point.gradient < 0)
    gradient = np.where(active, point.gradient, 0.0)
    scoring = _solved(point.expected, active, gradient)[0]
    move = scoring
    if newton:
        sharp, positive = _solved(point.hessian, active, gradient)
        use = positive & (np.abs(sharp).max(axis=0) <= FAR * s.max(axis=0))
        move = np.where(use, sharp, scoring)
    return move, -(gradient * move).sum(axis=0) / 2


def _solved(matrix: Floats, active: Flags, gradient: Floats) -> tuple[Floats, Flags]:
    """Minus the inverse times the gradient among the active variances, and where that is a descent."""
    both = active[:, None] & active
    inner = np.where(both, matrix, np.eye(len(active))[..., None])
    solved, log_det = inverse(inner)
    return -np.einsum("abz,bz->az", solved, gradient), np.isfinite(log_det)


def start_variances(shared: Shared, responses: Responses) -> Floats:
    """Rough variances to begin with: what X leaves of the response, shared out equally; shape (c, B)."""
    c, d = shared.variances, shared.h.shape[1]
    between = slice(None, -1) if shared.repeated and d > 1 else slice(None)
    left = shared.left_over(responses, between)
    rows = shared.units if shared.repeated and d > 1 else shared.readings
    start = np.repeat(np.maximum(left, 0.0)[None] / max(rows - shared.p, 1) / c, c, axis=0)
    if shared.repeated and d > 1:
        start[0] = responses.squares[-1] / shared.sizes[-1]
    return start


def contrasts_at(point: Point, rows: Floats) -> tuple[Floats, Floats, Floats]:
    """Estimate, Kenward-Roger standard error and degrees of freedom of contrasts.

    Parameters
    ----------
    point : Point
    rows : ndarray of shape (c, p)

    Returns
    -------
    estimate, se, df : ndarray of shape (B, c)
    """
    first, middle, w = second_derivatives(point)
    turned = np.einsum("cp,pqz->cqz", rows, point.phi)
    plain = np.einsum("cqz,cq->cz", turned, rows)
    share = np.array([np.einsum("cpz,pqz,cqz->cz", turned, part, turned) for part in first]) / plain
    a2 = np.einsum("icz,ijz,jcz->cz", share, w, share)
    added = 2 * np.einsum("cpz,pqz,cqz->cz", turned, middle, turned)
    with np.errstate(divide="ignore"):
        df = 2 / a2
    return (rows @ point.beta).T, np.sqrt(plain + added).T, df.T
