"""What is known of each unit as a whole: when its records begin, when it was last seen.

Not here: single pivots.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.pipeline.odometer_points import day_number
from pivotlife.pipeline.settings import Settings

#: Tables whose rows are a stop in the shop, and those that only show an odometer.
STOPS: Final = {"readings": "reading_date", "repairs": "repair_date", "lube": "lube_date"}
SEEN: Final = {**STOPS, "odometer": "read_date", "meters": "change_date"}

#: Share of a lubrication that counts. "no" says that some pin refused, not which one.
LUBE_SHARE: Final = {"yes": 1.0}
UNSURE_LUBE_SHARE: Final = 0.5
#: Services due within a life before it has a compliance of its own.
OWN_RATE_DUE: Final = 2.0

Floats = npt.NDArray[np.float64]


def unit_records(tables: Mapping[str, pd.DataFrame], as_of: pd.Timestamp) -> pd.DataFrame:
    """Collect the frame of every unit's history.

    Parameters
    ----------
    tables : mapping of table name to DataFrame
        What was known at `as_of`, with true miles.
    as_of : Timestamp

    Returns
    -------
    DataFrame, index unit_id
        `depot, duty, road_salt, holding_odometer_miles, left` (bool), `left_reason, left_day`,
        `records_begin_day, records_begin_miles` (the in-service day and miles where records
        are not said to begin later), `last_seen_miles` (at the last odometer of any kind, or at
        departure), `last_visit_miles` (at the last reading, repair, lubrication or past visit).
    """
    units = tables["units"].drop_duplicates("unit_id").set_index("unit_id")
    begins = units["records_begin_date"].notna()
    day = units["records_begin_date"].where(begins, units["in_service_date"])
    miles = units["records_begin_true_miles"].where(begins, units["in_service_true_miles"])
    left_miles = units["left_fleet_true_miles"].where(units["left_fleet_odometer_miles"].notna())
    visits = tables["visits"]
    past = visits.loc[visits["visit_date"].le(as_of), ["unit_id", "true_miles"]]
    stops = [tables[name][["unit_id", "true_miles"]] for name in STOPS]
    seen = [tables[name][["unit_id", "true_miles"]] for name in SEEN]
    frame = units[["depot", "duty", "road_salt", "holding_odometer_miles"]].assign(
        left=units["left_fleet_date"].notna(),
        left_reason=units["left_fleet_reason"],
        left_day=day_number(units["left_fleet_date"]),
        records_begin_day=day_number(day),
        records_begin_miles=miles,
    )
    last_seen = _largest(seen, units.index)
    last_visit = _largest([*stops, past], units.index)
    return frame.assign(
        last_seen_miles=np.fmax(np.fmax(last_seen, left_miles), miles),
        last_visit_miles=last_visit,
    )


def _largest(frames: list[pd.DataFrame], units: pd.Index[str]) -> pd.Series:
    rows = pd.concat(frames, ignore_index=True)
    return rows.groupby("unit_id")["true_miles"].max().reindex(units)


def planned_stops(tables: Mapping[str, pd.DataFrame]) -> pd.MultiIndex:
    """List the (unit, day) on which a unit was measured, lubricated or planned to stop."""
    dated = {"readings": "reading_date", "lube": "lube_date", "visits": "visit_date"}
    days = [
        pd.DataFrame({"unit_id": tables[name]["unit_id"], "day": day_number(tables[name][date])})
        for name, date in dated.items()
    ]
    return pd.MultiIndex.from_frame(pd.concat(days, ignore_index=True).drop_duplicates())


def lube_compliance(
    lives: pd.DataFrame, lube: pd.DataFrame, records: pd.DataFrame, settings: Settings
) -> Floats:
    """Share of the due lubrications that were done while a life was under observation.

    Parameters
    ----------
    lives : DataFrame
        `unit_id, fitted_miles, entry_miles, lower_miles`.
    lube : DataFrame
        Judged lubrications with `true_miles`; empty: the share is unknown everywhere.
    records : DataFrame
        From `unit_records`.
    settings : Settings
        The interval of each duty.

    Returns
    -------
    ndarray, shape (n_lives,)
        Between entry and lower age, never up to the removal, which would tell the outcome.
        Fewer than two services due: the unit's own share over all its recorded miles. NaN where
        that is unknown too. An answer other than yes counts as half a service.
    """
    if lube.empty:
        return np.full(len(lives), np.nan)
    interval = (
        lives["unit_id"]
        .map(records["duty"])
        .map({str(duty): value.lube_miles for duty, value in settings.intervals.items()})
    )
    every = np.asarray(interval.to_numpy(), dtype=np.float64)
    done = _Services(lube)
    fitted = lives["fitted_miles"].to_numpy()
    start, end = fitted + lives["entry_miles"].to_numpy(), fitted + lives["lower_miles"].to_numpy()
    own = _share(done.between(lives["unit_id"], start, end), end - start, every)
    begin: Floats = lives["unit_id"].map(records["records_begin_miles"]).to_numpy(dtype=np.float64)
    last: Floats = lives["unit_id"].map(records["last_seen_miles"]).to_numpy(dtype=np.float64)
    whole = _share(done.between(lives["unit_id"], begin, last), last - begin, every)
    return np.where(np.isnan(own), whole, own)


def _share(done: Floats, miles: Floats, interval: Floats) -> Floats:
    due = miles / interval
    enough = np.isfinite(due) & (due >= OWN_RATE_DUE)
    return np.where(enough, np.minimum(done / np.where(enough, due, 1.0), 1.0), np.nan)


class _Services:
    """Counts lubrications of a unit between two true miles."""

    def __init__(self, lube: pd.DataFrame) -> None:
        code, names = pd.factorize(lube["unit_id"])
        miles = lube["true_miles"].to_numpy()
        share = lube["all_took_grease"].map(LUBE_SHARE).fillna(UNSURE_LUBE_SHARE).to_numpy()
        order = np.lexsort((miles, code))
        self.names = pd.Index(names)
        self.span = float(miles.max(initial=0.0)) + 1e7
        self.place = (code * self.span + miles)[order]
        self.total = np.concatenate([[0.0], np.cumsum(share[order])])

    def between(self, unit_id: pd.Series, start: Floats, end: Floats) -> Floats:
        code = self.names.get_indexer(pd.Index(unit_id)) * self.span
        ends = [np.searchsorted(self.place, code + at, side="right") for at in (start, end)]
        return np.where(code < 0, 0.0, self.total[ends[1]] - self.total[ends[0]])
