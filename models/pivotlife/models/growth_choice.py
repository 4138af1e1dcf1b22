"""The whole estimation of one type: lives drawn, wild readings weighed, density chosen.

Not here: the estimator's interface (growth).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.growth_fit import LawFit, climb, with_covariance
from pivotlife.models.growth_law import Density, GrowthLaw
from pivotlife.models.growth_readings import GrowthReadings, select_lives
from pivotlife.models.growth_start import (
    check_enough,
    fitted_parameters,
    other_density,
    rough_law,
)
from pivotlife.models.growth_weights import weigh_readings
from pivotlife.models.growth_zeros import (
    DOUBTED_BEFORE,
    READ_BEFORE,
    with_share_not_measured,
    zero_doubts,
)

FIRST_LIVES = 1_200
_FIRST_ROUNDS = 6
# The rough law's gauge error is taken this much wider while nothing is known better.
_ROUGH = 2.0
# AIC difference on the first lives from which a density is out.
_DECIDED = 20.0
# Weights that move by less than this in sum, per reading, leave the fit as it is.
_SETTLED = 1e-4
_FEW_LIVES = 30
# Change of the share of zeros nobody measured from which the fit is repeated.
_SAME_ZEROS = 0.005
_Start = tuple[GrowthLaw, NDArray[np.float64] | None]


@dataclass(frozen=True)
class GrowthEstimate:
    """What was estimated from the readings of one type.

    Attributes
    ----------
    best : LawFit
        The fit of the chosen density.
    aic : dict of str to float
        Akaike's criterion of each density on the same readings: all that were used, or the
        first share of them where that decided already.
    n_lives, n_readings : int
        Lives and measured readings in the fit.
    n_wild, n_not_measured : int
        Readings weighed down, and zeros more likely not measured than measured.
    warnings : tuple of str
    """

    best: LawFit
    aic: dict[str, float]
    n_lives: int
    n_readings: int
    n_wild: int
    n_not_measured: int
    warnings: tuple[str, ...]


def estimate_growth(
    data: GrowthReadings,
    densities: tuple[Density, ...],
    *,
    seed: int,
    n_nodes: int,
    most_lives: int,
    minimum_lives: int,
    weigh: bool,
) -> GrowthEstimate:
    """Estimate the law of one type.

    Parameters
    ----------
    data : GrowthReadings
    densities : tuple of "normal", "weibull"
        Those to try; the lower AIC wins.
    seed : int
        Draws the lives when there are more than `most_lives`.
    n_nodes : int
        Gauss-Hermite nodes.
    most_lives, minimum_lives : int
        Lives used at most; lives read at two ages needed at least.
    weigh : bool
        Weigh wild readings down.

    Raises
    ------
    NoMaximumError
        The readings do not determine a law.
    """
    generator = np.random.default_rng(seed)
    used = _read_lives(data, generator, most_lives)
    check_enough(used, minimum_lives)
    fitted, warnings = fitted_parameters(used)
    first = _first_fits(used, fitted, generator, densities, weigh)
    tried = _still_open(first)
    weighed, zeros = _judged(used, tried[0].law) if weigh else (used, 0.0)
    share = min(1.0, FIRST_LIVES / used.n_lives)
    fits = _climb_each(
        [(replace(fit.law, not_measured=zeros), share * fit.covariance) for fit in tried],
        weighed,
        fitted,
        n_nodes=n_nodes,
    )
    best = min(fits, key=lambda fit: fit.aic)
    again, zeros = _judged(used, best.law) if weigh else (weighed, 0.0)
    if _moved(again, weighed) or abs(zeros - best.law.not_measured) > _SAME_ZEROS:
        # Both densities were compared on the same weights; the winner is refitted on its own.
        start = (replace(best.law, not_measured=zeros), share * tried[0].covariance)
        (best,) = _climb_each([start], again, fitted, n_nodes=n_nodes)
        weighed = again
    best = with_covariance(best, weighed, n_nodes=n_nodes)
    if used.n_lives < _FEW_LIVES:
        warnings = (*warnings, f"Only {used.n_lives} bushings: the law is uncertain.")
    compared = fits if len(fits) > 1 else first
    return GrowthEstimate(
        best=best,
        aic={fit.law.density: fit.aic for fit in compared},
        n_lives=weighed.n_lives,
        n_readings=len(weighed.play_mm),
        n_wild=int(np.sum(weighed.weight < 0.5)),
        n_not_measured=int(np.sum(zero_doubts(weighed, best.law) > 0.5)),
        warnings=(*warnings, *best.warnings),
    )


def _still_open(first: list[LawFit]) -> list[LawFit]:
    """Fits worth repeating on all lives: not those far behind, best first."""
    ranked = sorted(first, key=lambda fit: fit.aic)
    return [fit for fit in ranked if fit.aic - ranked[0].aic < _DECIDED]


def _judged(data: GrowthReadings, law: GrowthLaw) -> tuple[GrowthReadings, float]:
    """Weigh the readings under a law and find the share that nobody measured."""
    weighed = weigh_readings(data, law)
    return weighed, with_share_not_measured(law, weighed).not_measured


def _moved(one: GrowthReadings, other: GrowthReadings) -> bool:
    """Whether two weightings of the same readings differ enough to fit again."""
    off = float(np.abs(one.weight - other.weight).sum())
    return off > _SETTLED * len(one.weight)


def _read_lives(
    data: GrowthReadings, generator: np.random.Generator, most_lives: int
) -> GrowthReadings:
    """Lives with any reading, a random share of them when they are many."""
    count = np.bincount(data.cell_life, minlength=data.n_lives)
    count += np.bincount(data.censored_life, minlength=data.n_lives)
    lives = np.flatnonzero(count > 0)
    if len(lives) > most_lives:
        lives = np.sort(generator.choice(lives, most_lives, replace=False))
    return select_lives(data, lives)


def _first_fits(
    data: GrowthReadings,
    fitted: NDArray[np.bool_],
    generator: np.random.Generator,
    densities: tuple[Density, ...],
    weigh: bool,
) -> list[LawFit]:
    """Fit each density to a share of the lives, once the wild readings are settled."""
    n_first = min(FIRST_LIVES, data.n_lives)
    lives = np.sort(generator.choice(data.n_lives, n_first, replace=False))
    share = weighed = select_lives(data, lives)
    law = rough_law(share)
    if weigh:
        # Values far out of range (a wrong unit) must not take part even in the first search.
        wide = replace(law, sigma_e_mm=_ROUGH * law.sigma_e_mm)
        weighed = weigh_readings(share, wide)
        law = replace(law, not_measured=DOUBTED_BEFORE / READ_BEFORE)
    for _ in range(_FIRST_ROUNDS):
        before = law
        law = climb(weighed, law, fitted, n_nodes=7, fine=False).law
        if not weigh:
            break
        lighter, zeros = _judged(share, law)
        law = replace(law, not_measured=zeros)
        settled = (
            not _moved(lighter, weighed) or abs(np.log(law.sigma_e_mm / before.sigma_e_mm)) < 0.005
        )
        weighed = lighter
        if settled:
            break
    starts: list[_Start] = [(other_density(law, density), None) for density in densities]
    fits = _climb_each(starts, weighed, fitted, n_nodes=7, fine=False)
    return [with_covariance(fit, weighed, n_nodes=7, fine=False) for fit in fits]


def _climb_each(
    starts: list[_Start],
    readings: GrowthReadings,
    fitted: NDArray[np.bool_],
    *,
    n_nodes: int,
    fine: bool = True,
) -> list[LawFit]:
    """Climb from each start; a density without a maximum is left out unless none has one."""
    fits: list[LawFit] = []
    refused: NoMaximumError | None = None
    for law, scale in starts:
        try:
            fits.append(climb(readings, law, fitted, n_nodes=n_nodes, fine=fine, scale=scale))
        except NoMaximumError as error:
            refused = error
    if refused and not fits:
        raise refused
    return fits
