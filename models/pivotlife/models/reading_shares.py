"""How often a bushing in service is read when its unit comes, by type and duty, from the records.

A visit here is one service interval driven with the bushing in service and on record: stops that
nobody read anything at may have left no row, so rows of stops cannot be counted instead.

    share = readings / visits, at most 1,
    visits = miles / interval + (1/2 if it came out) - (1/2 if it was fitted) in that time,

over the bushings of units in the fleet and the last two years. The halves are there because a
bushing that is fitted, or comes out, does so at a visit, while the time that is looked at begins
and ends between two. Readings within the same half of an interval count once, one at the stop that
fitted the bushing not at all, and a bushing gives at most one reading more than the whole intervals
it has driven, so that one that is read at every turn does not stand in for another that never is.
Shares are given to the hundredth: one reading more does not move the price of every mile.

Not here: what a share does to the long-run cost (`policy_paths`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.models.pivot_readings import usable_readings

SHARE_COLUMNS: Final = (
    *("bushing_type", "duty", "share_read", "readings", "visits", "share_source"),
)
#: Visits on record from which a type in a duty, or a type, has a share of its own.
LEAST_VISITS: Final = 30.0
#: Days of the past that tell how often bushings are read.
LOOK_BACK_DAYS: Final = 730.0
#: A reading so close after the fitting was taken at the same stop, miles.
SAME_STOP_MILES: Final = 250.0
NOTHING_KNOWN: Final = "nothing on record: as if read at every visit"


def reading_shares(
    readings: pd.DataFrame,
    lives: pd.DataFrame,
    visits: pd.DataFrame,
    gap_miles: Mapping[str, float],
    given: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """Estimate the share of visits at which a bushing in service is read.

    Parameters
    ----------
    readings : DataFrame
        life_id, true_miles, age_miles, free_play_mm, limit_mm; optional columns as in
        `usable_readings`, whose rules say which readings tell anything.
    lives : DataFrame
        life_id, unit_id, bushing_type, duty, fitted_odometer_miles, removed_odometer_miles,
        records_begin_miles (age at which the unit's records begin). Unknown fittings take no part.
    visits : DataFrame, one row per unit in the fleet
        unit_id, miles_now, miles_per_day.
    gap_miles : mapping of duty to miles
        Service interval.
    given : mapping of duty to share, optional
        A person's word on a duty, in place of the records.

    Returns
    -------
    DataFrame
        `SHARE_COLUMNS`, one row for each type on record and duty; share_read 0 to 1, readings and
        visits (counts) that it rests on. With fewer than 30 visits the type in all duties speaks,
        then all types; fewer than 30 of these are filled up with visits as if read.
    """
    seen = _on_record(readings, lives, visits, gap_miles)
    by_cell = seen.groupby(["bushing_type", "duty"])[["read", "due"]].sum()
    by_type = seen.groupby("bushing_type")[["read", "due"]].sum()
    rows = []
    for kind in sorted(lives["bushing_type"].unique()):
        for duty in sorted(gap_miles):
            tried = (
                (_sums(by_cell, (kind, duty)), f"records, {kind} in {duty} duty"),
                (_sums(by_type, kind), f"records, {kind} in all duties"),
                ((seen["read"].sum(), seen["due"].sum()), "records, all types and duties"),
            )
            rows.append((kind, duty, *_share(tried, (given or {}).get(duty))))
    return pd.DataFrame(rows, columns=list(SHARE_COLUMNS))


def share_of(shares: pd.DataFrame) -> dict[tuple[str, str], float]:
    """Return the shares by (bushing type, duty)."""
    keys = zip(shares["bushing_type"], shares["duty"], strict=True)
    return dict(zip(keys, shares["share_read"].astype(float), strict=True))


def _share(
    tried: tuple[tuple[tuple[float, float], str], ...], given: float | None
) -> tuple[float, float, float, str]:
    """Share, readings, visits and source: the first that is known well enough."""
    last = len(tried) - 1
    for place, ((read, due), source) in enumerate(tried):
        if due >= LEAST_VISITS or (place == last and due > 0):
            if given is not None:
                return given, float(read), float(due), "settings"
            # What next to no visits say is filled up with visits that were read.
            filled = max(LEAST_VISITS - due, 0.0)
            share = min((read + filled) / (due + filled), 1.0)
            return round(share, 2), float(read), float(due), source
    return (1.0, 0.0, 0.0, NOTHING_KNOWN) if given is None else (given, 0.0, 0.0, "settings")


def _sums(sums: pd.DataFrame, key: object) -> tuple[float, float]:
    if key not in sums.index:
        return 0.0, 0.0
    row = sums.loc[[key]].iloc[0]
    return float(row["read"]), float(row["due"])


def _on_record(
    readings: pd.DataFrame,
    lives: pd.DataFrame,
    visits: pd.DataFrame,
    gap_miles: Mapping[str, float],
) -> pd.DataFrame:
    """Visits due and readings of each life within the time that is looked back on."""
    columns = ["life_id", "unit_id", "bushing_type", "duty", "fitted_odometer_miles"]
    columns += ["removed_odometer_miles", "records_begin_miles"]
    pace = visits[["unit_id", "miles_now", "miles_per_day"]]
    rows = lives.loc[lives["fitted_odometer_miles"].notna(), columns].merge(pace, on="unit_id")
    fitted, now = rows["fitted_odometer_miles"].astype(float), rows["miles_now"].astype(float)
    window = now - LOOK_BACK_DAYS * rows["miles_per_day"].astype(float)
    known = fitted + rows["records_begin_miles"].fillna(0.0).clip(lower=0.0)
    rows["begin"] = np.maximum(window, known)
    rows["end"] = np.fmin(rows["removed_odometer_miles"].astype(float), now)
    rows["gap"] = rows["duty"].map(dict(gap_miles)).astype(float)
    miles = rows["end"] - rows["begin"]
    came_out, was_fitted = (
        rows[name].between(rows["begin"], now)
        for name in ("removed_odometer_miles", "fitted_odometer_miles")
    )
    ends = came_out.astype(float) - was_fitted.astype(float)
    rows["whole"], rows["due"] = np.floor(miles / rows["gap"]), miles / rows["gap"] + ends / 2.0
    rows = rows[miles > 0.0]
    stops = usable_readings(readings)[["life_id", "true_miles", "age_miles"]]
    stops = stops[stops["age_miles"] > SAME_STOP_MILES].merge(
        rows[["life_id", "begin", "end", "gap"]], on="life_id"
    )
    # A reading at the stop that took the bushing out may stand a little beyond its end.
    within = stops["true_miles"].between(stops["begin"], stops["end"] + SAME_STOP_MILES)
    half = np.floor((stops["true_miles"] - stops["begin"]) / (stops["gap"] / 2.0))
    stops = stops.assign(half=half)[within].drop_duplicates(["life_id", "half"])
    read = rows["life_id"].map(stops["life_id"].value_counts()).fillna(0.0)
    return rows.assign(read=np.minimum(read, rows["whole"] + 1.0))
