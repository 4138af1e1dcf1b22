"""How far the records leave a Weibull quantity open: profile likelihood, Wald and sandwich.

The paths that keep a quantity fixed, and the scale v it is searched on: `weibull_quantities`.

Profile likelihood (Meeker & Escobar 1998, section 8.2.3, from memory): the limits are where twice
the drop of the log-likelihood, maximised along the path, reaches the chi-square quantile with one
degree of freedom. Each side is walked in up to 40 brackets that grow by a quarter; five brackets
beyond the first crossing the likelihood must not have risen above the cut again, else the
outermost crossing counts. A cut never reached leaves the side open.

Wald: symmetric in v from the inverse information; sandwich: the same with the scores summed by
unit, times units / (units - 1) (White 1982 and Huber 1967, from memory).

Not here: the unit bootstrap (`weibull_bootstrap`).
"""

from __future__ import annotations

from functools import cache
from math import exp, inf, isfinite, log, sqrt

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2, norm

from pivotlife.models.arrays import FloatArray
from pivotlife.models.lives import CheckedLives
from pivotlife.models.weibull_likelihood import LifeTerms, Likelihood, Point
from pivotlife.models.weibull_quantities import Interval, Path, Step

BRACKETS, BRACKET_GROWTH, SCANNED_BEYOND = 40, 1.25, 5
#: Log shapes that the inner search may visit.
LOWEST_A, HIGHEST_A = log(1e-3), log(100.0)


def model_covariance(point: Point) -> FloatArray:
    """Return the inverse of the observed information in (log shape, log scale)."""
    return np.linalg.inv(-np.array([[point.aa, point.as_], [point.as_, point.ss]]))


def sandwich_covariance(
    lives: CheckedLives, a: float, s: float, covariance: FloatArray
) -> FloatArray:
    """Return the covariance of (log shape, log scale) that lets lives of one unit be alike."""
    scores = LifeTerms.of(lives).scores(a, s, lives.n_lives) * lives.weight[:, None]
    by_unit = np.column_stack(
        [np.bincount(lives.unit, scores[:, column], lives.n_units) for column in (0, 1)]
    )
    factor = lives.n_units / max(lives.n_units - 1, 1)
    return np.asarray(covariance @ (factor * by_unit.T @ by_unit) @ covariance)


def delta_interval(
    path: Path, a: float, s: float, covariance: FloatArray, level: float
) -> Interval:
    """Return limits symmetric on the quantity's search scale, from a covariance."""
    v, _ = path.start(a, s)
    slope = np.array(path.slope(a, s))
    half = float(norm.ppf(0.5 + level / 2.0)) * sqrt(max(float(slope @ covariance @ slope), 0.0))
    low, high = v - half, v + half
    return path.interval(low if low > path.lowest else None, high if high < path.highest else None)


def profile_interval(
    likelihood: Likelihood, path: Path, a: float, s: float, level: float
) -> Interval:
    """Return the profile-likelihood limits of a quantity around the maximum at (a, s)."""
    top = likelihood.at(a, s)
    cut = top.value - 0.5 * float(chi2.ppf(level, 1))
    slope = np.array(path.slope(a, s))
    spread = float(slope @ model_covariance(top) @ slope)
    width = 0.5 * sqrt(spread) if spread > 0.0 and isfinite(spread) else 0.25
    width = min(max(width, 1e-9), 1.0)
    low = _outermost_crossing(likelihood, path, a, s, cut, -width)
    high = _outermost_crossing(likelihood, path, a, s, cut, width)
    return path.interval(low, high)


def _outermost_crossing(
    likelihood: Likelihood, path: Path, a: float, s: float, cut: float, width: float
) -> float | None:
    """Return the search value where the profile falls below the cut for good; None if never."""
    v, t = path.start(a, s)
    inside: tuple[float, float] = (v, t)
    outside: float | None = None
    beyond = 0
    for _ in range(BRACKETS):
        if not path.lowest < v < path.highest:
            break
        v = min(max(v + width, path.lowest), path.highest)
        width *= BRACKET_GROWTH
        value, t = _along(likelihood, path, v, t)
        if value >= cut:
            inside, outside, beyond = (v, t), None, 0
            continue
        outside = v if outside is None else outside
        beyond += 1
        if beyond > SCANNED_BEYOND or value < cut - 50.0:
            break
    if outside is None:
        return None
    return _crossing(likelihood, path, inside, outside, cut)


def _crossing(
    likelihood: Likelihood, path: Path, inside: tuple[float, float], outside: float, cut: float
) -> float:
    """Return where between two search values the profile crosses the cut."""
    t = inside[1]

    # The search along the path starts where the last one ended: asked twice at an end, it might
    # answer a hair differently and hide the change of sign.
    @cache
    def above_cut(v: float) -> float:
        nonlocal t
        value, t = _along(likelihood, path, v, t)
        return max(value - cut, -1e6)

    first, last = above_cut(inside[0]), above_cut(outside)
    if first <= 0.0 or last >= 0.0:
        return inside[0] if first <= 0.0 else outside
    return float(brentq(above_cut, inside[0], outside, xtol=1e-12, rtol=1e-12))


def _along(likelihood: Likelihood, path: Path, v: float, t: float) -> tuple[float, float]:
    """Return the largest log-likelihood with the quantity held at v, and where along the path."""
    step = path.step(v, t)
    here = likelihood.at(step.a, step.s)
    for _ in range(100):
        if not isfinite(here.value):
            return _from_scratch(likelihood, path, v)
        rise = here.a * step.da + here.s * step.ds
        bend = (
            here.aa * step.da**2
            + 2.0 * here.as_ * step.da * step.ds
            + here.ss * step.ds**2
            + here.s * step.dds
        )
        move = rise / max(abs(bend), 1e-300)
        # One step changes log shape by at most 0.5, or log H by at most 1.
        furthest = 0.5 if step.da else exp(-step.a)
        move = min(max(move, -furthest), furthest)
        if abs(move) < 1e-9:
            break
        t, step, here, settled = _uphill(likelihood, path, v, t, move, here)
        if settled:
            break
    return here.value, t


def _uphill(
    likelihood: Likelihood, path: Path, v: float, t: float, move: float, here: Point
) -> tuple[float, Step, Point, bool]:
    """Take the move along the path, halved until the likelihood does not fall."""
    noise = 1e-13 * (abs(here.value) + 1.0)
    is_shape_free = path.step(v, t).da != 0.0
    for _ in range(40):
        next_t = t + move
        if is_shape_free:
            next_t = min(max(next_t, LOWEST_A), HIGHEST_A)
        step = path.step(v, next_t)
        there = likelihood.at(step.a, step.s)
        if there.value >= here.value - noise:
            return next_t, step, there, abs(next_t - t) < 1e-9
        move *= 0.5
    return t, path.step(v, t), here, True


def _from_scratch(likelihood: Likelihood, path: Path, v: float) -> tuple[float, float]:
    """Search a coarse grid of log shapes where the last point of the path is impossible."""
    best, best_t = -inf, 0.0
    for t in np.linspace(LOWEST_A, HIGHEST_A, 40).tolist():
        step = path.step(v, t)
        if step.da == 0.0:
            return -inf, t
        value = likelihood.at(step.a, step.s).value
        if value > best:
            best, best_t = value, t
    return (best, best_t) if best == -inf else _along(likelihood, path, v, best_t)
