"""Fit of a growth law by maximum marginal likelihood, the load factor held by a weak prior.

A rough law comes from medians, then from a small random share of the lives, which also finds the
wild readings; the full search starts there. Its covariance is the inverse of the observed
information (central differences of the exact gradient).
Not here: the estimator around it (growth) and the choice between densities (growth_choice).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import ndtri

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.growth_law import (
    PARAMETERS,
    Density,
    GrowthLaw,
    law_from_vector,
)
from pivotlife.models.growth_likelihood import NODES, log_likelihood
from pivotlife.models.growth_readings import GrowthReadings

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
_HIGH, _LOW_EXPONENT, _HIGH_EXPONENT = 8.0, 0.1, 12.0
_WORST = 1e300
# A load on the joint that hides nine tenths of the play is a search that has run away.
_LEAST_LOG_LOAD = float(np.log(0.1))
#: Standard deviation of log load factors about 0 before any reading: a loaded joint shows 37 % of
#: its play or more (two deviations; common practice, no source). Ten readings outweigh it.
LOAD_SPREAD = 0.5
_LOAD = PARAMETERS.index("log_load_factor")
# Gradient left at the maximum, in log-likelihood per standard error.
_ENOUGH = 0.05
_BLIND_STEP, _DIFFERENCE = 1e-2, 1e-4
# Information on a log spread below which it is not told from zero (standard error above 1/2).
_VAGUE = 4.0
# Twice the log-likelihood still to be gained, by a Newton step, from which the fit is doubted.
_SHORT = 0.1
_UNTOLD = {
    "log_sigma_a": "No spread of the starting play can be told from the gauge error.",
    "log_log_rate_spread": "The bushings show no difference in growth.",
    "log_sigma_e": "The readings follow the curve without any gauge error to be told.",
}


@dataclass(frozen=True)
class LawFit:
    """A fitted law.

    Attributes
    ----------
    law : GrowthLaw
    log_likelihood : float
        Of the lives fitted, density per mm.
    covariance : ndarray, shape (8, 8)
        Of the vector `PARAMETERS`; rows of parameters that were not fitted are zero.
    fitted : ndarray of bool, shape (8,)
    warnings : tuple of str
    """

    law: GrowthLaw
    log_likelihood: float
    covariance: Floats
    fitted: Mask
    warnings: tuple[str, ...] = ()

    @property
    def aic(self) -> float:
        """Akaike's criterion, 2 parameters - 2 log-likelihood; lower is better."""
        return 2.0 * int(self.fitted.sum()) - 2.0 * self.log_likelihood

    def interval(self, name: str, level: float = 0.95) -> tuple[float, float]:
        """Wald interval of one entry of `PARAMETERS`, on its own (log) scale."""
        at = PARAMETERS.index(name)
        reach = float(ndtri(0.5 + 0.5 * level) * np.sqrt(self.covariance[at, at]))
        value = float(self.law.vector()[at])
        return value - reach, value + reach


def climb(
    data: GrowthReadings,
    start: GrowthLaw,
    fitted: Mask,
    *,
    n_nodes: int = NODES,
    fine: bool = True,
    scale: Floats | None = None,
) -> LawFit:
    """Maximise the likelihood from a start; the covariance is left empty.

    Parameters
    ----------
    data : GrowthReadings
    start : GrowthLaw
        Also fixes the density and every parameter whose `fitted` is False.
    fitted : ndarray of bool, shape (8,)
    n_nodes, fine
        As for `log_likelihood`.
    scale : ndarray, shape (8, 8), optional
        First guess of the covariance; speeds the search up.

    Raises
    ------
    NoMaximumError
        The search runs away: the readings do not determine the law.
    """
    search = _Search(data, start, fitted, n_nodes, fine)
    vector, value = search.maximise(start.vector()[fitted], _sound_scale(scale, fitted))
    law = search.law(vector)
    _check(law, fitted, data)
    return LawFit(law, value, np.zeros((8, 8)), fitted)


def with_covariance(
    fit: LawFit, data: GrowthReadings, *, n_nodes: int = NODES, fine: bool = True
) -> LawFit:
    """Return the fit with its covariance and with what there is to say about it."""
    sound = fit.fitted.copy()
    information = np.zeros((8, 8))
    search = _Search(data, fit.law, sound, n_nodes, fine)
    information[np.ix_(sound, sound)] = search.information(fit.law.vector()[sound])
    remarks = []
    for name, sentence in _UNTOLD.items():
        at = PARAMETERS.index(name)
        if sound[at] and information[at, at] < _VAGUE:
            sound[at] = False
            remarks.append(sentence)
    covariance, warnings = _invert(information[np.ix_(sound, sound)])
    gradient = _Search(data, fit.law, sound, n_nodes, fine).both(fit.law.vector()[sound])[1]
    if gradient @ covariance @ gradient > _SHORT:
        remarks.append("The search stopped short of the maximum; take the law with care.")
    whole = np.zeros((8, 8))
    whole[np.ix_(sound, sound)] = covariance
    return replace(fit, covariance=whole, warnings=(*remarks, *warnings))


def drawn_laws(fit: LawFit, draws: int, seed: int) -> list[GrowthLaw]:
    """Draw laws from the asymptotic normal law of the fit."""
    generator = np.random.default_rng(seed)
    vectors = generator.multivariate_normal(
        fit.law.vector(), fit.covariance, size=draws, method="eigh"
    )
    held = fit.law.density, fit.law.miles_scale, fit.law.not_measured
    return [law_from_vector(v, *held) for v in vectors]


class _Search:
    """The likelihood as a function of the fitted parameters."""

    def __init__(
        self, data: GrowthReadings, start: GrowthLaw, fitted: Mask, n_nodes: int, fine: bool
    ) -> None:
        self.data, self.fitted = data, fitted
        self.n_nodes, self.fine = n_nodes, fine
        self.whole = start.vector()
        self.density: Density = start.density
        self.miles_scale = start.miles_scale
        self.not_measured = start.not_measured

    def law(self, vector: Floats) -> GrowthLaw:
        whole = self.whole.copy()
        whole[self.fitted] = vector
        return law_from_vector(whole, self.density, self.miles_scale, self.not_measured)

    def both(self, vector: Floats) -> tuple[float, Floats]:
        if np.max(np.abs(vector)) > _HIGH * 1.5:
            return -_WORST, np.zeros(len(vector))
        result = log_likelihood(self.law(vector), self.data, self.n_nodes, fine=self.fine)
        if not np.isfinite(result.total):
            return -_WORST, np.zeros(len(vector))
        # Little worn bushings leave the load factor open; then it stays where such factors lie.
        load = self.law(vector).vector()[_LOAD] if self.fitted[_LOAD] else 0.0
        gradient = result.gradient.copy()
        gradient[_LOAD] -= load / LOAD_SPREAD**2
        return result.total - 0.5 * (load / LOAD_SPREAD) ** 2, gradient[self.fitted]

    def maximise(self, start: Floats, guess: Floats) -> tuple[Floats, float]:
        """Quasi-Newton search in coordinates where the guessed covariance is the identity."""
        values, axes = np.linalg.eigh(guess)
        root = axes * np.sqrt(values)

        def downhill(step: Floats) -> tuple[float, Floats]:
            value, gradient = self.both(start + root @ step)
            return -value, -(root.T @ gradient)

        found = minimize(
            downhill,
            np.zeros(len(start)),
            jac=True,
            method="BFGS",
            options={"gtol": _ENOUGH, "maxiter": 200},
        )
        return start + root @ np.asarray(found.x), -float(found.fun)

    def information(self, vector: Floats) -> Floats:
        """Return minus the second derivatives, by differences of the gradient."""
        n = len(vector)
        here = self.both(vector)[1]
        rows = []
        for j in range(n):
            step = np.zeros(n)
            step[j] = _DIFFERENCE
            rows.append((here - self.both(vector + step)[1]) / _DIFFERENCE)
        found = np.array(rows).reshape(n, n)
        return np.asarray(0.5 * (found + found.T))


def _sound_scale(scale: Floats | None, fitted: Mask) -> Floats:
    """Return a positive definite first guess of the fitted parameters' covariance."""
    n = int(fitted.sum())
    if scale is None:
        return np.eye(n) * _BLIND_STEP**2
    guess = scale[np.ix_(fitted, fitted)]
    values, axes = np.linalg.eigh(guess)
    held = np.clip(np.where(values > 0, values, _BLIND_STEP**2), 1e-12, 1.0)
    return np.asarray((axes * held) @ axes.T)


def _invert(information: Floats) -> tuple[Floats, tuple[str, ...]]:
    """Invert the information; directions the readings leave open get no variance."""
    if not np.isfinite(information).all():
        raise NoMaximumError(
            "The likelihood has no curvature to be had at its maximum; the readings do not "
            "determine how play grows. Check them for values far out of range."
        )
    values, axes = np.linalg.eigh(information)
    sound = values > 1e-6 * max(values.max(), 1e-12)
    inverse = (axes[:, sound] / values[sound]) @ axes[:, sound].T
    if sound.all():
        return inverse, ()
    return inverse, ("The readings leave a combination of the law's parameters open.",)


def _check(law: GrowthLaw, fitted: Mask, data: GrowthReadings) -> None:
    vector = law.vector()
    if not _LOW_EXPONENT < law.exponent < _HIGH_EXPONENT:
        raise NoMaximumError(
            f"The growth exponent runs away to {law.exponent:.2g}: the readings do not show how "
            "play grows with age; more bushings read at several ages are needed."
        )
    # What the typical bushing has gained by the age of the oldest one read.
    oldest = max(data.log_miles.max(initial=0.0), data.censored_log_miles.max(initial=0.0))
    gained = law.log_rate_centre + law.exponent * (oldest - np.log(law.miles_scale))
    if gained < -_HIGH:
        raise NoMaximumError(
            "Play does not grow with age in these readings; a growth law has no maximum."
        )
    runaway = [
        name
        for name, value, free in zip(PARAMETERS, vector, fitted, strict=True)
        if free and (value > _HIGH or (name == "log_load_factor" and value < _LEAST_LOG_LOAD))
    ]
    if runaway:
        raise NoMaximumError(
            f"The readings do not determine {', '.join(runaway)}; more bushings read at several "
            "ages are needed."
        )
