"""Invented bushings of one growth law, with what the rule would know of them at each visit.

Each path is one bushing from new: its visits, what is read there, and at each visit the chance of
being over the limit then and at the next visits given the readings so far. None of that depends on
prices, so one set of paths serves every cost and every round of the rule. Where a fleet reads at
some visits only, each visit is read with that chance; the same draws serve every chance, so that
what is read with a small one is read with a larger one as well.

Not here: what the rule makes of the chances (`policy_rates`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from pivotlife.models.arrays import FloatArray
from pivotlife.models.growth_law import GrowthLaw
from pivotlife.models.growth_posterior import chance_over, grid_of_terms
from pivotlife.models.growth_sums import LifeTerms

#: Visits come within this share of their spacing, evenly.
GAP_SPREAD: Final = 0.2
_AT_ONCE: Final = 8_192


@dataclass(frozen=True, eq=False)
class Paths:
    """Bushings at their visits.

    Attributes
    ----------
    age : ndarray, shape (n, V), miles
        Age at each visit.
    reading : ndarray, shape (n, V), mm
        NaN where play was not read.
    crossing : ndarray, shape (n,), miles
        Age at which the true play reaches the limit.
    chance : ndarray, shape (n, V, K + 1)
        Chance of being over at the visit and at the K after it, as seen there; NaN at visits
        after the first that finds the bushing over.
    gap : float, miles
        Usual distance between visits; what the rule expects ahead.
    limit_mm : float
    """

    age: FloatArray
    reading: FloatArray
    crossing: FloatArray
    chance: FloatArray
    gap: float
    limit_mm: float


def draw_paths(
    law: GrowthLaw,
    limit_mm: float,
    gap: float,
    *,
    paths: int = 200,
    visits: int = 40,
    ahead: int = 3,
    width_mm: float = 0.0254,
    seed: int = 0,
    believed: GrowthLaw | None = None,
    readings: int | None = None,
    share_read: float = 1.0,
) -> Paths:
    """Draw bushings of a law and what is known of them at each visit.

    Parameters
    ----------
    law : GrowthLaw
    limit_mm : float, mm
    gap : float, miles
        Between visits.
    paths, visits, ahead : int
        Bushings; visits of each at most; visits looked ahead.
    width_mm : float, mm
        To which readings are rounded.
    seed : int
    believed : GrowthLaw, optional
        The law by which chances are judged, such as one that was estimated; left out: the true one.
    readings : int, optional
        Visits at which play is read, from the first on; left out: all. At the others the bushing is
        only found over its limit or not.
    share_read : float, 0 to 1
        Chance of each visit that play is read there; 0: the law alone speaks.

    Returns
    -------
    Paths
    """
    random = np.random.default_rng(seed)
    start = law.alpha_mm + law.sigma_a_mm * random.standard_normal(paths)
    # One growth rate from each of as many equal shares of the law: few bushings then tell more.
    share = (np.arange(paths) + random.uniform(1e-6, 1.0 - 1e-6, paths)) / paths
    rate = law.rate_quantile(share)
    room = np.maximum(limit_mm - start, 0.0)
    crossing = law.miles_scale * (room / rate) ** (1.0 / law.exponent)
    step = gap * random.uniform(1.0 - GAP_SPREAD, 1.0 + GAP_SPREAD, (paths, visits))
    age = np.cumsum(step, axis=1)
    play = start[:, None] + rate[:, None] * law.powered(age)
    reading = play + law.sigma_e_mm * random.standard_normal(play.shape)
    if width_mm > 0:
        reading = np.round(reading / width_mm) * width_mm
    reading = np.maximum(reading, 0.0)
    reading[:, readings if readings is not None else visits :] = np.nan
    if share_read < 1.0:
        reading[random.random(reading.shape) >= share_read] = np.nan
    judge = law if believed is None else believed
    chance = np.full((paths, visits, ahead + 1), np.nan)
    seen = age < crossing[:, None]
    at = age[seen][:, None] + gap * np.arange(ahead + 1)
    chance[seen] = _chances(_terms(judge, age, reading, width_mm, seen), judge, limit_mm, at)
    return Paths(age, reading, crossing, chance, gap, limit_mm)


def _terms(
    law: GrowthLaw, age: FloatArray, reading: FloatArray, width_mm: float, seen: np.ndarray
) -> LifeTerms:
    """Coefficients of each path given its readings up to each visit, as in `growth_sums`."""
    read = np.isfinite(reading)
    x = np.where(read, law.powered(age), 0.0)
    y = np.where(read, reading - law.alpha_mm, 0.0)
    variance = law.sigma_e_mm**2 + width_mm**2 / 12.0
    s0 = np.cumsum(read, axis=1) / variance
    s1, s2, v1, vx = (np.cumsum(part, axis=1) / variance for part in (x, x * x, y, x * y))
    start = law.sigma_a_mm**2
    k = start / (1.0 + start * s0)
    parts = (
        np.zeros_like(x),
        vx - k * v1 * s1,
        np.maximum(s2 - k * s1**2, 1e-12),
        law.alpha_mm + k * v1,
        -k * s1,
        k,
    )
    return LifeTerms(*(np.asarray(part[seen]) for part in parts))


def _chances(terms: LifeTerms, law: GrowthLaw, limit_mm: float, at: FloatArray) -> FloatArray:
    found = np.empty(at.shape)
    for begin in range(0, len(at), _AT_ONCE):
        places = np.arange(begin, min(begin + _AT_ONCE, len(at)))
        grid = grid_of_terms(terms, law, places)
        limit = np.full(len(places), limit_mm)
        for j in range(at.shape[1]):
            found[places, j] = chance_over(grid, limit, law.powered(at[places, j]))
    return np.maximum.accumulate(found, axis=1)
