"""Where the joint likelihood of competing modes has its maximum.

Newton's method in (log shapes, log scales) with exact derivatives and the guards of the fit of one
mode: a direction without a concave bend follows the bend's size, no step moves a log shape by more
than 1, and a step that does not raise the likelihood is halved. Shapes stay between 0.1 and 20; a
shape that is given (a constant rate has shape 1) does not move.

Not here: what the records must hold for a maximum to exist (`modes`), limits (`modes_intervals`).
"""

from __future__ import annotations

from math import log

import numpy as np

from pivotlife.models.arrays import BoolArray, FloatArray
from pivotlife.models.modes_likelihood import Height, ModeTerms
from pivotlife.models.weibull_maximum import (
    HIGHEST_SHAPE,
    LARGEST_HAZARD_STEP,
    LARGEST_STEP,
    LOWEST_SHAPE,
    SETTLED,
)

ROUNDS = 200
#: Log scales farther away than this stand for a mode that never strikes.
FARTHEST = 600.0


def climb_modes(
    terms: ModeTerms, weight: FloatArray, theta: FloatArray, free: BoolArray
) -> tuple[FloatArray, Height]:
    """Return the best (log shapes, log scales) reached from ``theta``.

    Parameters
    ----------
    terms : ModeTerms
    weight : ndarray, shape (n_lives,)
    theta : ndarray, shape (2K,)
        Where to start.
    free : ndarray of bool, shape (2K,)
        False where a parameter is given.
    """
    k = terms.n_modes
    low, high = log(LOWEST_SHAPE), log(HIGHEST_SHAPE)
    theta = theta.copy()
    here = terms.at(theta, weight)
    for _ in range(ROUNDS):
        held = np.zeros(2 * k, dtype=bool)
        held[:k] = (theta[:k] <= low) & (here.gradient[:k] <= 0.0)
        held[:k] |= (theta[:k] >= high) & (here.gradient[:k] >= 0.0)
        move = uphill(here, free & ~held)
        size = np.concatenate([np.abs(move[:k]), np.exp(theta[:k]) * np.abs(move[k:])])
        limit = np.repeat([LARGEST_STEP, LARGEST_HAZARD_STEP], k)
        length = float(min(1.0, (limit / np.maximum(size, 1e-300)).min()))
        noise = 1e-13 * (abs(here.value) + float(weight.sum()))
        for _ in range(40):
            there_theta = theta + length * move
            there_theta[:k] = np.where(
                free[:k], np.clip(there_theta[:k], low, high), there_theta[:k]
            )
            there = terms.at(there_theta, weight)
            if there.value >= here.value - noise:
                break
            length *= 0.5
        else:
            break
        theta, here = there_theta, there
        if size.max() < SETTLED or np.abs(theta[k:]).max() > FARTHEST:
            break
    return theta, here


def uphill(here: Height, free: BoolArray) -> FloatArray:
    """Return an uphill step over the free parameters, the others staying."""
    move = np.zeros(free.size)
    rows = np.flatnonzero(free)
    if not rows.size:
        return move
    values, vectors = np.linalg.eigh(here.hessian[np.ix_(rows, rows)])
    sizes = np.maximum(np.abs(values), 1e-6 * max(float(np.abs(values).max()), 1e-300))
    move[rows] = vectors @ ((vectors.T @ here.gradient[rows]) / sizes)
    return move
