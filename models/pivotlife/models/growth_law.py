"""The law of free-play growth for one bushing type: its parameters and what it says of a new one.

Play of a bushing at age m: ``load_factor * (a + r * (m / miles_scale) ** exponent)``, less what
fresh grease hides. ``a`` (the play it starts with) is normal over bushings, ``r`` (what it gains
by ``miles_scale`` miles) is positive with either a normal or a Weibull density:

* "normal": log r is normal;
* "weibull": the age T at which ``r T^p`` uses up the room below the limit is Weibull, so that
  log r follows the largest-extreme-value law with scale ``exponent / shape``. Whatever the limit,
  the likelihood is the same; only the Weibull scale moves.

Random-effects path model after C. J. Lu and W. Q. Meeker, "Using degradation measures to estimate
a time-to-failure distribution", Technometrics 35 (1993) 161-174 (cited from memory).
Not here: fitting (growth_fit) and what the readings of one bushing add (growth_posterior).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri, ndtri_exp

Floats = NDArray[np.float64]
Density = Literal["normal", "weibull"]

PARAMETERS = (
    "alpha_mm",
    "log_sigma_a",
    "log_sigma_e",
    "log_exponent",
    "log_rate_centre",
    "log_log_rate_spread",
    "log_load_factor",
    "grease_offset_mm",
)
_LOG_LIMIT = 12.0
_HALF_LOG_2PI = 0.5 * np.log(2.0 * np.pi)
_BISECTIONS = 80


@dataclass(frozen=True)
class GrowthLaw:
    """Parameters of the play of all bushings of one type.

    Attributes
    ----------
    density : "normal" or "weibull"
    alpha_mm, sigma_a_mm : float, mm
        Mean and standard deviation of the play of a bushing just fitted.
    sigma_e_mm : float, mm
        Gauge error: how far two readings of the same joint differ, before rounding.
    exponent : float
        1 = play grows evenly with miles; above 1 = it grows faster the older the bushing is.
    log_rate_centre, log_rate_spread : float
        Location and scale of log r, r in mm per ``miles_scale`` miles to the exponent.
    load_factor : float
        Share of the play that shows when the joint is measured under load.
    grease_offset_mm : float, mm
        What is added to a reading taken just after greasing (normally below zero).
    miles_scale : float, miles
        The age at which r is expressed.
    not_measured : float
        Share of readings for which a zero was written that nobody measured; not part of the
        vector (`growth_zeros` finds it beforehand, as it does the weights of wild readings).
    """

    density: Density
    alpha_mm: float
    sigma_a_mm: float
    sigma_e_mm: float
    exponent: float
    log_rate_centre: float
    log_rate_spread: float
    load_factor: float = 1.0
    grease_offset_mm: float = 0.0
    miles_scale: float = 100_000.0
    not_measured: float = 0.0

    def vector(self) -> Floats:
        """Return the parameters in the order of `PARAMETERS`, shape (8,)."""
        logs = np.log([self.sigma_a_mm, self.sigma_e_mm, self.exponent])
        return np.array(
            [
                self.alpha_mm,
                *logs,
                self.log_rate_centre,
                np.log(self.log_rate_spread),
                np.log(self.load_factor),
                self.grease_offset_mm,
            ]
        )

    def powered(self, miles: Floats) -> Floats:
        """Return (miles / miles_scale) ** exponent, any shape, miles >= 0."""
        return np.power(np.maximum(miles, 0.0) / self.miles_scale, self.exponent)

    def weibull_shape(self) -> float:
        """Shape of the Weibull life behind a "weibull" density, exponent / spread of log r."""
        return self.exponent / self.log_rate_spread

    def rate_quantile(self, probability: Floats) -> Floats:
        """Return quantiles of r, mm per `miles_scale` miles to the exponent."""
        score = ndtri(np.asarray(probability, dtype=float))
        rise = rise_only(score, self.density)
        return np.exp(self.log_rate_centre + self.log_rate_spread * rise)

    def chance_over(self, limit_mm: float, miles: Floats) -> Floats:
        """Chance that a bushing nobody measured is over the limit at an age.

        Parameters
        ----------
        limit_mm : float, mm
        miles : ndarray, any shape, miles of age

        Returns
        -------
        ndarray of the same shape, in [0, 1]
            E over a of P(r >= (limit - a) / m^p), by 41 Gauss-Hermite nodes in a.
        """
        nodes, weights = np.polynomial.hermite_e.hermegauss(41)
        room = limit_mm - self.alpha_mm - self.sigma_a_mm * nodes
        grown = np.maximum(self.powered(np.asarray(miles, dtype=float)), 1e-300)[..., None]
        with np.errstate(divide="ignore"):
            log_needed = np.where(room > 0, np.log(np.maximum(room, 1e-300)), -np.inf)
        height = (log_needed - np.log(grown) - self.log_rate_centre) / self.log_rate_spread
        beyond = -np.expm1(log_ndtr(score_of(height, self.density)))
        chance: Floats = (np.where(room > 0, beyond, 1.0) * weights).sum(-1) / weights.sum()
        return chance

    def crossing_miles(self, limit_mm: float, probability: float) -> float:
        """Age by which this share of bushings is over the limit, miles (bisection on log age)."""
        low, high = np.log(self.miles_scale) - 40.0, np.log(self.miles_scale) + 40.0
        for _ in range(_BISECTIONS):
            middle = 0.5 * (low + high)
            if self.chance_over(limit_mm, np.array(np.exp(middle))) < probability:
                low = middle
            else:
                high = middle
        return float(np.exp(0.5 * (low + high)))


def law_from_vector(
    vector: Floats, density: Density, miles_scale: float, not_measured: float = 0.0
) -> GrowthLaw:
    """Return the law of a parameter vector (order of `PARAMETERS`; logs held within +-12)."""
    held = np.clip(vector, -_LOG_LIMIT, _LOG_LIMIT)
    alpha, log_a, log_e, log_p, centre, log_spread, log_load, offset = (float(v) for v in held)
    return GrowthLaw(
        density=density,
        alpha_mm=alpha,
        sigma_a_mm=float(np.exp(log_a)),
        sigma_e_mm=float(np.exp(log_e)),
        exponent=float(np.exp(log_p)),
        log_rate_centre=centre,
        log_rate_spread=float(np.exp(log_spread)),
        load_factor=float(np.exp(log_load)),
        grease_offset_mm=offset,
        miles_scale=miles_scale,
        not_measured=not_measured,
    )


def rise_of(score: Floats, density: Density) -> tuple[Floats, Floats, Floats]:
    """Turn a standard normal score into standardised log r, with two derivatives.

    For "normal" the score itself; for "weibull" ``-log(-log Phi(score))``. Written over the score,
    both densities of log r become the standard normal one.
    """
    if density == "normal":
        return score, np.ones_like(score), np.zeros_like(score)
    log_below = log_ndtr(score)
    ratio = np.exp(-0.5 * score * score - _HALF_LOG_2PI - log_below)
    slope = ratio / -log_below
    bend = slope * (slope - score - ratio)
    return -np.log(-log_below), slope, bend


def rise_only(score: Floats, density: Density) -> Floats:
    """Return the first result of `rise_of` alone (cheaper)."""
    return score if density == "normal" else -np.log(-log_ndtr(score))


def score_of(rise: Floats, density: Density) -> Floats:
    """Turn standardised log r back into a standard normal score (inverse of `rise_of`)."""
    if density == "normal":
        return rise
    with np.errstate(over="ignore"):
        score: Floats = ndtri_exp(-np.exp(-rise))
    return score


def law_scores(rise: Floats, density: Density, spread: float) -> tuple[Floats, Floats]:
    """Return d log f(log r) by location and by log scale, at standardised log r."""
    if density == "normal":
        return rise / spread, rise * rise - 1.0
    pull = -np.expm1(-rise)
    return pull / spread, rise * pull - 1.0
