r"""Log-likelihood of lives that several failure modes compete for, each with a Weibull law.

Modes k = 1..K have cumulative hazards H_k(m) = (m / scale_k)^shape_k, their sum is H. A life that
entered at E adds, weighted,

- exact failure of mode j at m:      log h_j(m) - H(m) + H(E)
- failure of mode j in (l, u]:       log integral from l to u of h_j(t) exp(-H(t)) dt + H(E)
- not failed by l:                   -H(l) + H(E)

(Crowder, Classical Competing Risks, 2001, chapter 3, from memory). Every H stands alone but in the
integral, of which exp(-H(l)) is taken out. The integral is done by Gauss-Legendre in y = log t:
there the integrand exp(log shape_j + q_j - H + H(l)), q = shape (y - log scale), has no corner at
age 0, whatever the shapes. It ends where H has grown by 32 (nothing is left). A narrow gap is one
panel. A wide one is two, split where H has grown by 1; towards younger ages, as far as e^-25 of the
integral lies before, the nodes thin out exponentially, for a fast and a slow mode may share a gap.

Derivatives of the log of the integral are averages over the nodes, weighted by the integrand:
gradient E[f'], second derivatives E[f''] + Cov[f'], f the exponent above.

Not here: where the maximum lies (`modes_maximum`), which lives compete (`modes`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pivotlife.models.arrays import FloatArray, IntArray
from pivotlife.models.weibull_likelihood import FAR, IMPOSSIBLE, Likelihood

#: Nodes of a very narrow gap, of a narrow one, and of each panel of a wide one; good to 1e-8 (see
#: the tests).
FEWEST_NODES, NARROW_NODES, WIDE_NODES = 8, 16, 24
#: A gap is (very) narrow when no H can grow by more than e to this power within it; very narrow
#: only if H also grows by no more than `STEEP`.
VERY_NARROW, NARROW, STEEP = 1.0, 4.0, 3.0
#: H beyond which nothing is left, and how far below the bulk the integral begins.
NOTHING_LEFT, BELOW_BULK = 32.0, 25.0
_RULES = {n: np.polynomial.legendre.leggauss(n) for n in (FEWEST_NODES, NARROW_NODES, WIDE_NODES)}
_NONE = np.zeros(0)


@dataclass(frozen=True, eq=False)
class Stretches:
    """Nodes of many integrals at once.

    Attributes
    ----------
    log_age : ndarray, shape (n, nodes)
        log t of the nodes.
    log_share : ndarray, shape (n, nodes)
        Log of what each node adds to the integral, exp(-H(l)) taken out.
    log_integral : ndarray, shape (n,)
        Log of the sums.
    q, hazard : ndarray, shape (K, n, nodes)
        log H_k and H_k at the nodes.
    q_start, hazard_start : ndarray, shape (K, n)
        The same at the start l.
    """

    log_age: FloatArray
    log_share: FloatArray
    log_integral: FloatArray
    q: FloatArray
    hazard: FloatArray
    q_start: FloatArray
    hazard_start: FloatArray


def stretches(
    log_shape: FloatArray,
    log_scale: FloatArray,
    mode: IntArray,
    log_lower: FloatArray,
    log_upper: FloatArray,
) -> Iterator[tuple[IntArray, Stretches]]:
    """Integrate h_j(t) exp(-(H(t) - H(l))) from l to u for many (j, l, u).

    Parameters
    ----------
    log_shape, log_scale : ndarray, shape (K,)
        Of the modes.
    mode : ndarray of int64, shape (n,)
        j, counted from 0.
    log_lower, log_upper : ndarray, shape (n,)
        Log ages; -`FAR` stands for age 0.

    Yields
    ------
    rows : ndarray of int64
        Very narrow gaps, then narrow ones, then wide ones; each only if there are any.
    Stretches
        Their integrals.
    """
    reach = (log_upper - log_lower) * float(np.exp(log_shape.max()))
    ends = np.exp(
        np.minimum(
            np.exp(log_shape)[:, None]
            * (np.stack([log_lower, log_upper])[:, None] - log_scale[:, None]),
            FAR / 2,
        )
    )
    steep = (ends[1] - ends[0]).sum(axis=0) > STEEP
    width = np.maximum(np.digitize(reach, [VERY_NARROW, NARROW]), steep.astype(np.int64))
    for place, nodes in enumerate((FEWEST_NODES, NARROW_NODES, WIDE_NODES)):
        rows = np.flatnonzero(width == place)
        if rows.size:
            gap = (mode[rows], log_lower[rows], log_upper[rows])
            yield rows, _integrate(np.exp(log_shape)[:, None], log_scale[:, None], gap, nodes)


def _integrate(
    shape: FloatArray,
    log_scale: FloatArray,
    gap: tuple[IntArray, FloatArray, FloatArray],
    nodes: int,
) -> Stretches:
    """Place the nodes of gaps (mode, log lower, log upper), and sum; shapes as columns."""
    mode, log_lower, log_upper = gap
    q_start = shape * (log_lower - log_scale)
    start = np.exp(np.minimum(q_start, FAR))

    def grown(by: float) -> FloatArray:
        """Return log t at which the first of the hazards has grown by so much, at most log u."""
        ages = (log_scale + np.log(start + by) / shape).min(axis=0)
        return np.asarray(np.clip(ages, log_lower, log_upper), dtype=np.float64)

    high = grown(NOTHING_LEFT)
    if nodes == WIDE_NODES:
        bulk, fastest = grown(1.0), float(shape.max())
        reach = np.minimum(BELOW_BULK / shape[mode, 0], bulk - log_lower)
        y, log_step = _thinning(bulk, reach, fastest)
        above, log_above = _even(bulk, high, WIDE_NODES)
        y, log_step = np.hstack([y, above]), np.hstack([log_step, log_above])
    else:
        y, log_step = _even(log_lower, high, nodes)
    q = shape[:, :, None] * (y - log_scale[:, :, None])
    hazard = np.exp(np.minimum(q, FAR))
    own_q = q[mode, np.arange(mode.size)]
    share = np.log(shape[mode]) + own_q - (hazard - start[:, :, None]).sum(axis=0) + log_step
    top = share.max(axis=1)
    total = top + np.log(np.exp(share - top[:, None]).sum(axis=1))
    return Stretches(y, share, total, q, hazard, q_start, start)


def _even(low: FloatArray, high: FloatArray, nodes: int) -> tuple[FloatArray, FloatArray]:
    """Return nodes from low to high and the log of each one's step."""
    node, weight = _RULES[nodes]
    half = 0.5 * (high - low)[:, None]
    return low[:, None] + half * (node + 1.0), np.log(weight) + np.log(np.maximum(half, 1e-300))


def _thinning(high: FloatArray, reach: FloatArray, fastest: float) -> tuple[FloatArray, FloatArray]:
    """Return nodes from high down by reach, ever farther apart, and the log of each one's step."""
    v, log_step = _even(np.zeros(high.size), np.log1p(fastest * reach), WIDE_NODES)
    return high[:, None] - np.expm1(v) / fastest, log_step + v - np.log(fastest)


@dataclass(frozen=True, eq=False)
class Height:
    """Value, gradient and second derivatives in (log shapes, log scales), shapes (), (2K,), ..."""

    value: float
    gradient: FloatArray
    hessian: FloatArray


@dataclass(frozen=True, eq=False)
class ModeTerms:
    """Log ages of competing lives, ready to be summed under any weights.

    Attributes
    ----------
    n_modes : int
    late, alive, exact, gap : ndarray of int64
        Rows with an entry above 0, an end above 0, an exact failure, an interval failure.
    log_entry, log_end, log_exact, log_lower, log_upper : ndarray
        Log ages of those rows; ``log_end`` where H is last counted for sure: the failure age of an
        exact failure, the last age known good of any other life.
    exact_mode, gap_mode : ndarray of int64
        Which mode, counted from 0.
    """

    n_modes: int
    late: IntArray
    alive: IntArray
    exact: IntArray
    gap: IntArray
    log_entry: FloatArray
    log_end: FloatArray
    log_exact: FloatArray
    log_lower: FloatArray
    log_upper: FloatArray
    exact_mode: IntArray
    gap_mode: IntArray

    @classmethod
    def of(
        cls, entry: FloatArray, lower: FloatArray, upper: FloatArray, mode: IntArray, n_modes: int
    ) -> ModeTerms:
        """Take the logs of checked ages once; ``mode`` is -1 where nothing failed."""
        failed = mode >= 0
        late, alive = np.flatnonzero(entry > 0.0), np.flatnonzero(lower > 0.0)
        exact = np.flatnonzero(failed & (lower == upper))
        gap = np.flatnonzero(failed & (lower < upper))
        log_lower = np.full(gap.size, -FAR)
        np.log(lower[gap], out=log_lower, where=lower[gap] > 0.0)
        return cls(
            n_modes=n_modes,
            late=late,
            alive=alive,
            exact=exact,
            gap=gap,
            log_entry=np.log(entry[late]),
            log_end=np.log(lower[alive]),
            log_exact=np.log(lower[exact]),
            log_lower=log_lower,
            log_upper=np.log(upper[gap]),
            exact_mode=mode[exact],
            gap_mode=mode[gap],
        )

    def at(self, theta: FloatArray, weight: FloatArray) -> Height:
        """Evaluate at (log shapes, log scales) when life i counts ``weight[i]`` times."""
        k = self.n_modes
        gradient, hessian = np.zeros(2 * k), np.zeros((2 * k, 2 * k))
        log_age = np.concatenate([self.log_entry, self.log_end])
        signed = np.concatenate([weight[self.late], -weight[self.alive]])
        total = float(weight.sum())
        value = 0.0
        for mode in range(k):
            own = self.exact_mode == mode
            exact = weight[self.exact[own]]
            point = Likelihood(
                *(log_age, signed, float(exact.sum()), float(exact @ self.log_exact[own])),
                *(_NONE, _NONE, _NONE, total),
            ).at(float(theta[mode]), float(theta[k + mode]))
            if point is IMPOSSIBLE:
                return Height(-np.inf, gradient, hessian)
            value += point.value
            gradient[[mode, k + mode]] = point.a, point.s
            hessian[mode, mode], hessian[k + mode, k + mode] = point.aa, point.ss
            hessian[mode, k + mode] = hessian[k + mode, mode] = point.as_
        if self.gap.size:
            added = self._gaps(theta, weight[self.gap])
            value, gradient = value + added.value, gradient + added.gradient
            hessian = hessian + added.hessian
        return Height(value, gradient, hessian)

    def _gaps(self, theta: FloatArray, weight: FloatArray) -> Height:
        """Return what the interval failures add."""
        k = self.n_modes
        value, gradient, hessian = 0.0, np.zeros(2 * k), np.zeros((2 * k, 2 * k))
        parts = stretches(theta[:k], theta[k:], self.gap_mode, self.log_lower, self.log_upper)
        for rows, found in parts:
            added = _sum_up(theta[:k], self.gap_mode[rows], found, weight[rows])
            value += added.value
            gradient += added.gradient
            hessian += added.hessian
        return Height(value, gradient, hessian)


def _sum_up(log_shape: FloatArray, mode: IntArray, found: Stretches, weight: FloatArray) -> Height:
    """Return the weighted sum of the logs of integrals, and its derivatives."""
    k = log_shape.size
    share = np.exp(found.log_share - found.log_integral[:, None])
    shape = np.exp(log_shape)[:, None, None]
    is_own = (np.arange(k)[:, None] == mode)[:, :, None].astype(np.float64)
    q, h = found.q, found.hazard
    q0, h0 = found.q_start[:, :, None], found.hazard_start[:, :, None]
    hq, hq0 = h * q, h0 * q0
    slope = np.concatenate([is_own * (1.0 + q) - (hq - hq0), shape * ((h - h0) - is_own)])
    mean = np.einsum("pin,in->pi", slope, share)
    away = (slope - mean[:, :, None]).reshape(2 * k, -1)
    node_weight = share * weight[:, None]
    hessian = (away * node_weight.ravel()) @ away.T
    bend = np.stack(
        [
            is_own * q - (hq * (1.0 + q) - hq0 * (1.0 + q0)),
            shape * (h + hq - h0 - hq0 - is_own),
            -shape * shape * (h - h0),
        ]
    )
    aa, cross, ss = bend.reshape(3, k, -1) @ node_weight.ravel()
    modes = np.arange(k)
    hessian[modes, modes] += aa
    hessian[k + modes, k + modes] += ss
    hessian[modes, k + modes] += cross
    hessian[k + modes, modes] += cross
    return Height(float(found.log_integral @ weight), mean @ weight, hessian)


def incidence(
    log_shape: FloatArray, log_scale: FloatArray, mode: int, miles: FloatArray
) -> FloatArray:
    """Return the share of bushings that failed by this mode first, by each age.

    Parameters
    ----------
    log_shape, log_scale : ndarray, shape (K,)
        Of all modes that compete.
    mode : int
        Which of them, counted from 0.
    miles : ndarray, shape (n,), miles
    """
    ages = np.asarray(miles, dtype=np.float64)
    known = ages > 0.0
    which = np.full(int(known.sum()), mode, dtype=np.int64)
    start = np.full(which.size, -FAR)
    result = np.zeros(ages.shape)
    result[known] = np.exp(log_integrals(log_shape, log_scale, which, start, np.log(ages[known])))
    return result


def log_integrals(
    log_shape: FloatArray,
    log_scale: FloatArray,
    mode: IntArray,
    log_lower: FloatArray,
    log_upper: FloatArray,
) -> FloatArray:
    """Return the logs of the integrals of `stretches`, in the order asked for."""
    result = np.empty(mode.size)
    for rows, found in stretches(log_shape, log_scale, mode, log_lower, log_upper):
        result[rows] = found.log_integral
    return result
