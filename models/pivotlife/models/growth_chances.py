"""Chances, band and play of pivots as columns, from the growth law and each pivot's own readings.

Every chance is that of the true play being at or over the limit, given the readings; that the
last one was under is contained in them. The band is the 10 to 90 % range of the chance by the
visit after next over laws drawn from the fit's own uncertainty. A bushing of unknown age is
looked at under several ages, each counting as much as the readings are likely under it; the band
holds that of every age the readings allow.

A last reading far above what the bushing's others say of it is weighed down as wild, and yet it
may be the first sign of a failure: it is marked.

Not here: which law speaks for a pivot (`growth_cells`).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.age_cases import over_ages
from pivotlife.models.growth import FreePlayGrowth
from pivotlife.models.growth_cells import TypeLaw
from pivotlife.models.growth_likelihood import log_likelihood
from pivotlife.models.growth_readings import growth_readings
from pivotlife.models.growth_weights import FULL_UNTIL, weigh_readings
from pivotlife.models.pivot_readings import with_unknown_ages

#: A pivot is due when its chance of being over reaches this.
DUE_CHANCE: Final = 0.2
#: The bounds of the play hold the true play with this probability.
PLAY_LEVEL: Final = 0.8
_BAND_DRAWS: Final = 40
_KEPT: Final = ("resolution_mm", "load_state", "greased_before")
_AGES: Final = ("age_miles", "visit_age", "next_age")


def by_growth(part: pd.DataFrame, used: pd.DataFrame, law: TypeLaw, ahead: int = 0) -> pd.DataFrame:
    """Chances of pivots from the growth law and their own readings.

    Parameters
    ----------
    part : DataFrame, one row per pivot
        open_miles, age_miles, visit_age, next_age (miles), limit_mm.
    used : DataFrame
        Usable readings with `row`, the index of the pivot in `part`; pivots without any are
        judged as any bushing of the type.
    law : TypeLaw
    ahead : int
        Further visits to look at, as far apart as the next two: columns chance_ahead_1 and on.

    Returns
    -------
    DataFrame
        Result columns, index of `part`, and last_reading_doubted (bool).
    """
    cases, read = with_unknown_ages(part, used)
    table = _asked(cases, read)
    limit = cases["limit_mm"].astype(float)
    ages = {name: cases[name].astype(float).clip(lower=0.0) for name in _AGES}
    known = {name: age.fillna(0.0) for name, age in ages.items()}
    growth = law.growth
    out = pd.DataFrame({"row": cases["row"]}, index=cases.index)
    for name, age in (
        ("chance_over_now", "age_miles"),
        ("chance_over_at_visit", "visit_age"),
        ("chance_over_by_next_visit", "next_age"),
    ):
        out[name] = growth.chance_over(table, limit, known[age]).where(ages[age].notna())
    gap = ages["next_age"] - ages["visit_age"]
    for step in range(1, ahead + 1):
        later = ages["next_age"] + step * gap
        chance = growth.chance_over(table, limit, later.fillna(0.0))
        out[f"chance_ahead_{step}"] = chance.where(later.notna())
    out = _never_falling(out, ahead)
    band = growth.chance_band(table, limit, known["next_age"], draws=_BAND_DRAWS)
    middle = out["chance_over_by_next_visit"]
    out["chance_lower"] = band["lower"].clip(upper=middle).where(middle.notna())
    out["chance_upper"] = band["upper"].clip(lower=middle).where(middle.notna())
    play = growth.play_at(table, known["visit_age"], PLAY_LEVEL).where(ages["visit_age"].notna())
    out["play_at_visit_mm"] = play["play_mm"]
    out["play_at_visit_lower_mm"] = play["lower_mm"]
    out["play_at_visit_upper_mm"] = play["upper_mm"]
    next_play = growth.play_at(table, known["next_age"], PLAY_LEVEL)["play_mm"]
    out["play_at_next_visit_mm"] = next_play.where(ages["next_age"].notna())
    due = growth.miles_until(table, limit, DUE_CHANCE, known["age_miles"])
    out["miles_until_due"] = due.where(ages["age_miles"].notna())
    out["last_reading_doubted"] = _last_doubted(read, growth).reindex(out.index, fill_value=False)
    count = read["case"].value_counts().reindex(out.index, fill_value=0)
    out["readings_used"] = count.astype(int)
    read_text = np.where(count > 0, "own readings", "no reading of its own")
    out["method"] = [f"growth of play ({law.name}), {text}" for text in read_text]
    return over_ages(out, cases["row"], _age_shares(table, cases["row"], growth)).reindex(
        part.index
    )


def _asked(cases: pd.DataFrame, read: pd.DataFrame) -> pd.DataFrame:
    """Return readings as the law takes them: first a row without reading for every case."""
    blank = pd.DataFrame({"pivot_id": cases.index, "miles": 0.0, "free_play_mm": np.nan})
    return pd.concat([blank, _as_growth(read)], ignore_index=True)


def _as_growth(read: pd.DataFrame) -> pd.DataFrame:
    kept = [name for name in _KEPT if name in read]
    return read[kept].assign(
        pivot_id=read["case"],
        miles=read["age_miles"].clip(lower=0.0),
        free_play_mm=read["free_play_mm"],
    )


def _never_falling(out: pd.DataFrame, ahead: int) -> pd.DataFrame:
    """Hold the chances in the order of their ages against rounding of the integrals."""
    names = ["chance_over_now", "chance_over_at_visit", "chance_over_by_next_visit"]
    names += [f"chance_ahead_{step}" for step in range(1, ahead + 1)]
    values = out[names].to_numpy(dtype=float)
    risen = np.fmax.accumulate(values, axis=1)
    out[names] = np.where(np.isnan(values), np.nan, risen)
    return out


def _last_doubted(read: pd.DataFrame, growth: FreePlayGrowth) -> pd.Series:
    """Tell for each case whether its last reading is far above what the others say."""
    if read.empty:
        return pd.Series(dtype=bool)
    rows = _as_growth(read).reset_index(drop=True)
    last = rows.groupby("pivot_id", sort=False)["miles"].idxmax()
    high = growth.deviations(rows)["deviation"].reindex(last) > FULL_UNTIL
    return pd.Series(high.to_numpy(), index=last.index)


def _age_shares(table: pd.DataFrame, row: pd.Series, growth: FreePlayGrowth) -> pd.Series:
    """Share with which each case counts among those of its pivot: likelihood of its readings."""
    fit = pd.Series(0.0, index=row.index)
    several = row.index[row.duplicated(keep=False)]
    if len(several):
        asked = table[table["pivot_id"].isin(several)]
        data = weigh_readings(growth_readings(asked), growth.law_)
        fit[data.life_pivot] = log_likelihood(growth.law_, data).by_life
    behind = fit - fit.groupby(row).transform("max")
    share = pd.Series(np.exp(behind.to_numpy()), index=row.index)
    of_all: pd.Series = share / share.groupby(row).transform("sum")
    return of_all
