"""How this shop has worked, told by its own records: looks, delays, and pivots done together.

    look   = readings of a pivot a service interval driven in the last two years, at most 1
    at once = share of bushings found bad that came out at the visit that found them
    share of visits that look and act = 1 / (1 / look + 1 - at once)

The last line gives the same mean number of visits until a worn bushing comes out: 1/look visits
until one looks, and one more where it is put off. A job is what came out of one unit at one
odometer; of jobs that opened a shackle, a side, an axle the shares are counted that renewed all of
it. Campaigns, sales and accidents say nothing about habits and are left out.

Few jobs are drawn towards an even chance by half a case each way (after Jeffreys, from memory).

Not here: what follows for the visits to come (`demand_rounds`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

#: Days of the past that tell how often pivots are looked at.
LOOK_BACK_DAYS: Final = 730.0
#: Share of visits that look where the records do not say.
_LOOK_UNKNOWN: Final = 0.5
_LEAST_LOOK: Final = 0.05
#: Odometers of one job may differ by this much, miles.
_SAME_STOP_MILES: Final = 250.0
_JOB_REASONS: Final = frozenset(
    {"wear", "broken", "seized", "split", "rough", "loose-fit", "preventive", "partner"}
    | {"warranty", "unknown", ""}
)


def look_shares(
    readings: pd.DataFrame,
    lives: pd.DataFrame,
    visits: pd.DataFrame,
    gap_miles: Mapping[str, float],
    as_of: pd.Timestamp,
) -> dict[str, float]:
    """Share of visits, by duty, that look at a pivot and act on what they find.

    Parameters
    ----------
    readings : DataFrame
        pivot_id, reading_date; of all lives.
    lives : DataFrame
        unit_id, pivot_id, duty, fitted_odometer_miles, removed_odometer_miles,
        first_evidence_miles, removed_reason, life_id.
    visits : DataFrame, one row per unit
        unit_id, duty, miles_per_day.
    gap_miles : mapping of duty to miles
        Service interval.
    as_of : Timestamp

    Returns
    -------
    dict of duty to share
    """
    pivots = lives.drop_duplicates("pivot_id")[["pivot_id", "unit_id"]]
    pivots = pivots.merge(visits[["unit_id", "duty", "miles_per_day"]], on="unit_id")
    first = readings.groupby("pivot_id")["reading_date"].min()
    watched = (as_of - pivots["pivot_id"].map(first)).dt.days.clip(upper=LOOK_BACK_DAYS)
    recent = readings[readings["reading_date"] > as_of - pd.Timedelta(days=LOOK_BACK_DAYS)]
    looks = recent.drop_duplicates(["pivot_id", "reading_date"])["pivot_id"].value_counts()
    pivots["looks"] = pivots["pivot_id"].map(looks).fillna(0.0)
    pivots["due"] = pivots["miles_per_day"] * watched / pivots["duty"].map(dict(gap_miles))
    sums = pivots[pivots["due"] > 0].groupby("duty")[["looks", "due"]].sum()
    share = (sums["looks"] / sums["due"]).clip(_LEAST_LOOK, 1.0)
    late = 1.0 - acted_at_once(lives)
    return {
        str(duty): 1.0 / (1.0 / float(share.get(duty, _LOOK_UNKNOWN)) + late) for duty in gap_miles
    }


def acted_at_once(lives: pd.DataFrame) -> float:
    """Share of bushings found bad that came out at the visit that found them."""
    ended = lives[lives["removed_odometer_miles"].notna() & lives["first_evidence_miles"].notna()]
    ended = ended[ended["removed_reason"].isin(_JOB_REASONS)]
    age = ended["removed_odometer_miles"] - ended["fitted_odometer_miles"]
    known = age.notna()
    at_once = (age - ended["first_evidence_miles"])[known] <= _SAME_STOP_MILES
    return float((at_once.sum() + 0.5) / (known.sum() + 1.0))


def join_shares(lives: pd.DataFrame) -> tuple[float, float, float]:
    """Shares of jobs that took along the rest of a shackle, of a side, of an axle.

    Parameters
    ----------
    lives : DataFrame
        unit_id, pivot_id, axle, side, node, removed_odometer_miles, removed_reason.

    Returns
    -------
    (float, float, float)
        Of jobs that opened a shackle, those that renewed both pivots; of those that opened a
        side and left something of it, beyond a whole shackle, those that renewed all of it; of
        those that opened an axle, those that renewed both sides whole.
    """
    out = lives[lives["removed_odometer_miles"].notna()]
    campaign = out.loc[out["removed_reason"] == "campaign", ["unit_id", "removed_odometer_miles"]]
    stop = (out["removed_odometer_miles"] / _SAME_STOP_MILES).round()
    spoiled = set(
        zip(
            campaign["unit_id"],
            (campaign["removed_odometer_miles"] / _SAME_STOP_MILES).round(),
            strict=True,
        )
    )
    job = list(zip(out["unit_id"], stop, strict=True))
    usual = out["removed_reason"].isin(_JOB_REASONS) & ~pd.Series(
        [one in spoiled for one in job], out.index, dtype=bool
    )
    jobs = out.assign(stop=stop)[usual]
    whole = lives.drop_duplicates("pivot_id")
    shackle = _complete(jobs, whole, ["unit_id", "axle", "side"], only_shackle=True)
    side = _complete(jobs, whole, ["unit_id", "axle", "side"])
    axle = _complete(jobs, whole, ["unit_id", "axle"])
    return shackle, side, axle


def _complete(
    jobs: pd.DataFrame, whole: pd.DataFrame, keys: list[str], *, only_shackle: bool = False
) -> float:
    """Share of jobs on a group of several pivots that renewed every one of them."""
    if only_shackle:
        jobs, whole = (
            part[part["node"].astype(str).str.startswith("shackle")] for part in (jobs, whole)
        )
    size = whole.groupby(keys)["pivot_id"].nunique().rename("size")
    done = jobs.groupby([*keys, "stop"])["pivot_id"].nunique().rename("done").reset_index()
    done = done.merge(size.reset_index(), on=keys)
    done = done[done["size"] > 1]
    return float(((done["done"] >= done["size"]).sum() + 0.5) / (np.float64(len(done)) + 1.0))
