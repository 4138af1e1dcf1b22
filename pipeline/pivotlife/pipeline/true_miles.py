"""True miles: where each unit stood on the day of every row.

Odometer values are typed wrongly, rolled back, written in kilometres, restarted by a new meter.
The believed values stay as they are; any other row takes the miles between its believed
neighbours, or beyond the last one the miles at the unit's own rate, and is marked. A row is
thrown out only where its unit has no believed value at all or the row has no date.

Not here: which values are believed (`believed_odometer`), lives and ages.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from pivotlife.pipeline.believed_odometer import believe_all
from pivotlife.pipeline.odometer_points import DATED_ODOMETERS, collect_points, day_number

Floats = npt.NDArray[np.float64]

#: Days that a unit's believed values must span before they give a rate of their own.
RATE_DAYS: Final = 30.0


@dataclass(frozen=True)
class TrueMiles:
    """Tables with true miles, and how they came about.

    Attributes
    ----------
    tables : dict of DataFrame
        The judged tables; readings, repairs, lube, odometer and meters with `true_miles` and
        `miles_mark` (kept, interpolated, extrapolated), visits with `true_miles` on their day,
        units with `in_service_true_miles`, `records_begin_true_miles`, `left_fleet_true_miles`.
        Rows that could not be placed are left out.
    points : DataFrame
        Every dated odometer value: `unit_id, date, table, row_number, file, row_id, column,
        odometer_miles, true_miles, mark`.
    suspects : DataFrame
        `unit_id, kind, detail, source_rows`.
    unplaced : DataFrame
        `table, row_number, row_id, reason, file` of the rows left out.
    """

    tables: dict[str, pd.DataFrame]
    points: pd.DataFrame
    suspects: pd.DataFrame
    unplaced: pd.DataFrame


def true_miles(tables: Mapping[str, pd.DataFrame], daily_maximum: float) -> TrueMiles:
    """Place every dated row on its unit's true miles.

    Parameters
    ----------
    tables : mapping of table name to DataFrame
        Judged tables.
    daily_maximum : float, miles a day
        The most a truck of this fleet can drive in a day.

    Returns
    -------
    TrueMiles
    """
    points = collect_points(tables)
    kept, shift, suspects = believe_all(points, daily_maximum)
    believed = points["continuous_miles"].to_numpy() + shift
    track = _Track.of(points, kept, believed, tables["units"])
    placed, mark = track.place(points["unit_id"], points["day"].to_numpy())
    points["true_miles"] = np.where(kept, believed, placed)
    points["mark"] = np.where(kept, "kept", mark)
    unplaced = points[(points["mark"] == "none") & (points["table"] != "units")]
    return TrueMiles(
        tables={name: _with_miles(name, table, points, track) for name, table in tables.items()},
        points=points.drop(columns=["day", "continuous_miles", "source", "stray"]),
        suspects=suspects,
        unplaced=_reasons(unplaced),
    )


@dataclass(frozen=True)
class _Track:
    """Believed miles of all units end to end, so that one interpolation serves them all."""

    names: pd.Index[str]
    unit: npt.NDArray[np.int64]
    day: Floats
    miles: Floats
    rate: Floats

    @classmethod
    def of(
        cls, points: pd.DataFrame, kept: npt.NDArray[np.bool_], miles: Floats, units: pd.DataFrame
    ) -> _Track:
        unit, names = pd.factorize(points["unit_id"])
        order = np.flatnonzero(kept)
        order = order[np.lexsort((points["day"].to_numpy()[order], unit[order]))]
        unit, day, miles = unit[order], points["day"].to_numpy()[order], miles[order]
        # One value a unit and day: the mean of what was kept of that day.
        first = np.ones(len(order), dtype=bool)
        first[1:] = (np.diff(unit) != 0) | (np.diff(day) != 0)
        place = np.flatnonzero(first)
        many = np.diff(np.append(place, len(order)))
        mean = np.add.reduceat(miles, place) / many if len(place) else miles
        unit, day = unit[first].astype(np.int64), day[first]
        rate = _rates(unit, day, mean, pd.Index(names), units)
        return cls(pd.Index(names), unit, day, mean, rate)

    def place(self, unit_ids: pd.Series, day: Floats) -> tuple[Floats, npt.NDArray[np.str_]]:
        """Miles and mark of each (unit, day): between, beyond or without believed values."""
        unit = self.names.get_indexer(pd.Index(unit_ids.astype(str)))
        if len(self.day) == 0:
            return np.full(len(day), np.nan), np.full(len(day), "none", dtype="U12")
        low = float(min(self.day[0], self.day.min()))
        span = float(self.day.max()) - low + 1e6
        query = unit * span + np.clip(np.nan_to_num(day, nan=low) - low, -4e5, span - 5e5)
        after = np.searchsorted(self.unit * span + (self.day - low), query, side="left")
        before = np.clip(after - 1, 0, len(self.day) - 1)
        following = np.clip(after, 0, len(self.day) - 1)
        has_before = (after > 0) & (self.unit[before] == unit)
        has_after = (after < len(self.day)) & (self.unit[following] == unit)
        return self._between(unit, day, (before, following), (has_before, has_after))

    def _between(
        self,
        unit: npt.NDArray[np.int64],
        day: Floats,
        at: tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]],
        has: tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]],
    ) -> tuple[Floats, npt.NDArray[np.str_]]:
        start, end = self.day[at[0]], self.day[at[1]]
        low, high, rate = self.miles[at[0]], self.miles[at[1]], self.rate[unit]
        share = (day - start) / np.where(end > start, end - start, 1.0)
        on_day = has[1] & (end == day)
        miles = np.select(
            [np.isnan(day) | (unit < 0), on_day, has[0] & has[1], has[0], has[1]],
            [
                np.full(len(day), np.nan),
                high,
                low + share * (high - low),
                low + rate * (day - start),
                np.maximum(high - rate * (end - day), 0.0),
            ],
            np.nan,
        )
        inside = on_day | (has[0] & has[1])
        mark = np.where(inside, "interpolated", "extrapolated").astype("U12")
        mark[np.isnan(miles)] = "none"
        return miles, mark


def _rates(
    unit: npt.NDArray[np.int64],
    day: Floats,
    miles: Floats,
    names: pd.Index[str],
    units: pd.DataFrame,
) -> Floats:
    """Miles a day of each unit; the middle rate of its duty where it has none of its own."""
    rate = np.full(len(names), np.nan)
    if len(unit):
        first = np.flatnonzero(np.diff(unit, prepend=-1))
        last = np.append(first[1:], len(unit)) - 1
        days = day[last] - day[first]
        own = (miles[last] - miles[first]) / np.where(days > 0, days, 1.0)
        rate[unit[first]] = np.where(days >= RATE_DAYS, own, np.nan)
    duty = units.drop_duplicates("unit_id").set_index("unit_id")["duty"].reindex(names)
    by_duty = pd.Series(rate).groupby(duty.to_numpy()).transform("median").to_numpy()
    middle = np.nanmedian(rate) if np.isfinite(rate).any() else 0.0
    rate = np.where(np.isnan(rate), by_duty, rate)
    return np.asarray(np.where(np.isnan(rate), middle, rate), dtype=float)


def _with_miles(
    name: str, table: pd.DataFrame, points: pd.DataFrame, track: _Track
) -> pd.DataFrame:
    if name == "visits":
        miles, _ = track.place(table["unit_id"], day_number(table["visit_date"]))
        return table.assign(true_miles=miles)
    if name not in DATED_ODOMETERS:
        return table
    mine = points[points["table"] == name]
    if name == "units":
        columns = {}
        for date, _ in DATED_ODOMETERS[name]:
            # The points of one date are the rows that have it, in their order.
            miles = np.full(len(table), np.nan)
            miles[table[date].notna().to_numpy()] = mine.loc[mine["column"] == date, "true_miles"]
            columns[date.replace("_date", "_true_miles")] = miles
        return table.assign(**columns)
    placed = table.assign(
        true_miles=mine["true_miles"].to_numpy(dtype=float), miles_mark=mine["mark"].to_numpy()
    )
    return placed[placed["miles_mark"] != "none"].reset_index(drop=True)


def _reasons(rows: pd.DataFrame) -> pd.DataFrame:
    no_date = "the row has no readable date, so it cannot be placed in its unit's miles"
    alone = "its unit has no believable odometer value to place it by"
    return pd.DataFrame(
        {
            "table": rows["table"],
            "row_number": rows["row_number"],
            "row_id": rows["row_id"],
            "reason": np.where(rows["date"].isna(), no_date, alone),
            "file": rows["file"],
        }
    ).reset_index(drop=True)
