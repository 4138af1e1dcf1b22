"""Survival of a whole population when each of its members has a Weibull law of its own.

Standardising: every pivot of the fleet is given, in thought, the same bushing type, with its own
duty, salt, node and care; the curve of the type is the mean of those pivots' curves,

    S(m) = mean over i of exp(-(m / e^{s_i})^shape).

Two types compared on it differ by what they are, not by where they serve (direct standardisation;
Hernan & Robins, Causal Inference: What If, 2020, chapter 13, from memory).

Not here: where the laws come from (`adjusted`).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pivotlife.models.arrays import FloatArray

#: Ages per curve for the chance that one type outlasts another.
GRID = 81
_STEPS = 60


class Outlast(NamedTuple):
    """Chances up to an age: the first lasts longer, the second does, both are still good."""

    first: float
    second: float
    undecided: float


def log_age(shape: float, log_scale: FloatArray, share: float) -> float:
    """Return the log of the age in miles by which a share of the population has failed.

    Parameters
    ----------
    shape : float
    log_scale : ndarray, shape (n,)
        Of each member, log miles.
    share : float
        0.1 for B10.
    """
    target = np.log(-np.log1p(-share))
    # The population reaches the share no sooner than its shortest-lived member would alone.
    low, high = (target / shape + float(end) for end in (log_scale.min(), log_scale.max()))
    x = target / shape + float(log_scale.mean())
    for _ in range(_STEPS):
        hazard = np.exp(np.minimum(shape * (x - log_scale), 100.0))
        alive = np.exp(-hazard)
        mean = max(float(alive.mean()), 1e-300)
        total = -np.log(mean)
        slope = shape * float((alive * hazard).mean()) / max(mean * total, 1e-300)
        missing = float(target - np.log(max(total, 1e-300)))
        low, high = (x, high) if missing > 0.0 else (low, x)
        # log(-log S) of a mixture mostly bends little: Newton's step, or half of what is left.
        new = x + missing / max(slope, 1e-300)
        new = new if low <= new <= high else 0.5 * (low + high)
        step, x = new - x, new
        if abs(step) < 1e-9:
            break
    return float(x)


def survival(shape: float, log_scale: FloatArray, miles: FloatArray) -> FloatArray:
    """Return the share of the population still good at each age, shape (n_ages,)."""
    with np.errstate(divide="ignore"):
        log_miles = np.log(miles)
    hazard = np.exp(np.minimum(shape * (log_miles[:, None] - log_scale[None, :]), 100.0))
    return np.asarray(np.exp(-hazard).mean(axis=1))


def outlast(first: FloatArray, second: FloatArray) -> Outlast:
    """Return who lasts longer, of two curves on the same ages from 0 on.

    Parameters
    ----------
    first, second : ndarray, shape (n_ages,)
        Survival; the last age is where looking stops.
    """
    middle = 0.5 * (first[1:] + first[:-1])
    wins = float(middle @ -np.diff(second))
    undecided = float(first[-1] * second[-1])
    return Outlast(wins, max(1.0 - wins - undecided, 0.0), undecided)
