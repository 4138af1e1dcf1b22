"""Crossing ages of bushings that were taken out, or not yet found, before they reached the limit.

A bushing renewed early is no ordinary censored life: it was taken out because it was close. Its
own readings still say when it would have crossed; drawn several times, that age can stand in for
the missing one in a life fit (multiple imputation, D. B. Rubin 1987, cited from memory).
Not here: combining the fits over the draws.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pivotlife.models.growth import FreePlayGrowth
from pivotlife.models.growth_answers import ByPivot, as_frame, by_pivot
from pivotlife.models.growth_fit import drawn_laws
from pivotlife.models.growth_law import GrowthLaw
from pivotlife.models.growth_posterior import LifeGrid, life_grids
from pivotlife.models.growth_readings import growth_readings
from pivotlife.models.growth_weights import weigh_readings

Floats = NDArray[np.float64]


def crossing_draws(
    growth: FreePlayGrowth,
    readings: pd.DataFrame,
    limit_mm: ByPivot,
    *,
    draws: int = 20,
    seed: int = 0,
) -> pd.DataFrame:
    """Draw the age at which each pivot's current bushing truly reaches its limit.

    Give `readings` the life as ``pivot_id`` to ask about past lives. Each draw takes its own law
    from the fit's asymptotic normal, so the spread over draws holds the law's uncertainty too.

    Parameters
    ----------
    growth : FreePlayGrowth
        Fitted.
    readings : DataFrame
        As for `FreePlayGrowth.chance_over`.
    limit_mm : float or Series by pivot_id, mm
    draws : int
    seed : int

    Returns
    -------
    DataFrame by pivot_id, columns "draw_1" and on, miles of age
        Nothing is conditioned on but the readings: a draw may lie before the age already reached.
    """
    data = growth_readings(readings)
    if growth.wild == "weigh":
        data = weigh_readings(data, growth.law_)
    limit = by_pivot(limit_mm, data, "limit_mm")
    generator = np.random.default_rng(seed)
    place = np.full(data.n_lives, -1, dtype=np.int64)
    place[data.current_life] = np.arange(len(data.pivots))
    ages = np.empty((len(data.pivots), draws))
    for column, law in enumerate(drawn_laws(growth.estimate_.best, draws, seed)):
        for grid in life_grids(data, law, data.current_life):
            at = place[grid.lives]
            ages[at, column] = _one_draw(grid, law, limit[at], generator)
    return as_frame(ages, data, [f"draw_{number + 1}" for number in range(draws)])


def _one_draw(
    grid: LifeGrid, law: GrowthLaw, limit_mm: Floats, generator: np.random.Generator
) -> Floats:
    """Draw r from the grid (evenly within a step of z), the starting play given r, and cross."""
    n = len(grid.base)
    below = np.cumsum(grid.weight, axis=1)
    ticket = generator.random(n)[:, None] * below[:, -1:]
    step = np.minimum((below < ticket).sum(axis=1), grid.z.shape[1] - 1)
    width = grid.z[:, 1] - grid.z[:, 0]
    z = grid.z[np.arange(n), step] + (generator.random(n) - 0.5) * width
    score, _ = grid.rates.score(z[:, None])
    rate = grid.rates.rate(score)[0][:, 0]
    start = grid.base + grid.tilt * rate + grid.sd * generator.standard_normal(n)
    room = np.maximum(limit_mm - start, 0.0)
    return np.asarray(law.miles_scale * (room / rate) ** (1.0 / law.exponent))
