"""Profile limits of one mode's quantity, all other modes at their best for it.

For a value v of the quantity the likelihood is maximised along the path of v (`weibull_quantities`)
and over the curves of the other modes together, by Newton's method. The signed root
r(v) = sqrt(2 (maximum - profile at v)) is almost straight in v, so the limit r = z (the normal
quantile; z squared is chi-square's with one degree of freedom) is found by interpolating it. A cut
that is never reached leaves the side open.

Not here: the search for the maximum itself (`modes_maximum`), the unit bootstrap (`modes`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, sqrt

import numpy as np
from scipy.stats import norm

from pivotlife.models.arrays import FloatArray, IntArray
from pivotlife.models.modes import ModesFit
from pivotlife.models.modes_likelihood import Height
from pivotlife.models.modes_maximum import uphill
from pivotlife.models.weibull_quantities import Interval, Path, Step

ROUNDS, NEWTON_ROUNDS = 40, 60
#: How close to the cut the signed root must come, and how fast the search may widen.
CLOSE, WIDEN = 1e-4, 4.0


@dataclass(frozen=True)
class _Place:
    """A point of the profile: the path's parameter, all parameters, the log-likelihood."""

    t: float
    theta: FloatArray
    value: float


def mode_interval(fit: ModesFit, mode: str, path: Path, level: float) -> Interval:
    """Return the profile limits of a quantity of one mode.

    Parameters
    ----------
    fit : ModesFit
    mode : str
        One that has a curve of its own.
    path : Path
        Of the quantity.
    level : float
        Confidence.
    """
    k, place = len(fit.modes), fit.modes.index(mode)
    own = np.array([place, k + place])
    top = fit.terms.at(fit.theta, fit.lives.weight)
    rows = np.flatnonzero(fit.free)
    covariance = np.zeros((2 * k, 2 * k))
    covariance[np.ix_(rows, rows)] = np.linalg.pinv(-top.hessian[np.ix_(rows, rows)])
    a, s = fit.theta[own]
    slope = np.array(path.slope(float(a), float(s)))
    spread = float(slope @ covariance[np.ix_(own, own)] @ slope)
    width = min(max(sqrt(spread) if spread > 0.0 else 0.25, 1e-9), 1.0)
    z = float(norm.ppf(0.5 + level / 2.0))
    low = _limit(fit, own, path, top.value, z, -z * width)
    high = _limit(fit, own, path, top.value, z, z * width)
    return path.interval(low, high)


def _limit(
    fit: ModesFit, own: IntArray, path: Path, top: float, z: float, first: float
) -> float | None:
    """Return the value at which the signed root reaches z on one side; None if never."""
    best, t = path.start(*(float(value) for value in fit.theta[own]))
    here = _Place(t, fit.theta, top)
    inside, root_inside = 0.0, 0.0
    outside, root_outside = None, 0.0
    offset = first
    for _ in range(ROUNDS):
        if not path.lowest < best + offset < path.highest:
            return None
        there = _best_at(fit, own, path, best + offset, here)
        root = sqrt(max(2.0 * (top - there.value), 0.0)) if np.isfinite(there.value) else 1e3
        if abs(root - z) < CLOSE:
            break
        if root < z:
            inside, root_inside, here = offset, root, there
        else:
            outside, root_outside = offset, root
        if outside is None:
            offset *= min(max(z / max(root, 1e-9), 1.1), WIDEN)
            continue
        share = (z - root_inside) / (root_outside - root_inside)
        offset = inside + min(max(share, 0.05), 0.95) * (outside - inside)
    return best + offset


def _best_at(fit: ModesFit, own: IntArray, path: Path, v: float, start: _Place) -> _Place:
    """Return the best point with the quantity held at v, from a point nearby."""
    others = fit.free.copy()
    others[own] = False
    rest = np.flatnonzero(others)
    weight = fit.lives.weight
    t, theta = start.t, start.theta.copy()
    step = path.step(v, t)
    theta[own] = step.a, step.s
    here = fit.terms.at(theta, weight)
    for _ in range(NEWTON_ROUNDS):
        move = uphill(_along(here, own, rest, step), np.ones(1 + rest.size, dtype=bool))
        # One step changes a log shape by at most 0.5, or log H by at most 1.
        furthest = 0.5 if step.da else exp(-step.a)
        length = min(1.0, furthest / max(float(np.abs(move).max()), 1e-300))
        for _ in range(30):
            next_step = path.step(v, t + length * move[0])
            next_theta = theta.copy()
            next_theta[own] = next_step.a, next_step.s
            next_theta[rest] += length * move[1:]
            there = fit.terms.at(next_theta, weight)
            if there.value >= here.value - 1e-11 * abs(here.value):
                break
            length *= 0.5
        else:
            break
        gain = there.value - here.value
        t, theta, step, here = t + length * move[0], next_theta, next_step, there
        if abs(gain) < 1e-7:
            break
    return _Place(t, theta, here.value)


def _along(here: Height, own: IntArray, rest: IntArray, step: Step) -> Height:
    """Return the derivatives along (the path's parameter, the other modes' parameters)."""
    lift = np.zeros((here.gradient.size, 1 + rest.size))
    lift[own, 0] = step.da, step.ds
    lift[rest, np.arange(1, 1 + rest.size)] = 1.0
    hessian = lift.T @ here.hessian @ lift
    hessian[0, 0] += here.gradient[own[1]] * step.dds
    return Height(here.value, lift.T @ here.gradient, hessian)
