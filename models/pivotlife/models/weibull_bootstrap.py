"""Unit bootstrap of a Weibull fit: the fit repeated on trucks drawn with replacement.

Pivots of one truck share driver, road and grease gun, so their lives are alike and a thousand lives
of twenty trucks tell less than a thousand trucks would. Drawing whole units keeps that likeness
(Efron & Tibshirani, An Introduction to the Bootstrap, 1993, from memory). A draw only changes the
weights of the lives, and starts from the curve of all lives: a few Newton steps settle it.

Percentiles of few units are too narrow: they miss the factor n / (n - 1) and the t distribution.
The levels are therefore widened as for a mean of n units (Hesterberg, The American Statistician 69
(2015), the expanded percentile interval, from memory), n being the units on which anything failed.

A draw without failures has an infinite scale and no shape. A draw whose shape runs to 0.1 or 20 is
kept at that bound and counted in ``n_without_maximum``.

Not here: which interval a page shows (`type_table`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf

import numpy as np
from scipy.special import gammaln
from scipy.stats import norm, t

from pivotlife.models.arrays import FloatArray
from pivotlife.models.lives import CheckedLives
from pivotlife.models.weibull_likelihood import LifeTerms
from pivotlife.models.weibull_maximum import RUN_AWAY, climb
from pivotlife.models.weibull_quantities import Interval, Path


@dataclass(frozen=True, eq=False)
class BootstrapCurves:
    """Curves of the draws.

    Attributes
    ----------
    log_shape, log_scale : ndarray, shape (n_draws,)
        NaN and infinity in draws without failures.
    n_without_maximum : int
        Draws that determine no curve.
    n_failing_units : int
        Units with a failure in the records themselves.
    """

    log_shape: FloatArray
    log_scale: FloatArray
    n_without_maximum: int
    n_failing_units: int

    def mean(self) -> FloatArray:
        """Return the mean life of each draw in miles."""
        log_mean = self.log_scale + gammaln(1.0 + np.exp(-np.nan_to_num(self.log_shape)))
        return np.exp(np.minimum(log_mean, 700.0))


def bootstrap_curves(
    lives: CheckedLives, a: float, s: float, draws: int, seed: int
) -> BootstrapCurves:
    """Fit ``draws`` samples of as many units as there are, starting from (a, s).

    Raises
    ------
    ValueError
        Fewer than two draws.
    """
    if draws < 2:
        raise ValueError(f"a bootstrap takes at least 2 draws, not {draws}")
    random = np.random.default_rng(seed)
    terms = LifeTerms.of(lives)
    chance = np.full(lives.n_units, 1.0 / lives.n_units)
    log_shape, log_scale = np.full(draws, np.nan), np.full(draws, inf)
    lost = 0
    for draw in range(draws):
        weight = lives.weight * random.multinomial(lives.n_units, chance)[lives.unit]
        if not np.any(weight[lives.is_failure] > 0.0):
            lost += 1
            continue
        found = climb(terms.weighted(weight), a, s)
        log_shape[draw], log_scale[draw] = found.a, found.s
        is_lost = found.at_lowest_shape or found.at_highest_shape
        lost += is_lost or exp(found.a) * abs(found.s - s) > RUN_AWAY
    failing = np.unique(lives.unit[lives.is_failure]).size
    return BootstrapCurves(log_shape, log_scale, lost, failing)


def expanded_tail(level: float, n_units: int) -> float:
    """Return the share of draws to leave out at each end, smaller the fewer the units.

    Parameters
    ----------
    level : float
        Confidence of the interval.
    n_units : int
        Units that carry the information; with one unit the plain percentile is kept.
    """
    if n_units < 2:
        return (1.0 - level) / 2.0
    wide = np.sqrt(n_units / (n_units - 1.0)) * t.ppf(0.5 + level / 2.0, n_units - 1)
    return float(norm.sf(wide))


def percentile_interval(curves: BootstrapCurves, path: Path, level: float) -> Interval:
    """Return the percentiles of a quantity over the draws."""
    pairs = zip(curves.log_shape.tolist(), curves.log_scale.tolist(), strict=True)
    is_shape = path.slope(0.0, 0.0) == (1.0, 0.0)
    values = []
    for a, s in pairs:
        if np.isnan(a):
            if not is_shape:
                values.append(-inf if path.is_survival else inf)
            continue
        values.append(path.start(a, s)[0])
    if not values:
        return path.interval(None, None)
    tail = expanded_tail(level, curves.n_failing_units)
    low, high = _percentile(values, tail), _percentile(values, 1.0 - tail)
    return path.interval(low if low > path.lowest else None, high if high < path.highest else None)


def _percentile(values: list[float], share: float) -> float:
    """Return a percentile; between a finite and an infinite value, the outer one."""
    if np.all(np.isfinite(values)):
        return float(np.quantile(values, share))
    return float(np.quantile(values, share, method="higher" if share > 0.5 else "lower"))
