"""Every dated odometer value of every unit, on one continuous count.

Odometer values stand in many tables. Here they become one list of points; where a replaced meter
is on record, what the old one had counted is added to what the new one shows.

Not here: which points are believed, and what the others become.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.pipeline.raw_table import row_files

#: Table -> pairs of (date column, odometer column), both in the judged names.
DATED_ODOMETERS: Final[dict[str, tuple[tuple[str, str], ...]]] = {
    "units": (
        ("in_service_date", "in_service_odometer_miles"),
        ("records_begin_date", "records_begin_odometer_miles"),
        ("left_fleet_date", "left_fleet_odometer_miles"),
    ),
    "readings": (("reading_date", "odometer_miles"),),
    "repairs": (("repair_date", "odometer_miles"),),
    "lube": (("lube_date", "odometer_miles"),),
    "odometer": (("read_date", "odometer_miles"),),
    "meters": (("change_date", "old_reading_miles"),),
}

#: An engine computer may count this much less than the dash.
ENGINE_SHARE: Final = 0.9
#: Days by which the first or last day in service may be off.
SLACK_DAYS: Final = 30.0


def collect_points(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """List all dated rows that carry or should carry an odometer.

    Parameters
    ----------
    tables : mapping of table name to DataFrame
        Judged tables.

    Returns
    -------
    DataFrame
        Columns `unit_id, date, table, row_number, file, row_id, column` (the date column the value
        stands beside), `odometer_miles` (as written; NaN where blank), `source` (of the odometer
        table), `continuous_miles` (meter changes added) and `day` (days since 1970; NaN where
        the date is missing), `stray` (outside the unit's time in service).
    """
    parts = [
        _column_points(name, tables[name], date, odometer)
        for name, pairs in DATED_ODOMETERS.items()
        for date, odometer in pairs
    ]
    filled = [part for part in parts if len(part)] or parts[:1]
    points = pd.concat(filled, ignore_index=True)
    points["day"] = day_number(points["date"])
    points["continuous_miles"] = points["odometer_miles"] + meter_offset(points, tables["meters"])
    points["stray"] = out_of_time(points, tables["units"])
    return points


def out_of_time(points: pd.DataFrame, units: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Say which rows lie well before their unit's first or after its last day in service.

    Parameters
    ----------
    points : DataFrame
        Columns `unit_id, day`.
    units : DataFrame
        Judged units.

    Returns
    -------
    ndarray of bool, shape (n_points,)
        Such rows are another truck's under the same number, or a date is wrong; either way the
        truck cannot have shown their odometer.
    """
    dates = units.drop_duplicates("unit_id").set_index("unit_id")
    first = pd.Series(day_number(dates["in_service_date"]), index=dates.index)
    last = pd.Series(day_number(dates["left_fleet_date"]), index=dates.index)
    day = points["day"].to_numpy()
    early = day < points["unit_id"].map(first).to_numpy(dtype=float) - SLACK_DAYS
    late = day > points["unit_id"].map(last).to_numpy(dtype=float) + SLACK_DAYS
    return np.asarray(early | late, dtype=bool)


def day_number(dates: pd.Series) -> npt.NDArray[np.float64]:
    """Count days since 1970-01-01; NaN where the date is missing."""
    days = dates.to_numpy(dtype="datetime64[D]")
    return np.where(np.isnat(days), np.nan, days.astype(np.int64)).astype(float)


def _column_points(name: str, table: pd.DataFrame, date: str, odometer: str) -> pd.DataFrame:
    # An anchor without a date is no event; a row of the other tables without one is kept so that
    # it can be reported as unplaced.
    rows = table[table[date].notna()] if name == "units" else table
    points = pd.DataFrame(
        {
            "unit_id": rows["unit_id"].astype(str),
            "date": pd.to_datetime(rows[date]).astype("datetime64[ns]"),
            "table": name,
            "row_number": rows["row_number"].astype(np.int64),
            "file": row_files(rows),
            "row_id": rows["row_id"].astype(str),
            "column": date,
            "odometer_miles": rows[odometer].astype(float),
            "source": rows["source"].astype(str) if name == "odometer" else "",
        }
    )
    return points.reset_index(drop=True)


def meter_offset(points: pd.DataFrame, meters: pd.DataFrame) -> npt.NDArray[np.float64]:
    """Miles that replaced meters had counted before each point.

    Parameters
    ----------
    points : DataFrame
        Columns `unit_id, table, day, odometer_miles, source`.
    meters : DataFrame
        Judged table of meter changes.

    Returns
    -------
    ndarray, shape (n_points,), miles
        Sum of (old - new reading) over the unit's earlier changes. On the day of a change a
        value belongs to the meter whose reading it is nearer to. An engine computer that shows
        about what the old meter showed, or more, was not replaced with it and goes on counting.
    """
    offset = np.zeros(len(points))
    changes = meters[
        meters["change_date"].notna()
        & meters["old_reading_miles"].notna()
        & meters["new_reading_miles"].notna()
    ].sort_values(["change_date", "row_number"])
    changes = changes.drop_duplicates(
        ["unit_id", "change_date", "old_reading_miles", "new_reading_miles"]
    )
    if changes.empty:
        return offset
    day = points["day"].to_numpy()
    miles = points["odometer_miles"].to_numpy()
    is_change = (points["table"] == "meters").to_numpy()
    engine = (points["source"] == "engine").to_numpy()
    places = points.groupby("unit_id", sort=False).indices
    for unit, date, old, new in zip(
        changes["unit_id"],
        day_number(changes["change_date"]),
        changes["old_reading_miles"],
        changes["new_reading_miles"],
        strict=True,
    ):
        at = places.get(str(unit), np.empty(0, dtype=np.int64))
        on_new = np.abs(miles[at] - new) < np.abs(miles[at] - old)
        after = (day[at] > date) | ((day[at] == date) & on_new & ~is_change[at])
        counts_on = engine[at] & (miles[at] >= ENGINE_SHARE * old)
        offset[at[after & ~counts_on]] += old - new
    return offset
