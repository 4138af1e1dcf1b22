"""Weibull survival of bushings: S(m) = exp(-(m / scale)^shape), m in miles since fitting.

The scale is the age by which 63.2 % have failed. A shape above 1 says that bushings wear out (the
older, the likelier to fail in the next mile), 1 that age does not matter, below 1 that the young
ones fail.

`fit_weibull` takes exact, interval, left- and right-censored lives, late entry and weights
together, and maximises their likelihood (`weibull_likelihood`, `weibull_maximum`). Where the lives
determine no curve it raises instead of returning a number. Intervals: profile likelihood, Wald,
sandwich clustered by unit, unit bootstrap (`weibull_intervals`, `weibull_bootstrap`).

Not here: what to say when nothing failed (`no_failures`); comparing types (`comparison`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import exp, lgamma, log
from typing import Literal, overload

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.models.arrays import FloatArray
from pivotlife.models.collapse import collapse
from pivotlife.models.lives import CheckedLives, check_lives
from pivotlife.models.weibull_bootstrap import (
    BootstrapCurves,
    bootstrap_curves,
    percentile_interval,
)
from pivotlife.models.weibull_intervals import (
    delta_interval,
    model_covariance,
    profile_interval,
    sandwich_covariance,
)
from pivotlife.models.weibull_likelihood import LifeTerms, Likelihood
from pivotlife.models.weibull_maximum import find_maximum
from pivotlife.models.weibull_quantities import Interval, Quantity, quantity_path

__all__ = ["Interval", "WeibullFit", "fit_weibull"]

Method = Literal["profile", "wald", "sandwich", "bootstrap"]


@dataclass(frozen=True, eq=False)
class WeibullFit:
    """A Weibull curve fitted to lives.

    Attributes
    ----------
    shape : float
        Above 1: bushings wear out; the larger, the more alike their lives.
    scale : float, miles
        The age by which 63.2 % have failed.
    log_likelihood : float
        Its maximum; ages in miles, so densities are per mile.
    covariance : ndarray, shape (2, 2)
        Of (log shape, log scale), the inverse of the observed information.
    n_lives, n_failures, n_units : int
        Lives in the fit, failures among them, units (trucks or trailers) they rode on.
    """

    shape: float
    scale: float
    log_likelihood: float
    covariance: FloatArray
    n_lives: int
    n_failures: int
    n_units: int
    lives: CheckedLives = field(repr=False)
    likelihood: Likelihood = field(repr=False)

    @overload
    def survival(self, miles: float) -> float: ...
    @overload
    def survival(self, miles: npt.ArrayLike) -> FloatArray: ...
    def survival(self, miles: npt.ArrayLike) -> float | FloatArray:
        """Return the chance that a bushing lasts longer than ``miles`` (1 before fitting)."""
        ratio = np.maximum(np.asarray(miles, dtype=float), 0.0) / self.scale
        log_ratio = np.log(ratio, out=np.full(ratio.shape, -np.inf), where=ratio > 0.0)
        hazard = np.exp(np.minimum(self.shape * log_ratio, 700.0))
        result: FloatArray = np.exp(-hazard)
        return result[()]

    @overload
    def quantile(self, p: float) -> float: ...
    @overload
    def quantile(self, p: npt.ArrayLike) -> FloatArray: ...
    def quantile(self, p: npt.ArrayLike) -> float | FloatArray:
        """Return the age in miles by which the share ``p`` has failed; B10 is ``quantile(0.1)``.

        Raises
        ------
        ValueError
            A share outside 0 to 1.
        """
        share = np.asarray(p, dtype=float)
        if not np.all((share >= 0.0) & (share < 1.0)):
            raise ValueError(f"a share of failed bushings lies between 0 and 1, not {p!r}")
        result: FloatArray = self.scale * (-np.log1p(-share)) ** (1.0 / self.shape)
        return result[()]

    def mean(self) -> float:
        """Return the mean life in miles, scale x Gamma(1 + 1 / shape)."""
        return exp(log(self.scale) + lgamma(1.0 + 1.0 / self.shape))

    def interval(
        self,
        quantity: Quantity,
        level: float = 0.95,
        method: Method = "profile",
        *,
        draws: int = 200,
        seed: int = 0,
    ) -> Interval:
        """Return the limits between which a quantity lies with the confidence ``level``.

        Parameters
        ----------
        quantity : "shape", "scale", "mean", ("quantile", p) or ("survival", miles)
        level : float
            0.95: the limits hold the true value in 95 of 100 such studies.
        method : "profile", "wald", "sandwich" or "bootstrap"
            profile: all values the records do not contradict. wald: symmetric on the log scale.
            sandwich: as wald, but lives of one unit may be alike. bootstrap: the fit repeated on
            units drawn with replacement.
        draws, seed : int
            Of the bootstrap.

        Returns
        -------
        Interval
            ``lower, upper, lower_open, upper_open``. Open: the records set no limit on that side
            (then 0 or infinity; 0 or 1 for a survival).

        Raises
        ------
        ValueError
            An unknown quantity or method, or a level outside 0 to 1.
        """
        if not 0.0 < level < 1.0:
            raise ValueError(f"a confidence level lies between 0 and 1, not {level}")
        a, s = log(self.shape), log(self.scale)
        path = quantity_path(quantity)
        if method == "profile":
            return profile_interval(self.likelihood, path, a, s, level)
        if method == "wald":
            return delta_interval(path, a, s, self.covariance, level)
        if method == "sandwich":
            return delta_interval(path, a, s, self.sandwich(), level)
        if method == "bootstrap":
            return percentile_interval(self.bootstrap(draws=draws, seed=seed), path, level)
        raise ValueError(f"no method {method!r}; choose profile, wald, sandwich or bootstrap")

    def sandwich(self) -> FloatArray:
        """Return the covariance of (log shape, log scale) that lets lives of a unit be alike."""
        return sandwich_covariance(self.lives, log(self.shape), log(self.scale), self.covariance)

    def bootstrap(self, *, draws: int = 200, seed: int = 0) -> BootstrapCurves:
        """Return the curves of ``draws`` samples of units, drawn with replacement."""
        return bootstrap_curves(self.lives, log(self.shape), log(self.scale), draws, seed)


def fit_weibull(lives: pd.DataFrame | CheckedLives) -> WeibullFit:
    """Fit a Weibull curve by maximum likelihood.

    Parameters
    ----------
    lives : DataFrame, one row per life
        ``lower_miles``, ``upper_miles``; optional ``entry_miles``, ``weight``, ``unit_id``, as
        `check_lives` takes them.

    Returns
    -------
    WeibullFit

    Raises
    ------
    LivesError
        Lives contradict themselves.
    NoMaximumError
        The lives determine no curve; the text says why.
    """
    checked = lives if isinstance(lives, CheckedLives) else check_lives(lives)
    merged = collapse(checked)
    likelihood = LifeTerms.of(merged).weighted(merged.weight)
    found = find_maximum(checked, merged, likelihood)
    return WeibullFit(
        shape=exp(found.a),
        scale=exp(found.s),
        log_likelihood=found.point.value,
        covariance=model_covariance(found.point),
        n_lives=checked.n_lives,
        n_failures=checked.n_failures,
        n_units=checked.n_units,
        lives=checked,
        likelihood=likelihood,
    )
