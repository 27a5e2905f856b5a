"""Small-sample inference: degrees of freedom and covariance of the fixed effects.

Kenward & Roger (1997), Biometrics 53:983-997, for covariance structures that are linear in
the variances, and Satterthwaite's approximation (Giesbrecht & Burns 1985, Biometrics
41:477-486; several degrees of freedom after Fai & Cornelius 1996). Everything follows from
the weighted cross-products of `reml.py`: no n x n matrix is formed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special
from scipy.linalg import lapack

from sharpstats.model.reduce import Reduced
from sharpstats.model.reml import Optimum, column_roots, inner_inverse, weigh

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FixedEffects:
    """Generalised least squares at the estimated variances, with what inference needs.

    Attributes
    ----------
    beta : ndarray of shape (p,)
        Fixed effects.
    phi : ndarray of shape (p, p)
        (X'V^-1X)^-1.
    adjusted : ndarray of shape (p, p)
        Kenward and Roger's adjusted covariance.
    p_forms : ndarray of shape (c, p, p)
        P_i = -X'V^-1 G_i V^-1 X for each of the c variances.
    w : ndarray of shape (c, c)
        Covariance of the variances from the expected information.
    w_observed : ndarray of shape (i, i) or None
        The same from the observed information, for the variances that are not zero; None
        where that is not positive definite.
    interior : ndarray of bool of shape (c,)
        Which variances are not zero.
    """

    beta: Floats
    phi: Floats
    adjusted: Floats
    p_forms: Floats
    w: Floats
    w_observed: Floats | None
    interior: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Tested:
    """An F test of several contrasts at once: scaled F, its two df, and the scaling."""

    f: float
    df1: int
    df2: float
    scaling: float

    @property
    def p(self) -> float:
        """Upper tail probability."""
        return float(special.fdtrc(self.df1, self.df2, self.f)) if np.isfinite(self.df2) else float(
            special.chdtrc(self.df1, self.df1 * self.f)
        )  # fmt: skip


def fixed_effects(r: Reduced, optimum: Optimum) -> FixedEffects:
    """Fixed effects with Kenward and Roger's quantities at the optimum.

    Parameters
    ----------
    r : Reduced
    optimum : Optimum

    Returns
    -------
    FixedEffects
    """
    s = optimum.variances
    w = weigh(r, s)
    m, _ = inner_inverse(w.a[: r.q, : r.q], column_roots(r, s), r.q)
    p_forms, q_forms, information, right = _forms(r, w.a, w.ad, w.add, m)
    phi = _inverse(information)
    covariance = 2 * _inverse(optimum.expected)
    middle = q_forms - (p_forms @ phi)[:, None] @ p_forms[None, :]
    adjusted = phi + 2 * phi @ (covariance.ravel() @ middle.reshape(covariance.size, -1)).reshape(phi.shape) @ phi
    interior = ~optimum.zero
    return FixedEffects(
        beta=phi @ right, phi=phi, adjusted=(adjusted + adjusted.T) / 2, p_forms=p_forms, w=covariance,
        w_observed=_inverse_information(optimum.hessian[np.ix_(interior, interior)]), interior=interior,
    )  # fmt: skip


def _inverse(matrix: Floats) -> Floats:
    """Inverse of a positive definite matrix, exactly symmetric."""
    factor, fault = lapack.dpotrf(matrix, lower=1, clean=1)
    if fault:
        raise np.linalg.LinAlgError("matrix is not positive definite")
    half = lapack.dtrtri(factor, lower=1)[0]
    return half.T @ half


def _inverse_information(hessian: Floats) -> Floats | None:
    try:
        return 2 * _inverse(hessian)
    except np.linalg.LinAlgError:
        return None


def _forms(
    r: Reduced, a: Floats, ad: Floats, add: Floats, m: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """P_i, Q_ij, X'V^-1X and X'V^-1y, from V^-1 = D^-1 - D^-1 Z M Z' D^-1."""
    q, f, d, k = r.q, r.q + r.p, r.h.shape[1], r.blocks.shape[0]
    x = slice(q, f)
    if not q:
        return -ad[:, x, x], add[:, :, x, x], a[x, x], a[x, f]
    n = np.vstack([-m @ a[:q, x], np.eye(r.p)])  # V^-1 X = D^-1 [Z X] n
    n_z = np.eye(f, q)
    n_z[:q] -= m @ a[:q, :q]
    left = a[:q, :f] @ n  # Z'V^-1X
    u = a[:q, :q] @ n_z[:q]  # Z'V^-1Z
    sums = ad[:, :f, :f] @ n
    g = sums[:, :q]
    p_forms = np.empty((d + k, r.p, r.p))
    q_forms = np.empty((d + k, d + k, r.p, r.p))
    p_forms[:d] = n.T @ sums
    q_forms[:d, :d] = n.T @ (add[:, :, :f, :f] @ n) - g.transpose(0, 2, 1)[:, None] @ (m @ g)[None, :]
    marked = r.blocks[:, :, None] * left  # Z_k'V^-1X, zero in the rows of other terms
    p_forms[d:] = left.T @ marked
    cross = (n_z.T @ sums).transpose(0, 2, 1)[:, None] @ marked[None, :]
    q_forms[:d, d:], q_forms[d:, :d] = cross, cross.transpose(1, 0, 3, 2)
    q_forms[d:, d:] = marked.transpose(0, 2, 1)[:, None] @ (u @ marked)[None, :]
    right = a[x, f] - a[x, :q] @ (m @ a[:q, f])
    return -p_forms, q_forms, n.T @ a[:f, x], right


def standard_errors(fixed: FixedEffects, rows: Floats, *, adjusted: bool) -> Floats:
    """Standard error of each contrast; `rows` has shape (c, p)."""
    covariance = fixed.adjusted if adjusted else fixed.phi
    return np.sqrt(((rows @ covariance) * rows).sum(axis=1))


def df_kenward_roger(fixed: FixedEffects, rows: Floats) -> Floats:
    """Denominator degrees of freedom of single contrasts, 2 / A2 (the scaling is then 1).

    Parameters
    ----------
    fixed : FixedEffects
    rows : ndarray of shape (c, p)

    Returns
    -------
    ndarray of shape (c,)
        Infinite where the variances do not matter.
    """
    turned = rows @ fixed.phi
    variance = (turned * rows).sum(axis=1)
    forms = ((turned @ fixed.p_forms) * turned).sum(axis=2)
    u = np.divide(forms, variance, out=np.zeros_like(forms), where=variance > 0)  # a row of zeros has no variance
    a2 = ((fixed.w @ u) * u).sum(axis=0)
    return np.divide(2.0, a2, out=np.full(len(rows), np.inf), where=a2 > 0)


def df_satterthwaite(fixed: FixedEffects, rows: Floats) -> Floats:
    """Satterthwaite's degrees of freedom of single contrasts, from observed information.

    NaN where the information is not positive definite.
    """
    if fixed.w_observed is None:
        return np.full(len(rows), np.nan)
    turned = rows @ fixed.phi
    value = (turned * rows).sum(axis=1)
    gradient = -((turned @ fixed.p_forms[fixed.interior]) * turned).sum(axis=2)
    return 2 * value**2 / ((fixed.w_observed @ gradient) * gradient).sum(axis=0)


def f_kenward_roger(fixed: FixedEffects, rows: Floats) -> Tested:
    """Test that all contrasts are zero (Kenward & Roger 1997, section 3).

    Parameters
    ----------
    fixed : FixedEffects
    rows : ndarray of shape (l, p)
        Linearly independent contrasts.

    Returns
    -------
    Tested
        With `df2` NaN where the approximation is not defined (fewer than 2 df).
    """
    ell = len(rows)
    turned = fixed.phi @ rows.T
    core = np.linalg.inv(rows @ turned)
    forms = core @ (turned.T @ fixed.p_forms @ turned)  # shares its traces with Theta Phi P_i Phi
    traces = np.trace(forms, axis1=1, axis2=2)
    a1 = float(traces @ fixed.w @ traces)
    a2 = float((fixed.w * np.einsum("iab,jba->ij", forms, forms)).sum())
    effect = rows @ fixed.beta
    unscaled = float(effect @ np.linalg.solve(rows @ fixed.adjusted @ rows.T, effect)) / ell
    df2, scaling = _moments(ell, a1, a2)
    return Tested(scaling * unscaled, ell, df2, scaling)


def _moments(ell: int, a1: float, a2: float) -> tuple[float, float]:
    """Denominator df and scaling that match the first two moments of the statistic."""
    if ell == 1:
        return (2 / a2 if a2 > 0 else np.inf), 1.0
    if a2 <= 1e-13:
        return np.inf, 1.0
    b = (a1 + 6 * a2) / (2 * ell)
    g = ((ell + 1) * a1 - (ell + 4) * a2) / ((ell + 2) * a2)
    base = 3 * ell + 2 * (1 - g)
    c1, c2, c3 = g / base, (ell - g) / base, (ell + 2 - g) / base
    e_rest, v_rest = 1 - a2 / ell, 1 - c2 * b
    # Where both are 0 (two df left), the limit of their ratio is 1 and the df are 2.
    ratio = 1.0 if abs(e_rest) < 1e-9 and abs(v_rest) < 1e-9 else e_rest / v_rest
    # rho is infinite where 1 - c3 b is 0, and the df are 4: so write it upside down.
    inverse_rho = ell * (1 - c3 * b) / (ratio**2 * (1 + c1 * b))
    df2 = 4 + (ell + 2) * inverse_rho / (ell - inverse_rho)
    if not df2 > 0 or abs(df2 - 2) < 0.01:
        return (2.0, 1.0) if abs(df2 - 2) < 0.01 else (np.nan, np.nan)
    if df2 < 2:
        return np.nan, np.nan
    return df2, df2 * e_rest / (df2 - 2)


def f_satterthwaite(fixed: FixedEffects, rows: Floats) -> Tested:
    """Test that all contrasts are zero by Fai and Cornelius's combination of single df."""
    ell = len(rows)
    covariance = rows @ fixed.phi @ rows.T
    values, vectors = np.linalg.eigh(covariance)
    turned = vectors.T @ rows
    t2 = (turned @ fixed.beta) ** 2 / values
    df = df_satterthwaite(fixed, turned)
    f = float(t2.sum() / ell)
    if np.ptp(df) < 1e-8 * df.max():
        return Tested(f, ell, float(df.mean()), 1.0)
    if not np.all(df > 2):
        return Tested(f, ell, np.nan if np.isnan(df).any() else 2.0, 1.0)
    total = float((df / (df - 2)).sum())
    return Tested(f, ell, 2 * total / (total - ell), 1.0)
