"""Ages at which a bushing may reach its limit, weighed by what was read on it.

The age T at which free play reaches the limit L is put on a grid of bins, even in log T. Before
any reading a bin weighs what the life curve gives it; each reading y at age m multiplies it with
the density of y around

    f (a + (L - a) (m / T)^p) + g,

a being the play of a new bushing, p how steeply play grows, f how much of the play a load on the
joint leaves visible, g what fresh grease takes away from it. Reading errors follow a Student
density with 4 degrees of freedom, so that one wild reading does not carry a pivot with it.

Not here: which curve, which readings, the table of results.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from pivotlife.models.crossing_curves import Curve

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]

#: Weak prior of (a / L, log p, log(error scale / L), log f, g / L): centre and width. Assumed, not
#: measured; it decides only while a type has a handful of readings.
PRIOR_CENTRE: Final = np.array([0.06, np.log(1.5), np.log(0.06), 0.0, 0.0])
PRIOR_WIDTH: Final = np.array([0.10, 0.6, 0.6, 0.4, 0.1])
#: Load and grease can only hide play: their corrections never make a reading smaller.
_LIVES_FOR_START: Final = 40
_LOWEST: Final = np.array([0.0, np.log(0.3), np.log(0.003), np.log(0.3), -0.4])
_HIGHEST: Final = np.array([0.8, np.log(10.0), np.log(0.6), 0.0, 0.0])


@dataclass(frozen=True)
class PlayPath:
    """How free play grows toward the limit in one bushing type.

    Attributes
    ----------
    new_play : float, share of the limit
        Play of a new bushing.
    exponent : float
        Above 1 play grows ever faster; 1 is steady wear.
    error_scale : float, share of the limit
        Student scale of a reading's error; its standard deviation is 1.41 times as much.
    load_factor : float, at most 1
        Part of the play that shows when the joint is loaded.
    grease_offset : float, share of the limit, at most 0
        What fresh grease takes away from a reading.
    """

    new_play: float
    exponent: float
    error_scale: float
    load_factor: float = 1.0
    grease_offset: float = 0.0

    def play(self, age_over_crossing: FloatArray) -> FloatArray:
        """Play as a share of the limit at age / crossing age."""
        grown = np.power(np.maximum(age_over_crossing, 0.0), self.exponent)
        return np.asarray(self.new_play + (1.0 - self.new_play) * grown)


@dataclass(frozen=True, eq=False)
class Readings:
    """Readings of some lives, those of one life side by side.

    Attributes
    ----------
    log_age : ndarray of float, shape (n_readings,), log miles
    share : ndarray of float, shape (n_readings,)
        Free play over the limit.
    life : ndarray of int, shape (n_readings,)
        Position of the life, rising from 0 to n_lives - 1 without a gap.
    loaded, greased : ndarray of float, shape (n_readings,)
        1 where read on a loaded joint, or after greasing; else 0.
    """

    log_age: FloatArray
    share: FloatArray
    life: IntArray
    loaded: FloatArray
    greased: FloatArray

    @property
    def starts(self) -> IntArray:
        """First reading of each life."""
        return np.flatnonzero(np.diff(self.life, prepend=-1))

    def first(self, lives: int) -> Readings:
        """Keep the readings of the first so many lives."""
        kept = self.life < lives
        return Readings(
            self.log_age[kept],
            self.share[kept],
            self.life[kept],
            self.loaded[kept],
            self.greased[kept],
        )


def crossing_edges(curves: list[Curve], oldest_miles: float, bins: int) -> FloatArray:
    """Inner edges of the bins, shape (bins - 1,), miles; the outer ones are 0 and infinity."""
    low = min(c.scale * 1e-5 ** (1 / c.shape) for c in curves)
    low = max(low, max(c.scale for c in curves) * 1e-3)
    high = max(c.scale * 32.0 ** (1 / c.shape) for c in curves)
    # In doublings: a pivot must not move its neighbours' figures by being a little older.
    high *= 2.0 ** np.ceil(max(0.0, np.log2(max(2.0 * oldest_miles / high, 1.0))))
    return np.geomspace(low, high, bins - 1)


def bin_nodes(edges: FloatArray) -> FloatArray:
    """One age within each bin, shape (bins,), miles."""
    inner = np.sqrt(edges[1:] * edges[:-1])
    step = edges[1] / edges[0]
    return np.concatenate([[edges[0] / np.sqrt(step)], inner, [edges[-1] * np.sqrt(step)]])


def log_masses(edges: FloatArray, shape: FloatArray, scale: FloatArray) -> FloatArray:
    """Log chance that a Weibull age falls into each bin, shape (n_curves, bins)."""
    hazard = (edges[None, :] / np.asarray(scale)[:, None]) ** np.asarray(shape)[:, None]
    zero = np.zeros((hazard.shape[0], 1))
    lower = np.concatenate([zero, hazard], axis=1)
    upper = np.concatenate([hazard, zero + np.inf], axis=1)
    return np.asarray(-lower + np.log(np.maximum(-np.expm1(lower - upper), 1e-300)))


def log_likelihood(path: PlayPath, readings: Readings, nodes: FloatArray) -> FloatArray:
    """Log density of each life's readings if it crossed at each node, shape (n_lives, bins)."""
    growth = np.exp(path.exponent * (readings.log_age[:, None] - np.log(nodes)))
    visible = np.where(readings.loaded > 0, path.load_factor, 1.0)[:, None]
    hidden = (path.grease_offset * readings.greased)[:, None]
    play = path.new_play + (1.0 - path.new_play) * growth
    miss = readings.share[:, None] - visible * play - hidden
    density, _, _ = _reading_terms(miss, path.error_scale, readings.share <= 0)
    return np.asarray(np.add.reduceat(density, readings.starts, axis=0))


def _reading_terms(
    miss: FloatArray, error: float, is_zero: BoolArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log density of each miss, and its slopes by the mean and by log error.

    A reading of zero says only that nothing could be felt: the chance of at most zero.
    """
    spread = 4.0 * error**2 + miss**2
    value = -2.5 * np.log(spread) + 4.0 * np.log(error)
    by_mean = 5.0 * miss / spread
    by_error = 5.0 * miss**2 / spread - 1.0
    if is_zero.any():
        t = miss[is_zero] / error
        below = np.maximum(special.stdtr(4.0, t), 1e-300)
        ratio = 0.375 * (1.0 + t**2 / 4.0) ** -2.5 / below
        value[is_zero] = np.log(below)
        by_mean[is_zero] = -ratio / error
        by_error[is_zero] = -ratio * t
    return value, by_mean, by_error


def posterior(log_prior: FloatArray, log_like: FloatArray) -> FloatArray:
    """Weight of each bin given the readings, shape (n_lives, bins); rows sum to one."""
    joint = log_prior + log_like
    weights = np.exp(joint - joint.max(axis=1, keepdims=True))
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))


def chance_by(weights: FloatArray, edges: FloatArray, miles: FloatArray) -> FloatArray:
    """Chance of having crossed by an age of one's own, shape (n_lives,)."""
    share = bin_shares(edges, miles)
    return np.asarray(np.clip(np.einsum("nk,nk->n", weights, share), 0.0, 1.0))


def bin_shares(edges: FloatArray, miles: FloatArray) -> FloatArray:
    """Part of each bin below an age, shape (n, bins): 1, 0, or between within the bin."""
    low = np.concatenate([[0.0], edges])
    width = np.concatenate([[edges[0]], np.diff(edges), [edges[-1]]])
    return np.asarray(np.clip((miles[:, None] - low) / width, 0.0, 1.0))


def crossing_quantile(weights: FloatArray, edges: FloatArray, p: float) -> FloatArray:
    """Age by which a bushing has crossed with chance p, shape (n_lives,), miles."""
    below = np.cumsum(weights, axis=1)
    at = np.minimum((below < p).sum(axis=1), weights.shape[1] - 1)
    rows = np.arange(weights.shape[0])
    low = np.concatenate([[0.0], edges])
    width = np.concatenate([[edges[0]], np.diff(edges), [edges[-1]]])
    before = below[rows, at] - weights[rows, at]
    part = np.clip((p - before) / np.maximum(weights[rows, at], 1e-300), 0.0, 1.0)
    return np.asarray(low[at] + part * width[at])


def fit_path(readings: Readings, log_prior: FloatArray, nodes: FloatArray) -> PlayPath:
    """Fit the growth of play and the errors of reading it to the readings of many lives.

    Parameters
    ----------
    readings : Readings
        Of n_lives lives, each crossing at an age of its own.
    log_prior : ndarray of float, shape (n_lives, bins)
        Log chance of each bin before any reading.
    nodes : ndarray of float, shape (bins,), miles

    Returns
    -------
    PlayPath
        Greatest marginal likelihood (the crossing age of each life summed out) times a weak
        prior that decides only while there are few readings.
    """
    # The likelihood has a second top at a wide error; a few starts on few lives tell them apart.
    few = readings.first(_LIVES_FOR_START)
    starts = [PRIOR_CENTRE + np.array([0.0, step, 0.0, -0.1, 0.0]) for step in (-0.2, 0.6, 1.3)]
    rough = [_climb(start, few, log_prior[:_LIVES_FOR_START], nodes, 15) for start in starts]
    best = min(rough, key=lambda found: float(found.fun))
    found = _climb(best.x, readings, log_prior, nodes, 40)
    new_play, log_power, log_error, log_load, grease = (float(x) for x in found.x)
    power, error, load = (float(np.exp(x)) for x in (log_power, log_error, log_load))
    return PlayPath(new_play, power, error, load, grease)


def _climb(
    start: FloatArray, readings: Readings, log_prior: FloatArray, nodes: FloatArray, steps: int
) -> optimize.OptimizeResult:
    def objective(theta: FloatArray) -> tuple[float, FloatArray]:
        value, slope = _marginal(theta, readings, log_prior, nodes)
        off = (theta - PRIOR_CENTRE) / PRIOR_WIDTH
        return float(off @ off / 2 - value), np.asarray(off / PRIOR_WIDTH - slope)

    return optimize.minimize(
        objective,
        start,
        jac=True,
        method="L-BFGS-B",
        bounds=list(zip(_LOWEST, _HIGHEST, strict=True)),
        options={"ftol": 1e-5, "maxiter": steps},
    )


def _marginal(
    theta: FloatArray, readings: Readings, log_prior: FloatArray, nodes: FloatArray
) -> tuple[float, FloatArray]:
    """Log marginal likelihood of (a, log p, log error, log f, g) and its slope."""
    new_play, exponent, error = theta[0], np.exp(theta[1]), np.exp(theta[2])
    loaded, greased = readings.loaded[:, None], readings.greased[:, None]
    visible = np.exp(theta[3] * loaded)
    ratio = readings.log_age[:, None] - np.log(nodes)
    growth = np.exp(exponent * ratio)
    shown = visible * (new_play + (1.0 - new_play) * growth)
    miss = readings.share[:, None] - shown - theta[4] * greased
    density, by_mean, by_error = _reading_terms(miss, error, readings.share <= 0)
    joint = log_prior + np.add.reduceat(density, readings.starts, axis=0)
    top = joint.max(axis=1, keepdims=True)
    weights = np.exp(joint - top)
    total = weights.sum(axis=1, keepdims=True)
    weights = (weights / total)[readings.life]
    pull = weights * by_mean
    slope = np.array(
        [
            np.sum(pull * visible * (1.0 - growth)),
            np.sum(pull * visible * (1.0 - new_play) * growth * exponent * ratio),
            np.sum(weights * by_error),
            np.sum(pull * shown * loaded),
            np.sum(pull * greased),
        ]
    )
    return float(np.sum(top + np.log(total))), slope
