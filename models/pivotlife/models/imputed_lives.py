"""Lives of bushings renewed in good time, completed by when their play would have passed the limit.

A renewal in good time takes out what is close to its limit. As a life that had not failed it reads
too long, as one that failed when it was taken out too short. Its own readings say when it would
have crossed: that age is drawn several times from the growth of play, each draw completes the table
of lives once, and each table is fitted. Three things keep the draws fair to the other lives:

- Whatever was taken out before it failed is drawn, also where nobody wrote down why (most of those
  were close to their limit as well) and where it was taken out at its first reading.
- A crossing counts only up to the last look at the pivot. The bushings that stayed in are not
  followed beyond it either; counted further, early renewals would show failures at ages at which
  sound bushings are no longer watched, and lives would read too short.
- A bushing found over the limit by a reading is drawn as well. The first of many readings to lie
  over the limit is often one that read high; the bushing's other readings say so.

The fits are joined by D. B. Rubin's rules (Multiple Imputation for Nonresponse in Surveys, 1987,
cited from memory): with estimates q_i on the log scale and their variances u_i over m tables,

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

from pivotlife.models.arrays import BoolArray
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
        life_id of the lives taken out in good time whose crossing was drawn.
    read_again : frozenset of str
        life_id of the others whose crossing was drawn.
    """

    tables: tuple[pd.DataFrame, ...]
    drawn: frozenset[str]
    read_again: frozenset[str]


def completed_lives(
    lives: pd.DataFrame,
    readings: pd.DataFrame,
    laws: GrowthLaws,
    *,
    imputations: int = IMPUTATIONS,
    seed: int = 0,
) -> Completed:
    """Complete the lives of bushings whose play was read.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The table of all lives, those of a pivot in the order of their fitting.
    readings : DataFrame
        As `growth_cells.fit_laws` takes them.
    laws : GrowthLaws
    imputations, seed : int

    Returns
    -------
    Completed
        A life whose crossing was drawn is a failure of mode wear at exactly that age, if it lies
        within the time for which its pivot was looked at; not failed by the end of that time if it
        lies beyond; in no fit if it lies before its entry. Lives without a usable reading or a law
        stay as they are, and so does everything where nothing was taken out in good time.
    """
    by_reading = _read_over(lives, readings)
    asked = _asked(lives, by_reading)
    ages = _drawn_ages(lives[asked], readings, laws, imputations, seed)
    place = lives.index[asked & lives["life_id"].isin(ages.index)]
    chosen = lives.loc[place]
    early = ~by_reading[place]
    if not early.any():
        return Completed((), frozenset(), frozenset())
    until = looked_at_until(lives).loc[place].to_numpy(dtype=float)
    entry = chosen["entry_miles"].astype(float).fillna(0.0).clip(lower=0.0).to_numpy()
    tables = []
    for column in ages.columns:
        age = chosen["life_id"].map(ages[column]).to_numpy(dtype=float)
        is_seen = age <= until
        table = lives.copy()
        table.loc[place, "lower_miles"] = np.maximum(np.minimum(age, until), entry)
        table.loc[place, "upper_miles"] = np.where(is_seen, age, np.inf)
        table.loc[place, "mode"] = np.where(is_seen, "wear", "")
        table.loc[place, "in_fit"] = np.minimum(age, until) > entry
        tables.append(table)
    names = chosen["life_id"]
    return Completed(tuple(tables), frozenset(names[early]), frozenset(names[~early]))


def looked_at_until(lives: pd.DataFrame) -> pd.Series:
    """Return the age at which each bushing would last have been looked at, had it stayed in place.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The table of all lives.

    Returns
    -------
    Series, index of `lives`, miles
        From its fitting to the last evidence on its pivot, whichever bushing that was of. It hangs
        on visits alone, not on how fast the bushing wore; nan where its age is unknown.
    """
    fitted = lives["fitted_odometer_miles"].astype(float)
    good, first = (
        lives[name].astype(float) for name in ("last_good_miles", "first_evidence_miles")
    )
    last = (fitted + np.fmax(good, first)).groupby(lives["pivot_id"]).transform("max")
    return last - fitted


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


def _asked(lives: pd.DataFrame, by_reading: pd.Series) -> BoolArray:
    """Mark lives of which readings may say more than how they are recorded.

    Those that another bushing followed before they failed, also where they were taken out at their
    very entry, and those that a reading found over the limit. Other modes, tear-downs and what
    showed itself on the road are known without a reading.
    """
    in_fit = pd.Series(is_yes(lives["in_fit"]), index=lives.index)
    entered = lives["entry_miles"].astype(float)
    at_entry = lives["evidence"].astype(str).eq("none-after-entry") & entered.gt(0.0)
    at_entry &= lives["last_good_miles"].astype(float).ge(entered)
    followed = lives.groupby("pivot_id").cumcount(ascending=False).gt(0)
    ran = lives["upper_miles"].astype(float).eq(np.inf)
    found: BoolArray = ((in_fit | at_entry) & ran & followed | in_fit & by_reading).to_numpy()
    return found


def _read_over(lives: pd.DataFrame, readings: pd.DataFrame) -> pd.Series:
    """Mark wear that a reading over the limit tells of, and no play measured at a tear-down."""
    over = lives["evidence"].astype(str).eq("bad-reading") & lives["mode"].astype(str).eq("wear")
    play, limit = (readings[name].astype(float) for name in ("free_play_mm", "limit_mm"))
    is_over = readings["is_over"].astype(bool) if "is_over" in readings else play.ge(limit)
    found: pd.Series = over & lives["life_id"].isin(readings.loc[is_over, "life_id"])
    return found


def _drawn_ages(
    asked: pd.DataFrame, readings: pd.DataFrame, laws: GrowthLaws, imputations: int, seed: int
) -> pd.DataFrame:
    """Crossing ages by life_id, one column a draw."""
    usable = usable_readings(readings)
    usable = usable[usable["life_id"].isin(asked["life_id"])]
    usable = usable.assign(pivot_id=usable["life_id"], miles=usable["age_miles"])
    parts = []
    for (kind, duty), rows in usable.groupby(["bushing_type", "duty"], sort=True):
        law, _ = laws.law(str(kind), str(duty))
        if law is None:
            continue
        limit = rows.groupby("pivot_id")["limit_mm"].last()
        parts.append(crossing_draws(law.growth, rows, limit, draws=imputations, seed=seed))
    return pd.concat(parts) if parts else pd.DataFrame()
