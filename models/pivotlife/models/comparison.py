"""Likelihood-ratio tests whether groups of bushings wear alike and whether they last alike.

Three nested models of k groups: a curve for each; one shape and a scale for each; one curve for
all. Twice the difference of their log-likelihoods is compared with chi-square:

- ``equal_shape``:  separate curves against one shape, k - 1 degrees of freedom;
- ``equal_curves``: separate curves against one curve, 2 (k - 1) degrees of freedom

(Lawless, Statistical Models and Methods for Lifetime Data, 2003, chapter 5, from memory). The tests
take lives as independent: where pivots of one truck are alike, their p-values are too small.

Not here: how large a difference is; ratios of life adjusted for duty, salt and care.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log

import pandas as pd
from scipy.optimize import brentq
from scipy.stats import chi2

from pivotlife.models.errors import LivesError, NoMaximumError
from pivotlife.models.lives import check_lives
from pivotlife.models.weibull import WeibullFit, fit_weibull
from pivotlife.models.weibull_likelihood import Likelihood


@dataclass(frozen=True)
class RatioTest:
    """Outcome of one likelihood-ratio test.

    Attributes
    ----------
    statistic : float
        Twice the gain in log-likelihood; 0 when the simpler model fits as well.
    degrees_of_freedom : int
    p_value : float
        How often groups that are equal would differ as much by chance.
    """

    statistic: float
    degrees_of_freedom: int
    p_value: float


@dataclass(frozen=True)
class LikelihoodRatio:
    """Tests of equal shape and of equal curves between groups.

    Attributes
    ----------
    equal_shape, equal_curves : RatioTest
    common_shape : float
        The one shape that suits all groups best.
    groups : tuple of str
        The groups' names, sorted.
    """

    equal_shape: RatioTest
    equal_curves: RatioTest
    common_shape: float
    groups: tuple[str, ...]


def likelihood_ratio(lives: pd.DataFrame, by: str | Sequence[str]) -> LikelihoodRatio:
    """Test whether groups of lives share a shape, and whether they share a curve.

    Parameters
    ----------
    lives : DataFrame, one row per life
        As `check_lives` takes them, and the columns of ``by``.
    by : str or sequence of str
        Column or columns that tell the groups apart, such as ``bushing_type``.

    Returns
    -------
    LikelihoodRatio

    Raises
    ------
    LivesError
        Lives contradict themselves, or there are fewer than two groups.
    NoMaximumError
        A group determines no curve; the text names it.
    """
    columns = [by] if isinstance(by, str) else list(by)
    absent = [name for name in columns if name not in lives.columns]
    if absent:
        raise LivesError(f"the lives lack the column {', '.join(absent)} to tell groups apart")
    fits: dict[str, WeibullFit] = {}
    for key, group in lives.groupby(columns, sort=True, observed=True):
        name = " ".join(str(part) for part in key)
        try:
            fits[name] = fit_weibull(group)
        except NoMaximumError as error:
            raise NoMaximumError(f"group {name} cannot be compared: {error}") from error
    if len(fits) < 2:
        raise LivesError(f"a comparison takes two groups or more; {', '.join(columns)} has 1")
    separate = sum(fit.log_likelihood for fit in fits.values())
    together = fit_weibull(check_lives(lives)).log_likelihood
    common, shape = _common_shape(list(fits.values()))
    k = len(fits)
    return LikelihoodRatio(
        _test(separate - common, k - 1),
        _test(separate - together, 2 * (k - 1)),
        shape,
        tuple(fits),
    )


def _test(gain: float, degrees: int) -> RatioTest:
    """Return the test of a gain in log-likelihood."""
    statistic = max(2.0 * gain, 0.0)
    return RatioTest(statistic, degrees, float(chi2.sf(statistic, degrees)))


def _common_shape(fits: Sequence[WeibullFit]) -> tuple[float, float]:
    """Return the best log-likelihood under one shape with a scale for each group, and the shape."""
    scales = [log(fit.scale) for fit in fits]

    def slope(a: float) -> float:
        total = 0.0
        for number, fit in enumerate(fits):
            scales[number] = _best_scale(fit.likelihood, a, scales[number])
            total += fit.likelihood.at(a, scales[number]).a
        return total

    shapes = [log(fit.shape) for fit in fits]
    low, high = min(shapes), max(shapes)
    a = float(brentq(slope, low, high, xtol=1e-12)) if slope(low) > 0.0 > slope(high) else low
    slope(a)
    value = sum(fit.likelihood.at(a, s).value for fit, s in zip(fits, scales, strict=True))
    return value, exp(a)


def _best_scale(likelihood: Likelihood, a: float, s: float) -> float:
    """Return the best log scale for log shape ``a``, by Newton's method halved uphill."""
    here = likelihood.at(a, s)
    for _ in range(100):
        move = here.s / max(abs(here.ss), 1e-300)
        move = min(max(move, -1.0), 1.0)
        while abs(move) > 1e-12:
            there = likelihood.at(a, s + move)
            if there.value >= here.value - 1e-12 * (abs(here.value) + 1.0):
                break
            move *= 0.5
        else:
            break
        s, here = s + move, there
    return s
