"""Questions put to posterior grids: quantiles of the play, the age at which a chance is reached.

Not here: the chance itself (growth_posterior).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pivotlife.models.errors import LivesError
from pivotlife.models.growth_law import GrowthLaw
from pivotlife.models.growth_posterior import LifeGrid, chance_over, life_grids
from pivotlife.models.growth_readings import GrowthReadings, Integers

Floats = NDArray[np.float64]
ByPivot = float | pd.Series
_BISECTIONS = 40
_NEAREST, _FURTHEST = np.log(1e-3), np.log(1e3)


def by_pivot(value: ByPivot, data: GrowthReadings, name: str) -> Floats:
    """Return a number, or a Series by pivot_id, as one value for each pivot.

    Raises
    ------
    LivesError
        The Series lacks pivots that have readings, or names one twice.
    """
    if not isinstance(value, pd.Series):
        return np.full(len(data.pivots), float(value))
    if not value.index.is_unique:
        raise LivesError(f"{name} names a pivot twice; give one value for each pivot_id.")
    missing = data.pivots.difference(value.index)
    if len(missing):
        first = ", ".join(str(pivot) for pivot in missing[:5])
        raise LivesError(
            f"{name} lacks {len(missing)} pivots that have readings, first {first}; add them."
        )
    return value.reindex(data.pivots).to_numpy(dtype=float)


def as_series(values: Floats, data: GrowthReadings) -> pd.Series[float]:
    """Return one value for each pivot as a Series by pivot_id."""
    return pd.Series(values, index=data.pivots.rename("pivot_id"))


def as_frame(values: Floats, data: GrowthReadings, columns: list[str]) -> pd.DataFrame:
    """Return values of shape (n_pivots, n_columns) as a frame by pivot_id."""
    return pd.DataFrame(values, index=data.pivots.rename("pivot_id"), columns=columns)


def last_age(readings: pd.DataFrame) -> pd.Series[float]:
    """Return the age, miles, in the last row of each pivot."""
    return readings.groupby("pivot_id", sort=False)["miles"].last()


def answer_each(
    data: GrowthReadings,
    law: GrowthLaw,
    answer: Callable[[LifeGrid, Integers], Floats],
    n_columns: int = 1,
) -> Floats:
    """Ask each pivot's current life.

    Parameters
    ----------
    data : GrowthReadings
    law : GrowthLaw
    answer : callable
        Gets a grid of n lives and the places of their pivots; returns shape (n, n_columns).
    n_columns : int

    Returns
    -------
    ndarray, shape (n_pivots, n_columns)
    """
    place = np.full(data.n_lives, -1, dtype=np.int64)
    place[data.current_life] = np.arange(len(data.pivots))
    result = np.full((len(data.pivots), n_columns), np.nan)
    for grid in life_grids(data, law, data.current_life):
        at = place[grid.lives]
        result[at] = answer(grid, at).reshape(len(at), n_columns)
    return result


def chances(data: GrowthReadings, law: GrowthLaw, limit_mm: Floats, miles: Floats) -> Floats:
    """Return the chance of each pivot's current life; all arrays have shape (n_pivots,)."""
    x = law.powered(miles)

    def over(grid: LifeGrid, at: Integers) -> Floats:
        return chance_over(grid, limit_mm[at], x[at])

    return answer_each(data, law, over)[:, 0]


def play_quantile(grid: LifeGrid, x: Floats, probability: float) -> Floats:
    """Return the play, mm, that is exceeded with 1 - probability at powered age x, shape (n,)."""
    slope = x + grid.tilt
    ends = grid.base[:, None] + slope[:, None] * grid.rate[:, [0, -1]]
    low = ends.min(axis=1) - 6.0 * grid.sd
    high = ends.max(axis=1) + 6.0 * grid.sd
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        above = chance_over(grid, middle, x) > 1.0 - probability
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.asarray(0.5 * (low + high))


def age_at_chance(grid: LifeGrid, law: GrowthLaw, limit_mm: Floats, chance: float) -> Floats:
    """Return the age, miles, at which the chance of being over is reached, shape (n,).

    0 where it is reached at any age, infinite where it is not within 1,000 times the law's scale.
    """
    n = len(grid.base)
    low, high = np.full(n, _NEAREST), np.full(n, _FURTHEST)

    def over(log_age: Floats) -> Floats:
        return chance_over(grid, limit_mm, np.exp(law.exponent * log_age))

    never, always = over(high) < chance, over(low) >= chance
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        short = over(middle) < chance
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    age = law.miles_scale * np.exp(0.5 * (low + high))
    return np.where(never, np.inf, np.where(always, 0.0, age))
