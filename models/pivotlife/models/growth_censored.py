"""Lives with readings too small to be read: integrated over starting play and growth rate.

A reading at or below half its rounding width says only that the value was below that bound, or
that nobody measured it: with q the share of readings not measured it adds
log(q + (1 - q) Phi(height)), where height = (bound - expected) / sd. For these lives the integral
runs over both the growth rate (its z of growth_quadrature) and the starting play, written
``a = base + tilt r + sqrt(variance) s`` with s standard normal given the other readings: nodes are
laid along the principal curvature at the joint mode.
Not here: how large q is (growth_zeros).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import erfcx, log_ndtr, ndtr

from pivotlife.models.growth_law import GrowthLaw
from pivotlife.models.growth_quadrature import (
    RateMap,
    Rule,
    equal_steps,
    gauss_hermite,
    z_slopes,
)
from pivotlife.models.growth_readings import GrowthReadings, Integers
from pivotlife.models.growth_sums import LifeTerms, error_variance, load_factors, take_terms

Floats = NDArray[np.float64]
_HALF_LOG_2PI = 0.5 * float(np.log(2.0 * np.pi))
_MODE_STEPS = 10
# Move of the joint mode, in standard scores, from which the nodes would lie the same.
_MODE_FOUND = 1e-3
_LIVES_AT_ONCE = 1_000


@dataclass(frozen=True)
class LowReadings:
    """Too-small readings of lives that have equally many; arrays (n_lives, n_low).

    Each adds ``log(q + (1 - q) Phi(level - by_rate r - by_start s))``, q = `not_measured`.
    """

    lives: Integers
    level: Floats
    by_rate: Floats
    by_start: Floats
    x: Floats
    log_age: Floats
    load: Floats
    loaded: Floats
    greased: Floats
    sd: Floats
    not_measured: float

    def take(self, rows: Integers) -> LowReadings:
        """Return some of the lives."""
        arrays = [field.name for field in fields(self) if field.name != "not_measured"]
        return replace(self, **{name: getattr(self, name)[rows] for name in arrays})


@dataclass(frozen=True)
class JointNodes:
    """Joint posterior on nodes.

    `z`, `rate`, `rise` have shape (n_lives, k); `start` (the s of the module) and `weight` have
    shape (n_lives, k, l); `log_integral` has shape (n_lives,).
    """

    z: Floats
    rate: Floats
    rise: Floats
    start: Floats
    weight: Floats
    log_integral: Floats


@dataclass(frozen=True)
class _Frame:
    """Centre and principal axes of the joint peak, arrays (n_lives,)."""

    z: Floats
    start: Floats
    z_width: Floats
    lean: Floats
    start_width: Floats


def low_groups(data: GrowthReadings, law: GrowthLaw, terms: LifeTerms) -> Iterator[LowReadings]:
    """Yield the lives with too-small readings, grouped by how many they have."""
    count = np.bincount(data.censored_life, minlength=data.n_lives)
    order = np.argsort(data.censored_life, kind="stable")
    first = np.cumsum(count) - count
    for n_low in np.unique(count[count > 0]):
        group = np.flatnonzero(count == n_low)
        for begin in range(0, len(group), _LIVES_AT_ONCE):
            lives = group[begin : begin + _LIVES_AT_ONCE]
            yield _low(data, law, terms, lives, order[first[lives][:, None] + np.arange(n_low)])


def joint_rules(law: GrowthLaw, *, fine: bool = True) -> tuple[Rule, Rule]:
    """Rules over z and over the starting play: wide for the lopsided Weibull posterior.

    Without `fine` they serve a search that a finer one follows.
    """
    if not fine:
        along = gauss_hermite(7) if law.density == "normal" else equal_steps(15, 5.0)
        return along, gauss_hermite(5)
    along = gauss_hermite(11) if law.density == "normal" else equal_steps(31, 6.0)
    return along, gauss_hermite(9)


def joint_nodes(
    terms: LifeTerms, rates: RateMap, low: LowReadings, along: Rule, across: Rule
) -> JointNodes:
    """Lay nodes over the joint peak of one group (terms and rates of that group's lives)."""
    frame = _newton(terms, rates, low)
    coarse = _lay(terms, rates, low, frame, gauss_hermite(7), gauss_hermite(5))
    return _lay(terms, rates, low, _recentre(coarse, frame), along, across)


def low_gradient(
    data_terms: LifeTerms, low: LowReadings, nodes: JointNodes, law: GrowthLaw
) -> Floats:
    """Return the part of the gradient that comes from too-small readings, shape (8,)."""
    rate = nodes.rate[:, :, None]
    spread = np.sqrt(data_terms.variance)[:, None, None]
    base, tilt = data_terms.base[:, None, None], data_terms.tilt[:, None, None]
    start_play = base + tilt * rate + spread * nodes.start
    gradient = np.zeros(8)
    for j in range(low.level.shape[1]):
        height = _height(low, j, rate, nodes.start)
        mills = nodes.weight * _pull(height, low.not_measured)
        x = low.x[:, j, None, None]
        by_sd = low.load[:, j] / low.sd[:, j]
        gradient[2] -= np.sum(
            (mills * height).sum(axis=(1, 2)) * law.sigma_e_mm**2 / low.sd[:, j] ** 2
        )
        gradient[3] -= law.exponent * np.sum(
            by_sd * low.x[:, j] * low.log_age[:, j] * (mills * rate).sum(axis=(1, 2))
        )
        shown = (mills * (start_play + rate * x)).sum(axis=(1, 2))
        gradient[6] -= np.sum(low.loaded[:, j] * by_sd * shown)
        gradient[7] -= np.sum(low.greased[:, j] / low.sd[:, j] * mills.sum(axis=(1, 2)))
    return gradient


def low_doubts(low: LowReadings, nodes: JointNodes) -> Floats:
    """Chance that each too-small reading was not measured, shape (n_lives, n_low)."""
    doubts = np.zeros_like(low.level)
    if low.not_measured == 0.0:
        return doubts
    for j in range(low.level.shape[1]):
        height = _height(low, j, nodes.rate[:, :, None], nodes.start)
        doubted = low.not_measured / np.exp(_log_seen(height, low.not_measured))
        doubts[:, j] = (nodes.weight * doubted).sum(axis=(1, 2))
    return doubts


def _low(
    data: GrowthReadings, law: GrowthLaw, terms: LifeTerms, lives: Integers, rows: Integers
) -> LowReadings:
    own = take_terms(terms, lives)
    log_age = data.censored_log_miles[rows] - np.log(law.miles_scale)
    x = np.exp(law.exponent * log_age)
    loaded, greased = data.censored_loaded[rows], data.censored_greased[rows]
    load = load_factors(law, loaded)
    sd = np.sqrt(error_variance(law, data.censored_width_mm[rows]))
    bound = data.censored_bound_mm[rows] - law.grease_offset_mm * greased
    return LowReadings(
        lives=lives,
        level=(bound - load * own.base[:, None]) / sd,
        by_rate=load * (own.tilt[:, None] + x) / sd,
        by_start=load * np.sqrt(own.variance)[:, None] / sd,
        x=x,
        log_age=log_age,
        load=load,
        loaded=loaded,
        greased=greased,
        sd=sd,
        not_measured=law.not_measured,
    )


def _height(low: LowReadings, j: int, rate: Floats, start: Floats) -> Floats:
    return (
        low.level[:, j, None, None]
        - low.by_rate[:, j, None, None] * rate
        - low.by_start[:, j, None, None] * start
    )


def _mills(height: Floats) -> Floats:
    """Return phi / Phi, stable in both tails."""
    ratio: Floats = np.sqrt(2.0 / np.pi) / erfcx(-height / np.sqrt(2.0))
    return ratio


def _log_seen(height: Floats, not_measured: float) -> Floats:
    """Return log(q + (1 - q) Phi)."""
    # With any q above 0 the sum has no tail to lose digits in, and the plain form is fastest.
    seen: Floats = (
        np.log(not_measured + (1.0 - not_measured) * ndtr(height))
        if not_measured > 0.0
        else log_ndtr(height)
    )
    return seen


def _pull(height: Floats, not_measured: float) -> Floats:
    """Return (1 - q) phi / (q + (1 - q) Phi), the slope of `_log_seen`."""
    if not_measured == 0.0:
        return _mills(height)
    share = 1.0 - not_measured
    density = np.exp(-0.5 * height * height - _HALF_LOG_2PI)
    return np.asarray(share * density / (not_measured + share * ndtr(height)))


def _newton(terms: LifeTerms, rates: RateMap, low: LowReadings) -> _Frame:
    """Joint mode by guarded Newton steps (curvature of the bound terms: their expected part)."""
    z, start = rates.centre, np.zeros_like(rates.centre)
    moved = np.inf
    for step in range(_MODE_STEPS + 1):
        plain = z_slopes(terms, rates, z)
        height = low.level - low.by_rate * plain.rate[:, None] - low.by_start * start[:, None]
        mills = _pull(height, low.not_measured)
        # A zero that the others contradict bends the other way: it is taken as flat there.
        bend = np.maximum(mills * (mills + height), 0.0)
        along = low.by_rate * (plain.rate * plain.log_rate_slope)[:, None]
        gradient_z = plain.gradient - (mills * along).sum(axis=1)
        gradient_s = -start - (mills * low.by_start).sum(axis=1)
        h_zz = plain.curvature + (bend * along * along).sum(axis=1)
        h_zs = (bend * along * low.by_start).sum(axis=1)
        h_ss = 1.0 + (bend * low.by_start**2).sum(axis=1)
        determinant = h_zz * h_ss - h_zs**2
        if step == _MODE_STEPS or moved < _MODE_FOUND:
            break
        move_z = (h_ss * gradient_z - h_zs * gradient_s) / determinant
        move_s = (h_zz * gradient_s - h_zs * gradient_z) / determinant
        z, start = z + np.clip(move_z, -1.5, 1.5), start + np.clip(move_s, -1.5, 1.5)
        moved = float(max(np.abs(move_z).max(), np.abs(move_s).max()))
    z_width = np.sqrt(h_ss / determinant)
    return _Frame(z, start, z_width, -h_zs / determinant / z_width, 1.0 / np.sqrt(h_ss))


def _recentre(nodes: JointNodes, before: _Frame) -> _Frame:
    """Frame from the mean and covariance found on nodes, within a factor 4 of the one before."""
    share = nodes.weight.sum(axis=2)
    z = (share * nodes.z).sum(axis=1)
    start = (nodes.weight * nodes.start).sum(axis=(1, 2))
    off_z, off_s = nodes.z - z[:, None], nodes.start - start[:, None, None]
    found = np.sqrt((share * off_z**2).sum(axis=1))
    z_width = np.clip(found, 0.25 * before.z_width, 4.0 * before.z_width)
    lean = ((nodes.weight * off_s).sum(axis=2) * off_z).sum(axis=1) / z_width
    variance = (nodes.weight * off_s**2).sum(axis=(1, 2)) - lean**2
    start_width = np.sqrt(np.maximum(variance, 0.0))
    held = np.clip(start_width, 0.25 * before.start_width, 4.0 * before.start_width)
    return _Frame(z, start, z_width, lean, held)


def _lay(
    terms: LifeTerms, rates: RateMap, low: LowReadings, frame: _Frame, along: Rule, across: Rule
) -> JointNodes:
    z = frame.z[:, None] + frame.z_width[:, None] * along.nodes
    score, log_jacobian = rates.score(z)
    rate, rise = rates.rate(score)
    centre = frame.start[:, None] + frame.lean[:, None] * along.nodes
    start = centre[:, :, None] + frame.start_width[:, None, None] * across.nodes
    plain = (
        (terms.linear[:, None] - 0.5 * terms.quadratic[:, None] * rate) * rate
        - 0.5 * score * score
        + log_jacobian
        + along.log_weights
        + (np.log(frame.z_width * frame.start_width) - 2.0 * _HALF_LOG_2PI)[:, None]
    )
    log_value = plain[:, :, None] - 0.5 * start * start + across.log_weights
    for j in range(low.level.shape[1]):
        log_value += _log_seen(_height(low, j, rate[:, :, None], start), low.not_measured)
    top = log_value.max(axis=(1, 2), keepdims=True)
    weight = np.exp(log_value - top)
    total = weight.sum(axis=(1, 2), keepdims=True)
    return JointNodes(z, rate, rise, start, weight / total, (top + np.log(total))[:, 0, 0])
