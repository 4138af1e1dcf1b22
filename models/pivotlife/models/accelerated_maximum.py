"""Where the likelihood of an accelerated-failure-time model has its maximum.

Newton's method with exact second derivatives, on covariates measured in their own spread. The same
guards as for a single curve make it safe: in a direction where the likelihood is not concave the
step follows the curvature's size; no step changes a log shape by more than 1 or the log of a
cumulative hazard by more than 3; a step that does not raise the likelihood is halved.

Shapes stay between 0.1 and 20. A coefficient that runs away (a group in which nothing failed, say)
ends the search where the likelihood no longer rises, and ``settled`` says so.

Not here: what to say when there is no maximum (`adjusted`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np

from pivotlife.models.accelerated_likelihood import AcceleratedLikelihood, Slopes
from pivotlife.models.arrays import BoolArray, FloatArray
from pivotlife.models.weibull_maximum import (
    HIGHEST_SHAPE,
    LARGEST_HAZARD_STEP,
    LARGEST_STEP,
    LOWEST_SHAPE,
)

MOST_STEPS = 100
#: A search has settled when its next step promises a gain in log-likelihood this small.
SETTLED = 1e-13
#: Curvature below this share of the largest one counts as none.
FLAT = 1e-10
#: Information on a coefficient below this share of what its column holds counts as none.
NOTHING = 1e-9


@dataclass(frozen=True, eq=False)
class Summit:
    """Where a search ended.

    Attributes
    ----------
    theta : ndarray, shape (n_parameters,)
    slopes : Slopes
        Log-likelihood and derivatives there.
    settled : bool
        False when a parameter runs away or a shape ends at a bound.
    """

    theta: FloatArray
    slopes: Slopes
    settled: bool


def climb(
    likelihood: AcceleratedLikelihood,
    weight: FloatArray,
    start: FloatArray,
    tolerance: float = SETTLED,
) -> Summit:
    """Return the maximum that Newton's method reaches from a starting point.

    Parameters
    ----------
    likelihood : AcceleratedLikelihood
    weight : ndarray, shape (n_lives,)
        How many times each life counts.
    start : ndarray, shape (n_parameters,)
    tolerance : float
        Gain in log-likelihood that is not worth another step.
    """
    theta, here = _bounded(likelihood, start), likelihood.at(start, weight)
    total = float(weight.sum())
    for _ in range(MOST_STEPS):
        direction, is_flat = _direction(likelihood, theta, here)
        gain = 0.5 * float(here.gradient @ direction)
        move = direction * _shortened(likelihood, theta, direction)
        noise = 1e-13 * (abs(here.value) + total)
        for _ in range(40):
            there = _bounded(likelihood, theta + move)
            if likelihood.value(there, weight) >= here.value - noise:
                break
            move = 0.5 * move
        else:
            there = theta
        stays = bool(np.array_equal(there, theta))
        theta, here = there, here if stays else likelihood.at(there, weight)
        if stays or gain < tolerance:
            stands = not (is_flat or _at_bound(likelihood, theta))
            return Summit(theta, here, stands and not _says_nothing(likelihood, weight, here))
    return Summit(theta, here, settled=False)


def flattest(summit: Summit) -> int:
    """Return the parameter that moves most along the direction of least curvature."""
    information = -summit.slopes.hessian
    spread = np.sqrt(np.maximum(np.abs(np.diag(information)), 1e-300))
    _, vectors = np.linalg.eigh(information / np.outer(spread, spread))
    return int(np.argmax(np.abs(vectors[:, 0] / spread)))


def _direction(
    likelihood: AcceleratedLikelihood, theta: FloatArray, here: Slopes
) -> tuple[FloatArray, bool]:
    """Return Newton's step, uphill in every direction, and whether one direction is flat."""
    free = ~_held(likelihood, theta, here)
    step = np.zeros(theta.size)
    information = -here.hessian[np.ix_(free, free)]
    spread = np.sqrt(np.maximum(np.abs(np.diag(information)), 1e-300))
    scaled = information / np.outer(spread, spread)
    values, vectors = np.linalg.eigh(scaled)
    size = np.abs(values)
    floor = FLAT * max(float(size.max(initial=0.0)), 1.0)
    rise = vectors.T @ (here.gradient[free] / spread)
    step[free] = (vectors @ (rise / np.maximum(size, floor))) / spread
    return step, bool(np.any(values <= floor))


def _held(likelihood: AcceleratedLikelihood, theta: FloatArray, here: Slopes) -> BoolArray:
    """Say which log shapes stand at a bound and push outward."""
    held = np.zeros(theta.size, dtype=bool)
    k = likelihood.n_shapes
    low = (theta[:k] <= log(LOWEST_SHAPE)) & (here.gradient[:k] <= 0.0)
    high = (theta[:k] >= log(HIGHEST_SHAPE)) & (here.gradient[:k] >= 0.0)
    held[:k] = low | high
    return held


def _bounded(likelihood: AcceleratedLikelihood, theta: FloatArray) -> FloatArray:
    """Return the parameters with log shapes inside their bounds."""
    k = likelihood.n_shapes
    shapes = np.clip(theta[:k], log(LOWEST_SHAPE), log(HIGHEST_SHAPE))
    return np.concatenate([shapes, theta[k:]])


def _says_nothing(likelihood: AcceleratedLikelihood, weight: FloatArray, here: Slopes) -> bool:
    """Say whether a coefficient of the scale has run to where no life depends on it."""
    information = -np.diag(here.hessian)[likelihood.n_shapes :]
    holds = weight @ likelihood.scale_design**2
    return bool(np.any(information <= NOTHING * holds))


def _at_bound(likelihood: AcceleratedLikelihood, theta: FloatArray) -> bool:
    """Say whether a shape ended at a bound."""
    shapes = theta[: likelihood.n_shapes]
    return bool(np.any((shapes <= log(LOWEST_SHAPE)) | (shapes >= log(HIGHEST_SHAPE))))


def _shortened(
    likelihood: AcceleratedLikelihood, theta: FloatArray, direction: FloatArray
) -> float:
    """Return the share of a step that keeps log shapes and log hazards in bounds."""
    k = likelihood.n_shapes
    shape = np.exp(likelihood.shape_design @ theta[:k])
    shape_step = float(np.abs(direction[:k]).max(initial=0.0))
    hazard_step = float(np.abs(shape * (likelihood.scale_design @ direction[k:])).max(initial=0.0))
    return min(
        1.0,
        LARGEST_STEP / max(shape_step, 1e-300),
        LARGEST_HAZARD_STEP / max(hazard_step, 1e-300),
    )
