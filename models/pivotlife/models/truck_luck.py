"""Luck that all bushings of one truck share.

Loads, roads, salt and care that nobody wrote down wear all pivots of a truck faster or slower than
those of its like. Each truck has a hardship z, normal with mean 0 and spread 1, for as long as it
is held, and every even draw u behind a life (the share of lives that reach beyond it) is made of z
and of luck of its own,

    u = Phi(sqrt(r) z + sqrt(1 - r) Phi^-1(v)),

r the likeness of lives within a truck (`redrawn_lives.fleet_likeness`). Each life keeps its Weibull
law; that of a truck's bushings are alike with correlation r in normal scores (a normal copula, as
where lives are drawn for a trial). At r = 0 u is v itself.

A truck that stands in the yard has told something of its hardship: its bushings were good at their
last good evidence, some are over since. z is then drawn from what is left,

    phi(z) times, over its pivots, P(life beyond the good age | z), less P(life beyond today | z)
    where the bushing is over,

on a grid. Not here: lives themselves (`truck_miles`), what the records say of r.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.special import ndtr, ndtri

from pivotlife.models.arrays import FloatArray, IntArray

_STEP: Final = 0.25
_GRID: Final = np.arange(-4.0, 4.0 + _STEP / 2.0, _STEP)
_LEAST: Final = 1e-300


def shared(uniform: FloatArray, hardship: FloatArray, likeness: FloatArray) -> FloatArray:
    """Give even draws their truck's part.

    Parameters
    ----------
    uniform : ndarray, in (0, 1)
        Luck of each bushing's own.
    hardship : ndarray, broadcasting with it
        Of its truck: above 0 wears faster.
    likeness : ndarray, broadcasting with it, 0 to below 1
        How alike lives of one truck are.

    Returns
    -------
    ndarray
        Even draws again, alike within a truck.
    """
    if not np.any(likeness):
        return uniform
    own = np.sqrt(1.0 - likeness) * ndtri(uniform)
    return np.clip(ndtr(np.sqrt(likeness) * hardship + own), 1e-12, 1.0)


def shared_given_good(
    uniform: FloatArray, hardship: FloatArray, likeness: FloatArray, survival: FloatArray
) -> FloatArray:
    """Give even draws their truck's part for lives known to reach beyond an age.

    Parameters
    ----------
    uniform, hardship, likeness : ndarray
        As in `shared`.
    survival : ndarray, broadcasting with them, 0 to 1
        Chance of a life beyond that age.

    Returns
    -------
    ndarray
        Below `survival`.
    """
    if not np.any(likeness):
        return uniform * survival
    left = np.maximum(uniform * _beyond(survival, hardship, likeness), _LEAST)
    return np.maximum(
        ndtr(np.sqrt(likeness) * hardship + np.sqrt(1.0 - likeness) * ndtri(left)), _LEAST
    )


def drawn_hardships(
    uniform: FloatArray,
    truck: IntArray,
    likeness: FloatArray,
    survival_good: FloatArray,
    survival_now: FloatArray,
) -> FloatArray:
    """Draw the hardship of trucks whose bushings are as they stand.

    Parameters
    ----------
    uniform : ndarray, shape (trucks,), in (0, 1)
    truck : ndarray of int, shape (axles,)
        Truck of each axle.
    likeness : ndarray, stretching to (axles, 6)
    survival_good : ndarray, shape (axles, 6)
        Chance of a life beyond the age at the last good evidence; 1 where there is no bushing.
    survival_now : ndarray, shape (axles, 6)
        Chance of a life beyond the age today where the bushing is over, 0 elsewhere.

    Returns
    -------
    ndarray, shape (trucks,)
    """
    log_weight = np.empty((len(_GRID), len(uniform)))
    for place, z in enumerate(_GRID):
        hardship = np.full(1, z)
        chance = _beyond(survival_good, hardship, likeness)
        chance = chance - _beyond(survival_now, hardship, likeness)
        told = np.log(np.maximum(chance, _LEAST)).sum(axis=1)
        log_weight[place] = np.bincount(truck, told, len(uniform)) - z**2 / 2.0
    weight = np.exp(log_weight - log_weight.max(axis=0))
    share = np.cumsum(weight, axis=0) / weight.sum(axis=0)
    found = np.minimum((share < uniform).sum(axis=0), len(_GRID) - 1)
    rows = np.arange(len(uniform))
    inside = (uniform - share[found, rows]) / np.maximum(
        np.diff(share, axis=0, prepend=0.0)[found, rows], _LEAST
    )
    return np.asarray(_GRID[found] + _STEP * (np.clip(inside, -1.0, 0.0) + 0.5))


def _beyond(survival: FloatArray, hardship: FloatArray, likeness: FloatArray) -> FloatArray:
    """Chance of a life beyond an age on a truck of this hardship."""
    score = ndtri(survival) - np.sqrt(likeness) * hardship
    return np.asarray(ndtr(score / np.sqrt(1.0 - likeness)))
