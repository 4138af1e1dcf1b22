"""Lives of bushings renewed in good time, completed by when their play would have passed the limit.

A preventive or campaign renewal takes out what is close to its limit. As a life that had not failed
it reads too long, as one that failed when it was taken out too short. Its own readings say when it
would have crossed: that age is drawn several times from the growth of play, each draw completes the
table of lives once, and each table is fitted. The fits are joined by D. B. Rubin's rules (Multiple
Imputation for Nonresponse in Surveys, 1987, cited from memory): with estimates q_i on the log scale
and their variances u_i over m tables,

    q = mean(q_i),  variance = mean(u_i) + (1 + 1/m) var(q_i),  Student's t with
    (m - 1) (1 + mean(u_i) / ((1 + 1/m) var(q_i)))^2 degrees of freedom.

Not here: the growth of play (`growth_cells`) and single draws (`growth_imputation`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf, log, sqrt
from typing import Final

import numpy as np
import pandas as pd
from scipy.stats import norm, t

from pivotlife.models.growth_cells import GrowthLaws
from pivotlife.models.growth_imputation import crossing_draws
from pivotlife.models.mode_lives import is_yes
from pivotlife.models.pivot_readings import usable_readings
from pivotlife.models.weibull import WeibullFit
from pivotlife.models.weibull_quantities import Interval, Quantity

#: Tables of lives, each with its own draws.
IMPUTATIONS: Final = 20


@dataclass(frozen=True, eq=False)
class Completed:
    """The completed tables of lives.

    Attributes
    ----------
    tables : tuple of DataFrame
        The table of all lives, completed once for each draw; empty where nothing was drawn.
    drawn : frozenset of str
        life_id of the lives whose crossing was drawn.
    """

    tables: tuple[pd.DataFrame, ...]
    drawn: frozenset[str]


def completed_lives(
    lives: pd.DataFrame,
    readings: pd.DataFrame,
    laws: GrowthLaws,
    *,
    imputations: int = IMPUTATIONS,
    seed: int = 0,
) -> Completed:
    """Complete the lives of bushings renewed in good time.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The table of all lives.
    readings : DataFrame
        As `growth_cells.fit_laws` takes them.
    laws : GrowthLaws
    imputations, seed : int

    Returns
    -------
    Completed
        A life whose crossing was drawn is a failure of mode wear at exactly that age (at its entry
        where the draw lies before it). Renewals without a usable reading or a law stay as they are.
    """
    ages = _drawn_ages(lives, readings, laws, imputations, seed)
    if ages.empty:
        return Completed((), frozenset())
    place = lives.index[lives["life_id"].isin(ages.index)]
    names = lives.loc[place, "life_id"]
    entry = lives.loc[place, "entry_miles"].astype(float).fillna(0.0).clip(lower=0.0)
    tables = []
    for column in ages.columns:
        age = np.maximum(names.map(ages[column]).to_numpy(dtype=float), entry + 1.0)
        table = lives.copy()
        table.loc[place, "lower_miles"] = age
        table.loc[place, "upper_miles"] = age
        table.loc[place, "mode"] = "wear"
        tables.append(table)
    return Completed(tuple(tables), frozenset(names))


def rubin_interval(
    fits: Sequence[WeibullFit], quantity: Quantity, level: float = 0.95
) -> tuple[float, Interval]:
    """Join one quantity of several fits.

    Parameters
    ----------
    fits : sequence of WeibullFit
        One for each completed table.
    quantity : "shape", "scale", "mean" or ("quantile", p)
    level : float

    Returns
    -------
    float, Interval
        Estimate and limits. Within a table the variance lets lives of one unit be alike.
    """
    reach = float(norm.ppf(0.5 + 0.5 * level))
    limits = [fit.interval(quantity, level, "sandwich") for fit in fits]
    values = np.array([0.5 * (log(one.lower) + log(one.upper)) for one in limits])
    within = float(np.mean([(log(one.upper / one.lower) / (2 * reach)) ** 2 for one in limits]))
    between = (1.0 + 1.0 / len(fits)) * float(np.var(values, ddof=1)) if len(fits) > 1 else 0.0
    freedom = (len(fits) - 1) * (1.0 + within / between) ** 2 if between > 0 else inf
    wide = float(t.ppf(0.5 + 0.5 * level, freedom)) * sqrt(within + between)
    centre = float(values.mean())
    estimate = exp(centre)
    return estimate, Interval(exp(centre - wide), exp(centre + wide), False, False)


def _drawn_ages(
    lives: pd.DataFrame, readings: pd.DataFrame, laws: GrowthLaws, imputations: int, seed: int
) -> pd.DataFrame:
    """Crossing ages of renewed lives by life_id, one column a draw."""
    ran = lives["upper_miles"].astype(float).eq(np.inf)
    renewed = lives.loc[is_yes(lives["informative"]) & is_yes(lives["in_fit"]) & ran]
    usable = usable_readings(readings)
    usable = usable[usable["life_id"].isin(renewed["life_id"])]
    usable = usable.assign(pivot_id=usable["life_id"], miles=usable["age_miles"])
    parts = []
    for (kind, duty), rows in usable.groupby(["bushing_type", "duty"], sort=True):
        law, _ = laws.law(str(kind), str(duty))
        if law is None:
            continue
        limit = rows.groupby("pivot_id")["limit_mm"].last()
        parts.append(crossing_draws(law.growth, rows, limit, draws=imputations, seed=seed))
    return pd.concat(parts) if parts else pd.DataFrame()
