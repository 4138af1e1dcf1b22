"""Three lists for the fleet manager: overdue readings, missed grease, repairs that came back.

Not here: hours (`models.bay_plan`), decisions.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from pivotlife.pipeline.histories import Histories
from pivotlife.pipeline.odometer_points import day_number
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.true_miles import TrueMiles
from pivotlife.pipeline.unit_records import LUBE_SHARE, UNSURE_LUBE_SHARE

GAP_COLUMNS: Final = [
    *("unit_id", "depot", "pivot_id", "axle", "side", "node", "bushing_type"),
    *("last_reading_date", "miles_since_reading", "allowed_miles", "overdue_miles", "visit_date"),
]
LUBE_COLUMNS: Final = [
    *("level", "depot", "unit_id", "duty", "from_date", "miles", "services_due", "services_done"),
    *("not_confirmed", "last_service_date", "compliance"),
]
REPEAT_COLUMNS: Final = [
    *("unit_id", "depot", "pivot_id", "bushing_type", "first_date", "second_date"),
    *("miles_between", "first_reason", "second_reason", "is_certain", "source_rows"),
]
#: The past that a fleet manager can still act on.
LUBE_WINDOW_DAYS: Final = 365.0
GREASED: Final = ("threaded", "roller")
#: A renewal for one of these reasons was planned: it is no repair that came back.
PLANNED_REASONS: Final = ("preventive", "partner", "campaign", "sale")


def inspection_gaps(
    in_service: pd.DataFrame, visits: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    """List the pivots without a usable reading in the last measuring distance.

    Parameters
    ----------
    in_service : DataFrame
        From `histories`.
    visits : DataFrame
        unit_id, miles_now (true miles today), visit_date.
    settings : Settings
        measure_miles of each duty.

    Returns
    -------
    DataFrame
        `GAP_COLUMNS`, miles; longest overdue first. A pivot that was never read has no
        miles_since_reading and stands before all others.
    """
    allowed = {str(d): v.longest_gap_between_readings for d, v in settings.intervals.items()}
    ahead = visits.set_index("unit_id")
    rubber = in_service["bushing_type"] == "rubber-bonded"
    # Play is what counts on metal; on rubber-bonded bushings a finding is a reading as well.
    usable = in_service["last_free_play_mm"].notna() | rubber
    now = in_service["unit_id"].map(ahead["miles_now"])
    rows = in_service.assign(
        miles_since_reading=now - in_service["last_reading_miles"].where(usable),
        allowed_miles=in_service["duty"].map(allowed).astype(float),
        visit_date=in_service["unit_id"].map(ahead["visit_date"]),
    )
    rows["overdue_miles"] = rows["miles_since_reading"] - rows["allowed_miles"]
    rows["last_reading_date"] = rows["last_reading_date"].where(usable)
    gaps = rows[~(rows["overdue_miles"] <= 0.0)]
    gaps = gaps.sort_values(
        ["overdue_miles", "unit_id", "pivot_id"],
        ascending=[False, True, True],
        kind="stable",
        na_position="first",
    )
    return gaps[GAP_COLUMNS].reset_index(drop=True)


def lube_compliance(
    histories: Histories, visits: pd.DataFrame, placed: TrueMiles, settings: Settings, day: float
) -> pd.DataFrame:
    """Grease services done of those due in the last year, by unit and depot.

    Parameters
    ----------
    histories : Histories
        Tells which units carry bushings that take grease.
    visits : DataFrame
        unit_id, depot, duty, miles_now.
    placed : TrueMiles
        Lube rows and odometer points.
    settings : Settings
        lube_miles of each duty.
    day : float
        Day number of today.

    Returns
    -------
    DataFrame
        `LUBE_COLUMNS`: level "depot" (unit_id "") first, then "unit"; lowest share first.
        services_due = miles driven in the year / lube_miles; a service at which not every pin is
        known to have taken grease counts half. Empty without a lube table.
    """
    lube = placed.tables["lube"]
    greased = histories.in_service["bushing_type"].isin(GREASED)
    units = visits[visits["unit_id"].isin(histories.in_service.loc[greased, "unit_id"])]
    if lube.empty or units.empty:
        return pd.DataFrame(columns=LUBE_COLUMNS)
    units = units.set_index("unit_id")[["depot", "duty", "miles_now"]]
    track = _year(placed.points, units.index, day)
    every = units["duty"].map({str(d): v.lube_miles for d, v in settings.intervals.items()})
    units["from_date"] = pd.to_datetime(track["start"], unit="D")
    units["miles"] = (units["miles_now"] - track["miles"]).clip(lower=0.0)
    units["services_due"] = units["miles"] / every.astype(float)
    done = lube.assign(day=day_number(lube["lube_date"]))
    share = done["all_took_grease"].map(LUBE_SHARE).fillna(UNSURE_LUBE_SHARE)
    done = done.assign(share=share, unsure=share < 1.0)
    done = done[done["day"] >= done["unit_id"].map(track["start"])]
    groups = done.groupby("unit_id")
    units["services_done"] = groups["share"].sum().reindex(units.index).fillna(0.0)
    units["not_confirmed"] = groups["unsure"].sum().reindex(units.index).fillna(0).astype(int)
    units["last_service_date"] = lube.groupby("unit_id")["lube_date"].max().reindex(units.index)
    return _levels(units.reset_index())


def _levels(units: pd.DataFrame) -> pd.DataFrame:
    units = units.dropna(subset=["services_due"])
    depots = units.groupby("depot", as_index=False).agg(
        from_date=("from_date", "min"),
        miles=("miles", "sum"),
        services_due=("services_due", "sum"),
        services_done=("services_done", "sum"),
        not_confirmed=("not_confirmed", "sum"),
        last_service_date=("last_service_date", "max"),
    )
    levels = [depots.assign(level="depot", unit_id="", duty=""), units.assign(level="unit")]
    rows = []
    for table in levels:
        due = table["services_due"].where(table["services_due"] > 0.0)
        # More services than due make no unit better than whole.
        share = (table["services_done"] / due).clip(upper=1.0)
        ordered = table.assign(compliance=share)[LUBE_COLUMNS]
        rows.append(ordered.sort_values(["compliance", "depot", "unit_id"], kind="stable"))
    return pd.concat(rows, ignore_index=True)


def _year(points: pd.DataFrame, units: pd.Index[str], today: float) -> pd.DataFrame:
    """Day and true miles at which each unit's last year, or its shorter record, begins."""
    kept = points[(points["mark"] == "kept") & points["unit_id"].isin(units)]
    days = day_number(kept["date"])
    kept = kept.assign(day=days)[days <= today].sort_values(["unit_id", "day"], kind="stable")
    rows = {}
    for unit, own in kept.groupby("unit_id", sort=False):
        start = max(today - LUBE_WINDOW_DAYS, float(own["day"].iloc[0]))
        rows[unit] = (start, float(np.interp(start, own["day"], own["true_miles"])))
    table = pd.DataFrame.from_dict(rows, orient="index", columns=["start", "miles"], dtype=float)
    return table.reindex(units)


def repeat_repairs(histories: Histories, placed: TrueMiles, within_miles: float) -> pd.DataFrame:
    """List the pivots whose bushing was renewed again within some miles.

    Parameters
    ----------
    histories : Histories
        Its renewals.
    placed : TrueMiles
        Repairs with true miles.
    within_miles : float, miles

    Returns
    -------
    DataFrame
        `REPEAT_COLUMNS`, latest first. A second renewal that was planned is not listed; is_certain
        is False where a repair line named no position and was placed by elimination.
    """
    repairs = placed.tables["repairs"].drop_duplicates("source_row").set_index("source_row")
    told = histories.renewals.join(
        repairs[["true_miles", "reason", "bushing_type"]], on="source_row"
    )
    told = told[told["pivot_id"] != ""].sort_values(["pivot_id", "date", "source_row"])
    before = told.groupby("pivot_id").shift()
    rows = pd.DataFrame(
        {
            "unit_id": told["unit_id"],
            "depot": told["unit_id"].map(_depots(placed)),
            "pivot_id": told["pivot_id"],
            "bushing_type": before["bushing_type"],
            "first_date": before["date"],
            "second_date": told["date"],
            "miles_between": told["true_miles"] - before["true_miles"],
            "first_reason": before["reason"],
            "second_reason": told["reason"],
            "is_certain": told["certain"] & before["certain"].eq(True),
            "source_rows": before["source_row"].fillna("") + ";" + told["source_row"],
        }
    )
    again = (rows["miles_between"] <= within_miles) & (rows["second_date"] > rows["first_date"])
    again &= ~rows["second_reason"].isin(PLANNED_REASONS)
    rows = rows[again].sort_values(["second_date", "pivot_id"], ascending=[False, True])
    return rows[REPEAT_COLUMNS].reset_index(drop=True)


def _depots(placed: TrueMiles) -> pd.Series:
    return placed.tables["units"].drop_duplicates("unit_id").set_index("unit_id")["depot"]
