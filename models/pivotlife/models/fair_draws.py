"""Estimates of a fair comparison and the same on units drawn again.

A draw takes as many units as there are, with replacement, and repeats everything that the
comparison rests on: the adjusted model, the chances behind the overlap weights, and the curves; of
the sets of ages that removed bushings may have reached it takes one at random. Each fit starts from
the one on all units, so that a few Newton steps settle it.

A model with p parameters fitted to G units with failures leaves less spread between draws than
there is between fleets. Draws are therefore stretched about the estimate by sqrt(G / (G - p)) times
the ratio of Student's to the normal quantile, as one divides a residual variance by G - p instead
of G; the limits are their percentiles.

Not here: the tables (`fair_comparison`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.stats import norm
from scipy.stats import t as student

from pivotlife.models.accelerated_maximum import SETTLED, Summit, climb
from pivotlife.models.adjusted import starting_point
from pivotlife.models.arrays import FloatArray
from pivotlife.models.errors import NoMaximumError
from pivotlife.models.fair_estimates import Curves, Standard, Together
from pivotlife.models.fair_lives import FairLives, likelihood_of
from pivotlife.models.overlap import Overlap
from pivotlife.models.removal_ages import IMPUTATIONS

METHODS: Final = ("pooled", "adjusted", "weighted")
#: Gain in log-likelihood at which a draw's fit has settled.
DRAW_TOLERANCE: Final = 1e-6
#: Parameters of two Weibull curves.
_TWO_CURVES: Final = 4
#: A limit rests on at least this share of the draws, else it is open.
FEWEST_DRAWS: Final = 0.8


@dataclass(frozen=True, eq=False)
class Estimates:
    """What one sample of units says.

    Attributes
    ----------
    log_ages : dict of method to ndarray, shape (pairs, duties, shares, 2)
        Log miles; numerator, then denominator.
    outlast : ndarray, shape (pairs, duties, 3)
    theta : ndarray, shape (n_parameters,)
        Of the adjusted model.
    """

    log_ages: dict[str, FloatArray]
    outlast: FloatArray
    theta: FloatArray

    def log_ratio(self, method: str) -> FloatArray:
        """Return log ratios of ages, shape (pairs, duties, shares)."""
        ages = self.log_ages[method]
        return ages[..., 0] - ages[..., 1]


@dataclass(frozen=True, eq=False)
class Study:
    """The estimates on all units and on each draw."""

    lives: FairLives
    overlap: list[FloatArray]
    summit: Summit
    estimates: Estimates
    draws: tuple[Estimates, ...]

    def stretch(self, method: str) -> float:
        """Return the factor that widens the spread of draws, see above."""
        units = np.unique(self.lives.unit[self.lives.failed]).size
        used = self.summit.theta.size if method == "adjusted" else _TWO_CURVES
        left = max(units - used, 2)
        wider = student.ppf(0.975, left) / norm.ppf(0.975)
        return float(wider * np.sqrt((left + used) / left))


def study(lives: FairLives, draws: int = 200, seed: int = 0) -> Study:
    """Estimate a comparison and repeat it on units drawn again.

    Parameters
    ----------
    lives : FairLives
    draws, seed : int
        Of the unit bootstrap.

    Returns
    -------
    Study

    Raises
    ------
    NoMaximumError
        The lives do not determine the adjusted model.
    """
    sampler = _Sampler(lives)
    ones = np.ones(len(lives.kind))
    start = starting_point(lives.rows, sampler.likelihood)
    k = len(lives.kinds)
    start[k : 2 * k] = start[k]  # one intercept for each type
    estimates, summit, overlap = sampler.estimate(ones, lives.rows.weight, start, SETTLED)
    if not summit.settled:
        raise NoMaximumError("the failures do not determine the adjusted comparison of types")
    random = np.random.default_rng(seed)
    found = []
    for _ in range(draws):
        times, weight = _draw(lives, random)
        found.append(sampler.estimate(times, weight, summit.theta, DRAW_TOLERANCE)[0])
    return Study(lives, overlap, summit, estimates, tuple(found))


def limits(
    estimate: float, draws: FloatArray, stretch: float, level: float = 0.95
) -> tuple[float, float, float]:
    """Return the stretched percentile limits of a log quantity and its p-value against 0.

    Parameters
    ----------
    estimate : float
    draws : ndarray, shape (n_draws,)
        NaN where a draw determines nothing.
    stretch : float
        From `Study.stretch`.
    level : float

    Returns
    -------
    float, float, float
        Lower and upper limit, and the normal p-value with the standard error that the width of the
        interval stands for (the share of draws beyond 0 would be coarse where pairs are corrected
        for one another). Infinite limits and p = 1 where too few draws determine it.
    """
    known = draws[np.isfinite(draws)]
    if not np.isfinite(estimate) or known.size < max(FEWEST_DRAWS * draws.size, 2):
        return -np.inf, np.inf, 1.0
    wide = estimate + stretch * (known - estimate)
    low, high = np.quantile(wide, [0.5 - level / 2.0, 0.5 + level / 2.0])
    error = float(high - low) / (2.0 * float(norm.ppf(0.5 + level / 2.0)))
    p = 2.0 * float(norm.sf(abs(estimate) / error)) if error > 0.0 else float(estimate == 0.0)
    return float(low), float(high), p


def _draw(lives: FairLives, random: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Draw units; return how often each life counts and the weight of each row."""
    chance = np.full(lives.n_units, 1.0 / lives.n_units)
    times = random.multinomial(lives.n_units, chance)[lives.unit].astype(np.float64)
    pick = int(random.integers(0, IMPUTATIONS))
    weight = lives.rows.weight * times[lives.life]
    is_pick = IMPUTATIONS * (lives.part == pick)
    return times, np.where(lives.part >= 0, weight * is_pick, weight)


class _Sampler:
    """Everything that can be prepared once for all draws."""

    def __init__(self, lives: FairLives) -> None:
        self.lives = lives
        self.likelihood = likelihood_of(lives)
        self.standard = Standard(lives)
        self.overlap = Overlap(lives)
        pairs = range(len(lives.pairs))
        every = np.ones(len(lives.kind), dtype=bool)
        # Unadjusted curves take removals as not failed, as the table by type does.
        self.pooled = Curves(
            lives, lives.whole, np.arange(len(lives.kind)), [every], [0 for _ in pairs]
        )
        eligible = [lives.eligible(pair) for pair in lives.pairs]
        self.weighted = Curves(lives, lives.rows, lives.life, eligible, list(pairs))
        self.together = [Together(lives, pair) for pair in lives.pairs]

    def estimate(
        self, times: FloatArray, row_weight: FloatArray, start: FloatArray, tolerance: float
    ) -> tuple[Estimates, Summit, list[FloatArray]]:
        """Estimate with each life counted ``times`` times, rows with weights of their own."""
        top = climb(self.likelihood, row_weight, start, tolerance)
        overlap = self.overlap.weights(times)
        of_rows = [weight[self.lives.life] * row_weight for weight in overlap]
        weighted = self.weighted.log_ages(of_rows)
        for pair, together in enumerate(self.together):
            weighted[pair, 0] = together.log_ages(of_rows[pair], tolerance)
        ages = {
            "pooled": self.pooled.log_ages([times * self.lives.whole.weight]),
            "adjusted": self.standard.log_ages(top.theta),
            "weighted": weighted,
        }
        return Estimates(ages, self.standard.outlast(top.theta), top.theta), top, overlap
