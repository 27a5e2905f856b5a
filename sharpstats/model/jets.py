"""Numbers that carry their first and second derivatives by a few variables.

A jet holds a value and whichever derivatives are not nil; arithmetic follows the rules of
Leibniz and Faa di Bruno (forward differentiation; Griewank & Walther 2008, Evaluating
Derivatives, chapter 13). All parts are arrays of one shape, so a jet may stand for
thousands of numbers at once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Pair = tuple[int, int]


def pair(i: int, j: int) -> Pair:
    """Key of a second derivative: the smaller index first."""
    return (i, j) if i <= j else (j, i)


@dataclass(frozen=True, slots=True)
class Jet:
    """A value with its derivatives.

    Attributes
    ----------
    value : ndarray
    first : mapping of int to ndarray
        Derivatives by single variables; a missing one is zero.
    second : mapping of (int, int) to ndarray
        Second derivatives, smaller index first; a missing one is zero.

    Examples
    --------
    >>> x = Jet(np.array([2.0]), {0: np.array([1.0])})
    >>> cube = x * x * x
    >>> cube.value, cube.first[0], cube.second[0, 0]
    (array([8.]), array([12.]), array([12.]))
    >>> x.reciprocal().second[0, 0]
    array([0.25])
    """

    value: Floats
    first: Mapping[int, Floats] = field(default_factory=dict)
    second: Mapping[Pair, Floats] = field(default_factory=dict)

    def map(self, function: Callable[[Floats], Floats]) -> Jet:
        """Apply a linear function of arrays to every part."""
        return Jet(
            function(self.value),
            {i: function(part) for i, part in self.first.items()},
            {key: function(part) for key, part in self.second.items()},
        )

    def __add__(self, other: Jet) -> Jet:
        return self._joined(other, np.add, lambda part: part)

    def __sub__(self, other: Jet) -> Jet:
        return self._joined(other, np.subtract, np.negative)

    def _joined(
        self, other: Jet, both: Callable[[Floats, Floats], Floats], alone: Callable[[Floats], Floats]
    ) -> Jet:
        first, second = dict(self.first), dict(self.second)
        for i, part in other.first.items():
            first[i] = both(first[i], part) if i in first else alone(part)
        for key, part in other.second.items():
            second[key] = both(second[key], part) if key in second else alone(part)
        return Jet(both(self.value, other.value), first, second)

    def __mul__(self, other: Jet) -> Jet:
        return self.times(other, np.multiply)

    def times(self, other: Jet, product: Callable[[Floats, Floats], Floats]) -> Jet:
        """Any product that is linear in both factors, matrix products included.

        Examples
        --------
        >>> x = Jet(np.array([1.0, 2.0]), {0: np.array([1.0, 0.0])})
        >>> x.times(x, np.dot).first[0]
        np.float64(2.0)
        """
        one, two = self.value, other.value
        first: dict[int, Floats] = {i: product(part, two) for i, part in self.first.items()}
        second: dict[Pair, Floats] = {key: product(part, two) for key, part in self.second.items()}
        for i, part in other.first.items():
            _accumulate(first, i, product(one, part))
        for key, part in other.second.items():
            _accumulate(second, key, product(one, part))
        for i, mine in self.first.items():
            for j, theirs in other.first.items():
                # d_i d_j (f g) holds f_i g_j + f_j g_i, which is twice the one product where i is j.
                mixed = product(mine, theirs)
                _accumulate(second, pair(i, j), 2 * mixed if i == j else mixed)
        return Jet(product(one, two), first, second)

    def reciprocal(self) -> Jet:
        """One divided by the jet."""
        value = 1 / self.value
        square = value * value
        return self._composed(value, -square, 2 * square * value)

    def log(self) -> Jet:
        """Natural logarithm."""
        inverse = 1 / self.value
        return self._composed(np.log(self.value), inverse, -inverse * inverse)

    def _composed(self, value: Floats, slope: Floats, bend: Floats) -> Jet:
        """A function of the jet, given its value and two derivatives there."""
        second = {key: slope * part for key, part in self.second.items()}
        order = sorted(self.first)
        for place, i in enumerate(order):
            bent = bend * self.first[i]
            for j in order[place:]:
                _accumulate(second, (i, j), bent * self.first[j])
        return Jet(value, {i: slope * part for i, part in self.first.items()}, second)


def _accumulate(parts: dict[Any, Floats], key: Any, more: Floats) -> None:
    parts[key] = parts[key] + more if key in parts else more
