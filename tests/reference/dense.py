"""The published formulas written out with n x n matrices: slow, plain, and apart from the package.

V = sum s_k G_k with the residual last. Restricted likelihood after Patterson & Thompson
(1971); Kenward & Roger (1997), Biometrics 53:983-997, equations as in their section 3;
Satterthwaite after Giesbrecht & Burns (1985) and Fai & Cornelius (1996).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def same_level(labels: Sequence[object]) -> Floats:
    """G of a random factor: 1 where two readings share its level."""
    column = np.asarray(labels)
    return (column[:, None] == column[None, :]).astype(float)


@dataclass(frozen=True)
class Dense:
    """A model at given variances.

    Attributes
    ----------
    y, x : ndarray of shape (n,), (n, p)
    g : sequence of ndarray of shape (n, n)
        Derivative of V by each variance.
    s : ndarray of shape (c,)
        Variances.
    """

    y: Floats
    x: Floats
    g: Sequence[Floats]
    s: Floats

    @property
    def v(self) -> Floats:
        """Covariance of the readings."""
        return np.asarray(sum(variance * part for variance, part in zip(self.s, self.g, strict=True)))

    @property
    def phi(self) -> Floats:
        """(X'V^-1X)^-1."""
        return np.linalg.inv(self.x.T @ np.linalg.solve(self.v, self.x))

    @property
    def beta(self) -> Floats:
        """Generalised least squares."""
        return self.phi @ self.x.T @ np.linalg.solve(self.v, self.y)

    @property
    def projector(self) -> Floats:
        """P = V^-1 - V^-1 X Phi X' V^-1."""
        inverse = np.linalg.inv(self.v)
        return inverse - inverse @ self.x @ self.phi @ self.x.T @ inverse

    @property
    def criterion(self) -> float:
        """-2 log restricted likelihood with its constant."""
        n, p = self.x.shape
        return float(
            (n - p) * np.log(2 * np.pi) + np.linalg.slogdet(self.v)[1] - np.linalg.slogdet(self.phi)[1]
            + self.y @ self.projector @ self.y
        )  # fmt: skip

    @property
    def gradient(self) -> Floats:
        """First derivatives of the criterion."""
        p = self.projector
        return np.array([np.trace(p @ g) - self.y @ p @ g @ p @ self.y for g in self.g])

    @property
    def expected(self) -> Floats:
        """Expected second derivatives of the criterion."""
        pg = [self.projector @ g for g in self.g]
        return np.array([[np.trace(a @ b) for b in pg] for a in pg])

    @property
    def hessian(self) -> Floats:
        """Second derivatives of the criterion."""
        p = self.projector
        quadratic = [[self.y @ p @ a @ p @ b @ p @ self.y for b in self.g] for a in self.g]
        return 2 * np.array(quadratic) - self.expected

    @property
    def p_forms(self) -> list[Floats]:
        """P_i = -X'V^-1 G_i V^-1 X."""
        half = np.linalg.solve(self.v, self.x)
        return [-half.T @ g @ half for g in self.g]

    @property
    def adjusted(self) -> Floats:
        """Kenward and Roger's covariance, summed term by term."""
        phi, p_forms, w = self.phi, self.p_forms, 2 * np.linalg.inv(self.expected)
        inverse = np.linalg.inv(self.v)
        middle = np.zeros_like(phi)
        for i, g_i in enumerate(self.g):
            for j, g_j in enumerate(self.g):
                q_ij = self.x.T @ inverse @ g_i @ inverse @ g_j @ inverse @ self.x
                middle += w[i, j] * (q_ij - p_forms[i] @ phi @ p_forms[j])
        return phi + 2 * phi @ middle @ phi

    def kenward_roger(self, rows: Floats) -> tuple[float, float, float]:
        """F, denominator df and scaling of an F test of all rows."""
        phi, w, ell = self.phi, 2 * np.linalg.inv(self.expected), len(rows)
        theta = rows.T @ np.linalg.inv(rows @ phi @ rows.T) @ rows
        turned = [theta @ phi @ form @ phi for form in self.p_forms]
        a1 = sum(w[i, j] * np.trace(a) * np.trace(b) for i, a in enumerate(turned) for j, b in enumerate(turned))
        a2 = sum(w[i, j] * np.trace(a @ b) for i, a in enumerate(turned) for j, b in enumerate(turned))
        b = (a1 + 6 * a2) / (2 * ell)
        g = ((ell + 1) * a1 - (ell + 4) * a2) / ((ell + 2) * a2)
        base = 3 * ell + 2 * (1 - g)
        c1, c2, c3 = g / base, (ell - g) / base, (ell + 2 - g) / base
        mean = 1 / (1 - a2 / ell)
        variance = 2 / ell * (1 + c1 * b) / ((1 - c2 * b) ** 2 * (1 - c3 * b))
        rho = variance / (2 * mean**2)
        df = 4 + (ell + 2) / (ell * rho - 1)
        scaling = df / (mean * (df - 2)) if ell > 1 else 1.0
        effect = rows @ self.beta
        return float(scaling * effect @ np.linalg.solve(rows @ self.adjusted @ rows.T, effect) / ell), df, scaling

    def satterthwaite_df(self, row: Floats) -> float:
        """df of one contrast from the observed information, all variances in."""
        phi, covariance = self.phi, 2 * np.linalg.inv(self.hessian)
        slope = np.array([-row @ phi @ form @ phi @ row for form in self.p_forms])
        return float(2 * (row @ phi @ row) ** 2 / (slope @ covariance @ slope))
