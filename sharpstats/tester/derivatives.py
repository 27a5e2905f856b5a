"""Sensitivities of a measurement model, and how it bends, by finite differences."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sharpstats.errors import FitError
from sharpstats.tester.distributions import Floats

_STEP = 0.25
"""Step / standard uncertainty: small enough to be the slope at the estimate, large enough not to drown in rounding."""


@dataclass(frozen=True, eq=False, slots=True)
class Derivatives:
    """Derivatives at the estimates.

    Attributes
    ----------
    first : ndarray of shape (k,)
        df/dx_i: the sensitivities.
    second : ndarray of shape (k, k)
        d2f / dx_i dx_j.
    third : ndarray of shape (k, k)
        d3f / dx_i dx_j^2.
    """

    first: Floats
    second: Floats
    third: Floats


def model_values(model: Callable[..., ArrayLike], inputs: Floats) -> Floats:
    """Return the model's results for inputs of shape (k, n).

    Raises
    ------
    TypeError
        If the model cannot take arrays.
    FitError
        If a result is not a finite number.
    """
    try:
        with np.errstate(all="ignore"):
            found = np.asarray(model(*inputs), dtype=float)
    except TypeError as error:
        raise TypeError(
            f"`model` must take {len(inputs)} arrays, one for each input, and work on them element by element: use "
            f"np.sqrt, not math.sqrt ({error})"
        ) from error
    return np.broadcast_to(found, inputs.shape[1:])


def derivatives(model: Callable[..., ArrayLike], at: Floats, u: Floats) -> Derivatives:
    """Differentiate a model at the estimates of its inputs.

    Central differences with two steps, extrapolated to none (Richardson), so that the error is of the
    fourth order in the step.

    Parameters
    ----------
    model : callable
        Takes one array for each input.
    at : ndarray of shape (k,)
        Estimates, each in its unit.
    u : ndarray of shape (k,)
        Standard uncertainties; an input without one is a constant, and its derivatives are given as 0.

    Returns
    -------
    Derivatives

    Examples
    --------
    >>> found = derivatives(lambda a, b: a * b**2, np.array([3.0, 2.0]), np.array([0.1, 0.1]))
    >>> found.first.round(6).tolist(), abs(found.second.round(6)).tolist(), abs(found.third.round(4)).tolist()
    ([4.0, 12.0], [[0.0, 4.0], [4.0, 6.0]], [[0.0, 2.0], [0.0, 0.0]])
    """
    at, free = np.asarray(at, dtype=float), np.flatnonzero(u > 0)
    coarse, fine = (_differences(model, at, step * u, free) for step in (_STEP, _STEP / 2))
    first, second, third = ((4 * a - b) / 3 for a, b in zip(fine, coarse, strict=True))
    return Derivatives(first, second, third)


def _differences(
    model: Callable[..., ArrayLike], at: Floats, steps: Floats, free: np.ndarray
) -> tuple[Floats, Floats, Floats]:
    k = len(at)
    first, second, third = np.zeros(k), np.zeros((k, k)), np.zeros((k, k))
    for i in free:
        a, b, c, d, e = _on_lines(model, at, [(i, m * steps[i], i, 0.0) for m in (-2, -1, 0, 1, 2)])
        h = steps[i]
        first[i], second[i, i] = (d - b) / (2 * h), (d - 2 * c + b) / h**2
        third[i, i] = (e - 2 * d + 2 * b - a) / (2 * h**3)
        for j in free[free != i]:
            g = steps[j]
            moves = [(i, m * h, j, n * g) for m in (-1, 1) for n in (-1, 0, 1)]
            ll, lm, lh, hl, hm, hh = _on_lines(model, at, moves)
            second[i, j] = (hh - hl - lh + ll) / (4 * h * g)
            third[i, j] = ((hh - 2 * hm + hl) - (lh - 2 * lm + ll)) / (2 * h * g**2)
    return first, second, third


def _on_lines(model: Callable[..., ArrayLike], at: Floats, moves: list[tuple[int, float, int, float]]) -> Floats:
    """Return results where one or two inputs have moved."""
    points = np.repeat(at[:, None], len(moves), axis=1)
    for place, (i, by, j, also) in enumerate(moves):
        points[i, place] += by
        points[j, place] += also
    found = model_values(model, points)
    if not np.isfinite(found).all():
        raise FitError(
            "The model gives no finite result close to the estimates, so its sensitivities cannot be found. "
            "Check the estimates and their units."
        )
    return found
