"""Where the search for a growth law starts, and whether it can start at all.

Not here: the search (growth_fit).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pivotlife.models.errors import NoMaximumError
from pivotlife.models.growth_law import Density, GrowthLaw
from pivotlife.models.growth_readings import GrowthReadings

Floats = NDArray[np.float64]
EXPONENTS = (0.5, 0.75, 1.0, 1.4, 2.0, 2.8, 4.0, 6.0)
# Readings of each kind from which load factor or grease offset are fitted.
MINIMUM_OF_A_KIND = 10
_TO_SD = 1.4826  # median absolute deviation of a normal law to its standard deviation
_EULER = 0.5772156649
_SMALLEST_MM = 1e-3
_OFTEN = 3


def check_enough(data: GrowthReadings, minimum_lives: int) -> None:
    """Refuse readings that cannot determine a law.

    Raises
    ------
    NoMaximumError
        Too few bushings read at two ages, or readings that are all alike.
    """
    if not len(data.play_mm):
        raise NoMaximumError("There is no measured reading above zero; nothing shows growth.")
    oldest = np.full(data.n_lives, -np.inf)
    youngest = np.full(data.n_lives, np.inf)
    np.maximum.at(oldest, data.life, data.log_miles)
    np.minimum.at(youngest, data.life, data.log_miles)
    np.maximum.at(oldest, data.censored_life, data.censored_log_miles)
    np.minimum.at(youngest, data.censored_life, data.censored_log_miles)
    n_followed = int(np.sum(oldest > youngest))
    if n_followed < minimum_lives:
        raise NoMaximumError(
            f"Only {n_followed} of {data.n_lives} bushings were read at two ages or more, "
            f"{minimum_lives} are needed: growth cannot be told from the differences between "
            "bushings. Read more bushings a second time."
        )
    if np.ptp(data.play_mm) <= 0:
        raise NoMaximumError(
            f"All {len(data.play_mm)} readings are {data.play_mm[0]:g} mm: without any difference "
            "there is no growth to fit. Check that the column holds measured values."
        )


def fitted_parameters(data: GrowthReadings) -> tuple[NDArray[np.bool_], tuple[str, ...]]:
    """Return which parameters the readings can determine, shape (8,), and what is left out."""
    loaded = data.cell_loaded[data.cell] > 0
    greased = data.cell_greased[data.cell] > 0
    fitted = np.ones(8, dtype=bool)
    warnings = []
    for at, flag, word in ((6, loaded, "loaded"), (7, greased, "after-grease")):
        n_with, n_without = int(flag.sum()), int((~flag).sum())
        fitted[at] = min(n_with, n_without) >= MINIMUM_OF_A_KIND
        if n_with and not fitted[at]:
            warnings.append(
                f"{n_with} {word} and {n_without} other readings are too few to compare: all are "
                "taken at face value."
            )
    return fitted, tuple(warnings)


def rough_law(data: GrowthReadings) -> GrowthLaw:
    """Return a normal law by medians: the exponent whose straight lines miss the least."""
    miles_scale = float(np.exp(np.median(data.log_miles)))
    x_one = np.exp(data.log_miles - np.log(miles_scale))
    young = x_one <= np.quantile(x_one, 0.15)
    alpha = float(np.median(data.play_mm[young]))
    alpha = min(alpha, float(np.quantile(data.play_mm, 0.25)))
    best, law = np.inf, None
    for exponent in EXPONENTS:
        candidate, miss = _rough_for(data, x_one**exponent, exponent, alpha, miles_scale)
        if miss < best:
            best, law = miss, candidate
    assert law is not None  # noqa: S101 - for the type checker; the loop always sets it
    return law


def other_density(law: GrowthLaw, density: Density) -> GrowthLaw:
    """Return a law of another density with the same mean and spread of log r."""
    if law.density == density:
        return law
    # Mean and deviation of the largest-extreme-value law: 0.5772 and pi / sqrt(6) scales.
    if density == "weibull":
        spread = law.log_rate_spread * np.sqrt(6.0) / np.pi
        centre = law.log_rate_centre - _EULER * spread
    else:
        spread = law.log_rate_spread * np.pi / np.sqrt(6.0)
        centre = law.log_rate_centre + _EULER * law.log_rate_spread
    return replace(
        law, density=density, log_rate_centre=float(centre), log_rate_spread=float(spread)
    )


def _rough_for(
    data: GrowthReadings, x: Floats, exponent: float, alpha: float, miles_scale: float
) -> tuple[GrowthLaw, float]:
    """Rate of each life by least squares through alpha; misses by their median."""
    life, n = data.life, data.n_lives
    xx = np.bincount(life, x * x, n)
    xy = np.bincount(life, x * (data.play_mm - alpha), n)
    rate = np.maximum(xy / np.maximum(xx, 1e-12), _SMALLEST_MM)
    miss = np.abs(data.play_mm - alpha - rate[life] * x)
    # A line through one or two readings misses them by less than the gauge does.
    often = np.bincount(life, minlength=n)[life] >= _OFTEN
    told = miss[often] if often.any() else miss
    sigma_e = max(_TO_SD * float(np.median(told)), _SMALLEST_MM)
    known = xx >= np.median(xx[xx > 0])
    logs = np.log(rate[known])
    spread = _TO_SD * float(np.median(np.abs(logs - np.median(logs))))
    law = GrowthLaw(
        density="normal",
        alpha_mm=alpha,
        sigma_a_mm=0.5 * sigma_e,
        sigma_e_mm=sigma_e,
        exponent=exponent,
        log_rate_centre=float(np.median(logs)),
        log_rate_spread=float(np.clip(spread, 0.1, 1.5)),
        miles_scale=miles_scale,
    )
    return law, float(np.mean(np.minimum(told, 3.0 * sigma_e)))
