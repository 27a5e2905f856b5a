"""Restricted maximum likelihood for any number of crossed or nested random intercepts.

V = sum_k s_k G_k. In the strata of `reduce.py` the cut error and the units' own term are
diagonal, D; the few columns Z of the upper terms enter by Woodbury's identity:

    P = D^-1 - D^-1 F M F' D^-1,  F = [Z | X],  M = J (J F'D^-1F J + diag(I_q, 0))^-1 J,

with J = diag(sqrt(s) of each column of Z, 1). A variance of zero is no special case, and no
matrix has more than q + p rows. Newton steps use the analytic gradient and Hessian of the
criterion -2 log L_R (Patterson & Thompson 1971; derivatives as in Searle, Casella &
McCulloch 1992, section 6.6); variances at zero are held there while their gradient points
outwards.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

from sharpstats.errors import FitError
from sharpstats.model.reduce import Reduced

Floats = NDArray[np.float64]

MAX_STEPS = 100
EPSILON = float(np.finfo(float).eps)
NOISE = 1e-10
"""Share of the criterion below which its rounding may hide a fall: with very many edges it does. Such steps
are taken unseen for as long as each promises less than a quarter of the one before."""
LEAST = 1e-3
"""Share of the largest variance below which one of several residual variances counts as zero where there are blocks.
V can do without such a variance, since blocks may explain its readings wholly; D^-1 cannot: the rounding of the
criterion grows by as much."""
UNSEEN = 1e-6
"""No more of the criterion than this is given up to rounding: a variance then stays within a thousandth of its own
error. Where rounding hides more, the fit is refused."""
FAR = 1e3
"""A Newton step longer than this many times the largest variance is not taken."""
SETTLED = 1e-11
"""Promised fall of the criterion at which the last step is taken. The error of a variance is
about its square root before that step and, as Newton's method converges quadratically,
about this after it."""
SETTLED_SLOWLY = 1e-16
"""The same where the Hessian is not exact, so that the last step gains but some digits. A profile asks for less."""


@dataclass(frozen=True, slots=True)
class Weighted:
    """The cross-products weighted by the strata's variances at one set of variances.

    Attributes
    ----------
    a : ndarray of shape (t, t)
        [Z X y]' D^-1 [Z X y].
    ad : ndarray of shape (d, t, t)
        [Z X y]' D^-1 H_i D^-1 [Z X y] for each diagonal variance i.
    add : ndarray of shape (d, d, t, t)
        [Z X y]' D^-1 H_i D^-1 H_j D^-1 [Z X y].
    variance : ndarray of shape (G,)
        Variance of a row of each stratum.
    """

    a: Floats
    ad: Floats
    add: Floats
    variance: Floats


@dataclass(frozen=True, slots=True)
class Derivatives:
    """The criterion and its derivatives by the variances (diagonal ones first).

    `rounding` is about how far the criterion may be off: Woodbury's identity takes a small number from
    large ones where a block's variance is many times that of a unit.
    """

    criterion: float
    gradient: Floats
    expected: Floats
    hessian: Floats
    rounding: float = 0.0


@dataclass(frozen=True, slots=True)
class Optimum:
    """Variances at the optimum of the restricted likelihood.

    Attributes
    ----------
    variances : ndarray of shape (d + K,)
        Diagonal ones in the order of `Reduced.h` (cut error, units' own term), then upper terms in
        their order.
    criterion : float
        -2 log restricted likelihood, with the constant (N - p) log 2 pi.
    expected, hessian : ndarray of shape (d + K, d + K)
        Expected and observed second derivatives of the criterion.
    zero : ndarray of bool of shape (d + K,)
        Which variances are estimated as zero.
    steps : int
        Number of evaluations.
    """

    variances: Floats
    criterion: float
    expected: Floats
    hessian: Floats
    zero: NDArray[np.bool_]
    steps: int


def weigh(r: Reduced, s: Floats) -> Weighted:
    """Weight the strata by the diagonal variances `s` (the first columns of h)."""
    d = r.h.shape[1]
    variance = r.h @ s[:d]
    w = 1 / variance
    first = r.h.T * w**2
    second = first[:, None, :] * (r.h.T * w)[None, :, :]
    weights = np.concatenate([w[None, :], first, second.reshape(d * d, -1)])
    t = r.products.shape[1]
    sums = (weights @ r.products.reshape(-1, t * t)).reshape(-1, t, t)
    return Weighted(sums[0], sums[1 : 1 + d], sums[1 + d :].reshape(d, d, t, t), variance)


def inner_inverse(a: Floats, root: Floats, q: int) -> tuple[Floats, float]:
    """M of the module's docstring for F = the first columns of [Z X y], and ln|K|.

    Parameters
    ----------
    a : ndarray of shape (f, f)
        F' D^-1 F.
    root : ndarray of shape (f,)
        Diagonal of J.
    q : int
        Number of columns of Z.
    """
    if not len(root):
        return np.zeros((0, 0)), 0.0
    k = a * root * root[:, None]
    k.flat[: q * (len(root) + 1) : len(root) + 1] += 1.0
    factor, fault = lapack.dpotrf(k, lower=1, clean=1)
    if fault:
        raise FitError(
            "The fixed effects cannot be told apart on these edges. "
            "Leave out a factor, or make edges in the missing combinations."
        )
    log_det = 2 * float(np.log(factor.diagonal()).sum())
    # Not dpotri: OpenBLAS splits it over threads even for small matrices, and waits for them.
    half = lapack.dtrtri(factor, lower=1)[0] * root
    return half.T @ half, log_det


def column_roots(r: Reduced, s: Floats) -> Floats:
    """Square root of the variance that belongs to each column of Z."""
    return np.sqrt(s[r.h.shape[1] :]) @ r.blocks if r.q else np.zeros(0)


def derivatives(r: Reduced, s: Floats) -> Derivatives:
    """Evaluate the criterion, its gradient and both informations at the variances `s`."""
    w = weigh(r, s)
    q, f = r.q, r.q + r.p
    roots = column_roots(r, s)
    m, log_det = inner_inverse(w.a[:f, :f], np.concatenate([roots, np.ones(r.p)]), q)
    n = _projected(w.a, m, q)
    a_n = w.a @ n
    criterion = (
        r.sizes @ np.log(w.variance) + log_det + a_n[f, q] + r.log_sizes + (r.readings - r.p) * np.log(2 * np.pi)
    )
    forms = n.T @ (w.ad @ n)  # [Z y]'P H_i P [Z y]
    trace, expected = _traces(r, w, m, a_n[:q, :q], forms)
    quadratic, second = _quadratics(r, w, m, n[:, q], a_n[:q], forms)
    largest = 1 + float((roots * roots * w.a.diagonal()[:q]).max(initial=0.0))
    return Derivatives(
        float(criterion), trace - quadratic, expected, 2 * second - expected, EPSILON * largest * float(w.a[f, f])
    )


def _projected(a: Floats, m: Floats, q: int) -> Floats:
    """Columns n with P [Z y] = D^-1 [Z X y] n, of shape (t, q + 1)."""
    f = len(m)
    n = np.zeros((f + 1, q + 1))
    n[:f, :q] = m @ a[:f, :q]
    n[:f, q] = m @ a[:f, f]
    n *= -1
    n.flat[: q * (q + 1) : q + 2] += 1.0
    n[f, q] = 1.0
    return n


def _traces(r: Reduced, w: Weighted, m: Floats, u: Floats, forms: Floats) -> tuple[Floats, Floats]:
    """tr(P G_i) and tr(P G_i P G_j); u = Z'PZ."""
    d, f = r.h.shape[1], len(m)
    scaled = r.h.T / w.variance
    ad = w.ad[:, :f, :f]
    mad = m @ ad
    flat, turned = mad.reshape(d, -1), mad.transpose(0, 2, 1).reshape(d, -1)
    trace = scaled @ r.sizes - ad.reshape(d, -1) @ m.ravel()
    once = (w.add[:, :, :f, :f].reshape(d * d, -1) @ m.ravel()).reshape(d, d)
    expected = (scaled * r.sizes) @ scaled.T - 2 * once + flat @ turned.T
    if not r.q:
        return trace, expected
    cross = forms[:, : r.q, : r.q].diagonal(axis1=1, axis2=2) @ r.blocks.T
    upper = r.blocks @ (u * u) @ r.blocks.T
    return np.concatenate([trace, r.blocks @ u.diagonal()]), _bordered(expected, cross, upper)


def _quadratics(r: Reduced, w: Weighted, m: Floats, v: Floats, z_p: Floats, forms: Floats) -> tuple[Floats, Floats]:
    """Quadratic forms y'P G_i P y and y'P G_i P G_j P y; z_p = Z'P [Z y]."""
    q, f = r.q, len(m)
    g = (w.ad @ v)[:, :f]
    quadratic = forms[:, q, q]
    second = (w.add @ v) @ v - g @ m @ g.T
    if not q:
        return quadratic, second
    b = z_p[:, q]
    marked = r.blocks * b
    upper = marked @ z_p[:, :q] @ marked.T
    return np.concatenate([quadratic, marked @ b]), _bordered(second, forms[:, :q, q] @ marked.T, upper)


def _bordered(diagonal: Floats, cross: Floats, upper: Floats) -> Floats:
    """Put the parts of the diagonal and of the upper terms together."""
    d, size = len(diagonal), len(diagonal) + len(upper)
    whole = np.empty((size, size))
    whole[:d, :d], whole[:d, d:], whole[d:, :d], whole[d:, d:] = diagonal, cross, cross.T, upper
    return whole


def start_variances(r: Reduced) -> Floats:
    """Rough variances to begin with: what X leaves of the response, shared out equally."""
    d, k = r.h.shape[1], r.blocks.shape[0]
    total = r.products[:, r.q :, r.q :].sum(axis=0) if d == 1 else _between(r)
    beta = lapack.dposv(total[:-1, :-1], total[:-1, -1])[1]
    left = max(total[-1, -1] - total[-1, :-1] @ beta, 0.0)
    spread = left / max((r.readings if d == 1 else r.units) - r.p, 1)
    within = r.sizes[-1] if r.units < r.readings and d > 1 else 0.0
    parts = min(d, 2 if within else 1) + k
    start = np.full(d + k, spread / parts)
    cut = r.products[-1, -1, -1] / within if within else 0.0
    if within > r.p or spread < NOISE * cut:  # X may explain the means of all units
        start[0] = cut
    return start


def _between(r: Reduced) -> Floats:
    strata = slice(None, -1) if r.units < r.readings else slice(None)
    return r.products[strata, r.q :, r.q :].sum(axis=0)


Evaluate = Callable[[Floats], Derivatives]


def maximise(
    r: Reduced, start: Floats | None = None, held: dict[int, float] | None = None, evaluate: Evaluate | None = None
) -> Optimum:
    """Find the variances that maximise the restricted likelihood.

    Parameters
    ----------
    r : Reduced
        Sums of the readings; X of full column rank.
    start : ndarray, optional
        Variances to begin with.
    held : dict, optional
        Variances to keep at a value (for profiles).
    evaluate : callable, optional
        Another criterion of the variances, with its exact gradient and a Hessian near enough.

    Returns
    -------
    Optimum

    Raises
    ------
    FitError
        If no step improves the criterion while its gradient is not zero, or after
        100 steps.
    """
    s = start_variances(r) if start is None else start.copy()
    find = evaluate or (lambda place: derivatives(r, place))
    settled = SETTLED_SLOWLY if evaluate and not held else SETTLED
    free = np.ones(s.size, dtype=bool)
    for index, value in (held or {}).items():
        s[index], free[index] = value, False
    least = least_variances(r, s)
    s = np.where(free & (s < 2 * least), least, s)
    noise = NOISE / LEAST if least.any() else NOISE
    now, before = find(s), np.inf
    for step in range(1, MAX_STEPS):
        active = free & ((s > least) | (now.gradient < 0))
        # The first step uses the expected information: in a balanced layout it lands on the optimum.
        move, gain = _step(now, active, farthest=FAR * s.max() if step > 1 else 0.0)
        hidden = gain <= max(noise * (1 + abs(now.criterion)), min(now.rounding, UNSEEN))
        if gain <= settled or (hidden and gain > before / 4 and not evaluate):
            return _last_step(find, s, now, move, least, step)
        s, now = _advance(find, s, move, least) if hidden else _descend(find, r.residuals, s, now, move, least)
        before = gain
    raise FitError(
        f"The fit did not settle in {MAX_STEPS} steps. Look at the residuals for a wild reading, "
        "or leave out a block with few levels."
    )


def least_variances(r: Reduced, s: Floats) -> Floats:
    """Values at which variances count as zero."""
    least = np.zeros_like(s)
    if r.residuals > 1 and r.q:
        least[: r.residuals] = LEAST * s.max()
    return least


def _step(now: Derivatives, active: NDArray[np.bool_], farthest: float) -> tuple[Floats, float]:
    """Step among the active variances, and the fall of the criterion that it promises.

    Newton's step where the Hessian is positive definite and does not lead farther than `farthest`
    (a nearly singular one does); else the step by the expected information.
    """
    move = np.zeros(active.size)
    if not active.any():
        return move, 0.0
    index = np.flatnonzero(active)
    gradient = now.gradient[index]
    for second, reach in ((now.hessian, farthest), (now.expected, np.inf)):
        solution, fault = lapack.dposv(second[index[:, None], index], -gradient)[1:] if reach > 0 else (gradient, 1)
        if not fault and np.abs(solution).max() <= reach:
            move[index] = solution
            return move, -float(gradient @ solution) / 2
    raise FitError(
        "The spreads cannot be told apart on this layout: two random factors always change together, "
        "or one of them changes together with a factor under test. Leave one of them out."
    )


def _descend(
    find: Evaluate, count: int, s: Floats, now: Derivatives, move: Floats, least: Floats
) -> tuple[Floats, Derivatives]:
    """Go along the step, projected on variances not below `least`, as far as the criterion falls."""
    floor, residuals = least.copy(), slice(count)
    floor[residuals] = np.maximum(0.05 * s[residuals], least[residuals])
    length = 1.0
    for _ in range(40):
        trial = np.maximum(s + length * move, np.minimum(floor, s))
        if trial[residuals].min() > 0 and not np.array_equal(trial, s):
            there = find(trial)
            if there.criterion <= now.criterion + 1e-12 * abs(now.criterion):
                return trial, there
        length /= 2
    raise FitError(
        "The fit stopped before its best point: no step improves it. "
        "Look for cuts that are all equal, or readings many times larger than the rest."
    )


def _advance(find: Evaluate, s: Floats, move: Floats, least: Floats) -> tuple[Floats, Derivatives]:
    """Take the whole step unseen: what it gains is less than the rounding of the criterion."""
    there = np.maximum(s + move, np.minimum(least, s))
    return there, find(there)


def _last_step(
    find: Evaluate, s: Floats, now: Derivatives, move: Floats, least: Floats, steps: int
) -> Optimum:
    """Take the last Newton step: the criterion no longer shows it, the gradient does."""
    trial = s + move
    if np.any(trial < np.minimum(least, s)) or not move.any():
        return Optimum(s, now.criterion, now.expected, now.hessian, s <= least, steps)
    last = find(trial)
    return Optimum(trial, last.criterion, last.expected, last.hessian, trial <= least, steps + 1)
