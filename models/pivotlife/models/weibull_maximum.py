"""Where the Weibull likelihood of bushing lives has its maximum, or why it has none.

Newton's method in (log shape, log scale) with exact derivatives. Three guards make it safe: a step
in a direction where the likelihood is not concave follows the curvature's size instead of its sign;
no step changes log shape by more than 1 or log H by more than 3; a step that does not raise the
likelihood is halved until it does.

The shape stays between 0.1 and 20. No maximum exists, and none is returned, when

- nothing failed (the scale would run to infinity), or nothing was ever seen good (it would run
  to nothing);
- one age lies inside the reach of every life (the fit would pile every failure on that age);
- the shape runs to 0.1 or to 20.

Without late entry the likelihood has one maximum. With late entry it need not, so small tables are
started from three shapes and the best end point is taken.

Not here: intervals around the maximum (`weibull_intervals`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, isfinite, log
from typing import Final

import numpy as np

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.lives import CheckedLives
from pivotlife.models.weibull_likelihood import LifeTerms, Likelihood, Point

LOWEST_SHAPE: Final = 0.1
HIGHEST_SHAPE: Final = 20.0
#: log H at every age on record this far from 0 or farther: the scale has run away.
RUN_AWAY: Final = 60.0
#: Largest step of log shape and of log H, and the step at which the search has settled.
LARGEST_STEP, LARGEST_HAZARD_STEP, SETTLED = 1.0, 3.0, 1e-6
#: Up to this many rows a table with late entry is started from several shapes.
SEVERAL_STARTS_ROWS: Final = 20_000
#: Tables larger than this start from the fit of every k-th life, about this many of them.
SUBSAMPLE_ROWS: Final = 20_000


@dataclass(frozen=True)
class Maximum:
    """The best (log shape, log scale) found and the likelihood's derivatives there."""

    a: float
    s: float
    point: Point

    @property
    def at_lowest_shape(self) -> bool:
        """Whether the shape ran to its lower bound."""
        return self.a <= log(LOWEST_SHAPE)

    @property
    def at_highest_shape(self) -> bool:
        """Whether the shape ran to its upper bound."""
        return self.a >= log(HIGHEST_SHAPE)


def refuse_hopeless(lives: CheckedLives) -> None:
    """Raise `NoMaximumError` when the lives cannot determine a curve.

    Raises
    ------
    NoMaximumError
        No life, no failure, nothing seen good, or one age that every life can have failed at.
    """
    if lives.n_lives == 0:
        raise NoMaximumError(
            "no life carries information: every bushing was last seen no later than its entry"
        )
    if lives.n_failures == 0:
        raise NoMaximumError(
            f"none of the {lives.n_lives} lives failed, so the records only say that bushings last"
            " longer than this; use the no-failure bound"
        )
    latest_good, earliest_bad = lives.lower.max(), lives.upper.min()
    is_exact_age = bool(np.any(lives.is_exact & (lives.upper == earliest_bad)))
    if latest_good < earliest_bad or (latest_good == earliest_bad and is_exact_age):
        raise NoMaximumError(
            f"all {lives.n_failures} failures may have happened at one age between"
            f" {latest_good:,.0f} and {earliest_bad:,.0f} miles, so nothing tells how far lives"
            " differ; it takes failures at different ages"
        )
    if not bool(np.any(lives.lower > lives.entry)):
        raise NoMaximumError(
            f"none of the {lives.n_lives} bushings was ever seen good after it was fitted or first"
            " seen, so any life, however short, explains the records; it takes good readings"
        )


def find_maximum(lives: CheckedLives, merged: CheckedLives, likelihood: Likelihood) -> Maximum:
    """Return the maximum of the likelihood of checked lives.

    Parameters
    ----------
    lives : CheckedLives
        Every life, for what a refusal says.
    merged : CheckedLives
        The same with equal lives merged, for starting values.
    likelihood : Likelihood
        Of the merged lives.

    Returns
    -------
    Maximum

    Raises
    ------
    NoMaximumError
        The lives do not determine a curve; the text says why.
    """
    refuse_hopeless(lives)
    several = merged.has_late_entry and merged.n_lives <= SEVERAL_STARTS_ROWS
    starts = [_start(merged, shape) for shape in ((1.5, 0.5, 5.0) if several else (1.5,))]
    if merged.n_lives > 2 * SUBSAMPLE_ROWS:
        starts = [_subsample_start(merged, starts[0])]
    best = max((climb(likelihood, a, s) for a, s in starts), key=lambda found: found.point.value)
    _refuse_run_away(lives, best)
    return best


def climb(likelihood: Likelihood, a: float, s: float) -> Maximum:
    """Return the maximum that Newton's method reaches from (a, s), shape kept in its bounds."""
    low, high = log(LOWEST_SHAPE), log(HIGHEST_SHAPE)
    a = min(max(a, low), high)
    here = likelihood.at(a, s)
    for _ in range(200):
        held = (a <= low and here.a <= 0.0) or (a >= high and here.a >= 0.0)
        step_a, step_s = _direction(here, held)
        hazard_step = exp(a) * abs(step_s)
        step = min(
            1.0,
            LARGEST_STEP / max(abs(step_a), 1e-300),
            LARGEST_HAZARD_STEP / max(hazard_step, 1e-300),
        )
        size = max(abs(step_a), hazard_step)
        noise = 1e-13 * (abs(here.value) + likelihood.total_weight)
        for _ in range(40):
            next_a = min(max(a + step * step_a, low), high)
            next_s = s + step * step_s
            there = likelihood.at(next_a, next_s)
            if there.value >= here.value - noise:
                break
            step *= 0.5
        else:
            break
        a, s, here = next_a, next_s, there
        if size < SETTLED or not isfinite(s) or abs(s) > 700.0:
            break
    return Maximum(a, s, here)


def _direction(point: Point, hold_shape: bool) -> tuple[float, float]:
    """Return an uphill Newton step; along a non-concave direction, its curvature's size counts."""
    if hold_shape:
        return 0.0, point.s / max(abs(point.ss), 1e-300)
    determinant = point.aa * point.ss - point.as_ * point.as_
    if point.aa < 0.0 and determinant > 1e-12 * point.aa * point.ss:
        return (
            (point.as_ * point.s - point.ss * point.a) / determinant,
            (point.as_ * point.a - point.aa * point.s) / determinant,
        )
    values, vectors = np.linalg.eigh([[point.aa, point.as_], [point.as_, point.ss]])
    sizes = np.maximum(np.abs(values), 1e-6 * max(float(np.abs(values).max()), 1e-300))
    step = vectors @ ((vectors.T @ np.array([point.a, point.s])) / sizes)
    return float(step[0]), float(step[1])


def _start(lives: CheckedLives, shape: float) -> tuple[float, float]:
    """Return log shape and the log scale that suits it, failures put mid-gap."""
    unit = float(np.median(lives.upper[lives.is_failure]))
    end = np.where(lives.is_failure, 0.5 * (lives.lower + lives.upper), lives.lower)
    exposure = ((end / unit) ** shape - (lives.entry / unit) ** shape) @ lives.weight
    failures = float(lives.weight[lives.is_failure].sum())
    return log(shape), log(unit) + log(max(float(exposure) / failures, 1e-30)) / shape


def _subsample_start(lives: CheckedLives, start: tuple[float, float]) -> tuple[float, float]:
    """Return the maximum of every k-th life, a starting point near that of all lives."""
    some = lives.take(slice(None, None, lives.n_lives // SUBSAMPLE_ROWS))
    if some.n_failures == 0:
        return start
    found = climb(LifeTerms.of(some).weighted(some.weight), *start)
    return (found.a, found.s) if isfinite(found.s) else start


def _refuse_run_away(lives: CheckedLives, found: Maximum) -> None:
    """Raise when the search ended at a bound instead of a maximum."""
    if found.at_lowest_shape or found.at_highest_shape:
        bound = LOWEST_SHAPE if found.at_lowest_shape else HIGHEST_SHAPE
        raise NoMaximumError(
            f"the shape runs to its bound {bound:g}: the {lives.n_failures} failures among"
            f" {lives.n_lives} lives do not determine a Weibull curve"
        )
    ages = np.concatenate([lives.lower, lives.upper[lives.is_failure]])
    nearest = float(np.abs(np.log(ages[ages > 0.0]) - found.s).min())
    if not isfinite(found.s) or exp(found.a) * nearest > RUN_AWAY:
        raise NoMaximumError(
            f"the scale runs away to e^{found.s:.0f} miles: the {lives.n_failures} failures among"
            f" {lives.n_lives} lives do not determine a Weibull curve"
        )
