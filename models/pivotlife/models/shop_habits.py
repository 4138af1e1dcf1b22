"""How this shop has worked, told by its own records: looks, delays, and pivots done together.

    look   = readings of a pivot a service interval driven in the last two years, at most 1
    at once = share of bushings found bad that came out at the visit that found them
    share of visits that look and act = 1 / (1 / look + 1 - at once)

The last line gives the same mean number of visits until a worn bushing comes out: 1/look visits
until one looks, and one more where it is put off. A job is what came out of one unit at one
odometer. Of jobs that had to open part of a shackle, a side or an axle, because something was found
bad or renewed as a precaution there, those are counted that took all the rest along. Campaigns,
sales and accidents say nothing about habits and are left out.

Where jobs are few the shares are drawn towards a quarter, invented, with the weight of two jobs.

Not here: what follows for the visits to come (`demand_rounds`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import pandas as pd

#: Days of the past that tell how often pivots are looked at.
LOOK_BACK_DAYS: Final = 730.0
#: Share of visits that look where the records do not say.
_LOOK_UNKNOWN: Final = 0.5
_LEAST_LOOK: Final = 0.05
#: Odometers of one job may differ by this much, miles.
_SAME_STOP_MILES: Final = 250.0
_HAD_TO: Final = frozenset(
    {"wear", "broken", "seized", "split", "rough", "loose-fit", "preventive", "warranty"}
)
_JOB_REASONS: Final = _HAD_TO | {"partner", "unknown", ""}


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
        unit_id, pivot_id, axle, side, node, removed_odometer_miles, removed_reason,
        first_evidence_miles.

    Returns
    -------
    (float, float, float)
        Of jobs that had to open a part of a shackle, a side, an axle, those in which all of the
        rest came out, too, although nothing was wrong with it.
    """
    jobs = _jobs(lives)
    is_shackle = lives["node"].astype(str).str.startswith("shackle")
    side = ["unit_id", "axle", "side"]
    pivot = lives["pivot_id"].astype(str)
    whole = lives.assign(pin=pivot, shackle=pivot.mask(is_shackle, "shackle"))
    whole = whole.drop_duplicates("pivot_id")
    pins = whole[whole["pivot_id"].isin(lives.loc[is_shackle, "pivot_id"])]
    return (
        _joined(jobs, pins, side, "pin"),
        _joined(jobs, whole, side, "shackle"),
        _joined(jobs, whole, ["unit_id", "axle"], "side"),
    )


def _jobs(lives: pd.DataFrame) -> pd.DataFrame:
    """Collect what came out, by stop, and whether it had to; campaigns are left out."""
    out = lives[lives["removed_odometer_miles"].notna()]
    stop = (out["removed_odometer_miles"] / _SAME_STOP_MILES).round()
    out = out.assign(
        stop=stop,
        had_to=out["first_evidence_miles"].notna() | out["removed_reason"].isin(_HAD_TO),
        campaign=out["removed_reason"].eq("campaign"),
    )
    spoiled = out.groupby(["unit_id", "stop"])["campaign"].transform("any")
    return out[out["removed_reason"].isin(_JOB_REASONS) & ~spoiled]


def _joined(jobs: pd.DataFrame, whole: pd.DataFrame, group: list[str], block: str) -> float:
    """Share of jobs on some blocks of a group that took all its other blocks along."""
    mine = jobs[jobs["pivot_id"].isin(whole["pivot_id"])]
    opened = mine.loc[mine["had_to"], [*group, "stop"]].drop_duplicates()
    # `group` may hold the column that names the blocks.
    columns = list(dict.fromkeys(["pivot_id", *group, block]))
    there = opened.merge(whole[columns], on=group)
    done = mine.groupby(["pivot_id", "stop"])["had_to"].any().reset_index()
    there = there.merge(done.assign(done=True), on=["pivot_id", "stop"], how="left")
    there["had_to"] = there["had_to"].eq(True)
    there["done"] = there["done"].eq(True)
    job = [*group, "stop"]
    forced = there.groupby(list(dict.fromkeys([*job, block])))["had_to"].transform("any")
    rest = there[~forced].groupby(job)["done"].all()
    return float((rest.sum() + 0.5) / (len(rest) + 2.0))
