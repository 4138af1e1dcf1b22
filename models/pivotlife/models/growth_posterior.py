"""What its readings say of one bushing: its play at an age, and the chance that it is over.

The posterior of each life's growth rate stands on an equally spaced grid in z; the starting play
is normal given the rate. The chance of being over a limit L at age m, with x = m^p, is

    P(a + r x >= L | readings) = sum_k w_k P(a >= L - r_k x | readings, r_k).

The readings already contain "the last one was under": nothing more is conditioned on. Where that
step is sharper than the grid, the sum is taken the other way round, over the starting play, with
the distribution function of r interpolated on the grid.
Not here: uncertainty of the law itself (growth).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from pivotlife.models.growth_censored import LowReadings, joint_nodes, low_groups
from pivotlife.models.growth_law import GrowthLaw
from pivotlife.models.growth_quadrature import (
    RateMap,
    equal_steps,
    gauss_hermite,
    nodes_on,
    rate_map,
    recentre,
)
from pivotlife.models.growth_readings import GrowthReadings, Integers
from pivotlife.models.growth_sums import LifeTerms, cell_sums, life_terms, take_terms

Floats = NDArray[np.float64]
GRID_NODES, GRID_REACH = 33, 6.0
_ACROSS = 9
_LIVES_AT_ONCE = 8_192
# The plain sum is exact to 1e-6 while the step is at least 0.8 grid intervals wide.
_SHARP = 1.25
_LEAST_SPREAD = 1e-9


@dataclass(frozen=True)
class LifeGrid:
    """Posterior of some lives.

    Attributes
    ----------
    lives : ndarray of int, shape (n,)
    rates : RateMap
    z, rate, weight : ndarray, shape (n, GRID_NODES)
        Grid, growth rate on it (mm per scale miles to the exponent), posterior share.
    base, tilt, sd : ndarray, shape (n,)
        Starting play given the rate: normal with mean base + tilt * r and this deviation, mm.
    """

    lives: Integers
    rates: RateMap
    z: Floats
    rate: Floats
    weight: Floats
    base: Floats
    tilt: Floats
    sd: Floats

    def mean_rate(self) -> Floats:
        """Posterior mean of r, shape (n,)."""
        return np.asarray((self.weight * self.rate).sum(axis=1))

    def mean_play(self, x: Floats) -> Floats:
        """Posterior mean of the play, mm, at powered age x, shape (n,)."""
        return self.base + (self.tilt + x) * self.mean_rate()


def life_grids(data: GrowthReadings, law: GrowthLaw, lives: Integers) -> Iterator[LifeGrid]:
    """Yield the posterior of the lives asked for, some thousands at a time.

    Parameters
    ----------
    data : GrowthReadings
        With the weights they are to count with.
    law : GrowthLaw
    lives : ndarray of int
        Each at most once.
    """
    terms = life_terms(data, cell_sums(data, law, slopes=False), law)
    wanted = np.zeros(data.n_lives, dtype=bool)
    wanted[lives] = True
    has_low = np.bincount(data.censored_life, minlength=data.n_lives) > 0
    plain = np.flatnonzero(wanted & ~has_low)
    for begin in range(0, len(plain), _LIVES_AT_ONCE):
        yield grid_of_terms(terms, law, plain[begin : begin + _LIVES_AT_ONCE])
    for low in low_groups(data, law, terms):
        keep = wanted[low.lives]
        if keep.any():
            yield _joint_grid(terms, law, low.take(np.flatnonzero(keep)))


def chance_over(grid: LifeGrid, limit_mm: Floats, x: Floats) -> Floats:
    """Chance that the play is at least the limit at powered age x.

    Parameters
    ----------
    grid : LifeGrid
    limit_mm, x : ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (n,), in [0, 1]
    """
    slope, room = x + grid.tilt, limit_mm - grid.base
    rise = np.abs(slope)[:, None] * np.diff(grid.rate, axis=1)
    # Only the intervals where the play crosses matter; the step there decides the way.
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = np.where(slope != 0, room / slope, np.inf)
    near = np.clip((grid.rate < crossing[:, None]).sum(axis=1) - 1, 0, GRID_NODES - 2)
    sharp = rise[np.arange(len(near)), near] > _SHARP * grid.sd
    chance = np.empty(len(slope))
    smooth = np.flatnonzero(~sharp)
    if len(smooth):
        height = grid.rate[smooth] * slope[smooth, None] - room[smooth, None]
        shares = ndtr(height / grid.sd[smooth, None]) * grid.weight[smooth]
        chance[smooth] = shares.sum(axis=1)
    steep = np.flatnonzero(sharp)
    if len(steep):
        chance[steep] = _other_way(grid, steep, slope[steep], room[steep])
    return np.clip(chance, 0.0, 1.0)


def _other_way(grid: LifeGrid, at: Integers, slope: Floats, room: Floats) -> Floats:
    """E over the starting play of P(r slope >= what is left)."""
    rule = gauss_hermite(_ACROSS)
    share = np.exp(rule.log_weights - 0.5 * rule.nodes**2) / np.sqrt(2.0 * np.pi)
    left = room[:, None] - grid.sd[at, None] * rule.nodes
    needed = left / slope[:, None]
    below = _distribution(grid, at, needed)
    over = np.where(slope[:, None] > 0, 1.0 - below, below)
    return np.asarray(over @ share)


def _distribution(grid: LifeGrid, at: Integers, rate: Floats) -> Floats:
    """P(r <= rate | readings), shape (n, k), by cubic interpolation on the grid."""
    weight = grid.weight[at]
    padded = np.pad(weight, ((0, 0), (1, 1)))
    # Running trapezoidal sum with its end correction (Euler-Maclaurin).
    total = np.cumsum(weight, axis=1) - 0.5 * weight - (padded[:, 2:] - padded[:, :-2]) / 24.0
    positive = np.maximum(rate, 1e-300)
    z = grid.rates.take(at).z_of_log_rate(np.log(positive))
    first = grid.z[at, :1]
    step = grid.z[at, 1:2] - first
    place = np.clip((z - first) / step, 0.0, GRID_NODES - 1.0)
    left = np.minimum(place.astype(np.int64), GRID_NODES - 2)
    t = place - left
    f0, f1 = (np.take_along_axis(total, left + k, axis=1) for k in (0, 1))
    d0, d1 = (np.take_along_axis(weight, left + k, axis=1) for k in (0, 1))
    rising = f0 + t * (d0 + t * (3.0 * (f1 - f0) - 2.0 * d0 - d1 + t * (d0 + d1 - 2.0 * (f1 - f0))))
    return np.where(rate > 0, np.clip(rising, 0.0, 1.0), 0.0)


def grid_of_terms(terms: LifeTerms, law: GrowthLaw, lives: Integers) -> LifeGrid:
    """Return the posterior of some lives from their coefficients, too-small readings aside."""
    own = take_terms(terms, lives)
    rates = rate_map(own, law)
    rates = recentre(
        rates, nodes_on(own, rates, gauss_hermite(7 if law.density == "normal" else 11))
    )
    nodes = nodes_on(own, rates, equal_steps(GRID_NODES, GRID_REACH))
    sd = np.sqrt(own.variance)
    return LifeGrid(lives, rates, nodes.z, nodes.rate, nodes.weight, own.base, own.tilt, sd)


def _joint_grid(terms: LifeTerms, law: GrowthLaw, low: LowReadings) -> LifeGrid:
    """Posterior of lives with too-small readings.

    Their starting play given r is not quite normal; the straight line and deviation nearest to it
    stand in for it.
    """
    own = take_terms(terms, low.lives)
    rates = rate_map(own, law)
    along = equal_steps(GRID_NODES, GRID_REACH)
    nodes = joint_nodes(own, rates, low, along, gauss_hermite(_ACROSS))
    weight = nodes.weight.sum(axis=2)
    spread = np.sqrt(own.variance)[:, None]
    first = (nodes.weight * nodes.start).sum(axis=2)
    mean = own.base[:, None] * weight + own.tilt[:, None] * nodes.rate * weight + spread * first
    mean_r = (weight * nodes.rate).sum(axis=1)
    off_r = nodes.rate - mean_r[:, None]
    mean_a = mean.sum(axis=1)
    tilt = (mean * off_r).sum(axis=1) / np.maximum((weight * off_r**2).sum(axis=1), 1e-300)
    base = mean_a - tilt * mean_r
    start = (own.base - base)[:, None, None] + spread[:, :, None] * nodes.start
    start = start + ((own.tilt - tilt)[:, None] * nodes.rate)[:, :, None]
    # Readings that contradict each other leave a single node: never quite without spread.
    sd = np.sqrt(np.maximum((nodes.weight * start**2).sum(axis=(1, 2)), _LEAST_SPREAD**2))
    return LifeGrid(low.lives, rates, nodes.z, nodes.rate, weight, base, tilt, sd)
