"""The rows as they were known on a past day: the one place that past lists take them from.

A row counts from the later of its event and the day it was typed in. Where the store knows the day,
the rows are those that were read then, with the corrections and the plans of that day. Before that
they are today's, cut back, and what is undated cannot be shown to have been known:

- corrections carry no day, so every row is taken as it was first written;
- a planned visit does not say when it was planned, so only visits up to the day remain, and the
  next one is expected by its service interval;
- a row with no readable date at all is left out;
- a departure after the day has not happened yet.

Rows are cut before they are judged: a row typed in later cannot withhold an earlier one.

Limits, intervals and prices are today's, because no older ones are kept; the parts catalogue and
the state of the pivots when records begin are undated by nature and stay.

Not here: the store itself (`store`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.pipeline.judge import Judged, judge
from pivotlife.pipeline.known_rows import EVENT_DATE
from pivotlife.pipeline.raw_table import RawTable, row_files
from pivotlife.pipeline.settings import Settings
from pivotlife.pipeline.stored_intake import store_of
from pivotlife.pipeline.work import Intake

#: Gives the rows as they were known on a day.
PastRows = Callable[[dt.date], dict[str, RawTable]]
#: Tables of events and plans -> their date.
_DATED: Final = {**EVENT_DATE, "visits": "visit_date", "capacity": "week_start"}
_PLANS: Final = ("visits", "capacity")
_DEPARTURE: Final = ("left_fleet_date", "left_fleet_odometer", "left_fleet_reason")


def past_intake(source: PastRows, day: dt.date) -> Intake:
    """Take in what was known on a day.

    Parameters
    ----------
    source : PastRows
    day : date

    Returns
    -------
    Intake
    """
    raw = source(day)
    return Intake(raw, judge(raw))


def rows_of_export(raw: Mapping[str, RawTable]) -> PastRows:
    """Cut today's sources back to any past day.

    Parameters
    ----------
    raw : mapping of str to RawTable
        As read today, corrections applied.

    Returns
    -------
    PastRows
    """
    written = {name: _as_first_written(table) for name, table in raw.items()}
    judged = judge(written)

    def known(day: dt.date) -> dict[str, RawTable]:
        return {name: _cut(table, judged, pd.Timestamp(day)) for name, table in written.items()}

    return known


def rows_of_store(settings: Settings, otherwise: PastRows) -> tuple[PastRows, dt.date | None]:
    """Take the rows of a past day from the store where it knows the day.

    Parameters
    ----------
    settings : Settings
        They name the store.
    otherwise : PastRows
        For days before the store begins.

    Returns
    -------
    PastRows
    date or None
        The first day the store knows; None without a store.

    Raises
    ------
    SourceError
        When the store cannot be read.
    """
    store = store_of(settings)
    if store is None:
        return otherwise, None
    from pivotlife.pipeline.store import kept_batches, known_tables  # noqa: PLC0415  loads slowly

    batches = kept_batches(store)
    if batches.empty:
        return otherwise, None
    begins: dt.date = batches["known_on"].iloc[0]

    def known(day: dt.date) -> dict[str, RawTable]:
        if day < begins:
            return otherwise(day)
        tables = known_tables(store, day, settings.folder)
        judged = judge(tables)
        # What was kept under a day may hold rows dated after it: plans, and slips of the pen.
        return {
            name: table if name in _PLANS else _cut(table, judged, pd.Timestamp(day))
            for name, table in tables.items()
        }

    return known, begins


def _as_first_written(table: RawTable) -> RawTable:
    frame = table.frame
    for one in reversed(table.corrections):
        cells = frame[one.column].astype(object)
        cells.iloc[one.place] = one.old_value
        frame = frame.assign(**{one.column: cells})
    return replace(table, frame=frame, corrections=())


def _cut(table: RawTable, judged: Judged, day: pd.Timestamp) -> RawTable:
    frame = table.frame
    date = _DATED.get(table.name)
    if date is None:
        return table
    rows = pd.concat([judged.tables[table.name], judged.withheld[table.name]], ignore_index=True)
    # Word-for-word repeats are in neither of the two and change nothing: they stay out.
    known = rows[_known(rows, date, day)]
    place = pd.MultiIndex.from_arrays([frame["row_number"], row_files(frame)])
    kept = place.isin(pd.MultiIndex.from_arrays([known["row_number"], row_files(known)]))
    frame = frame[kept].reset_index(drop=True)
    if table.name == "units":
        gone = known[known["left_fleet_date"].gt(day)]
        frame = _not_yet_gone(frame, gone)
    return replace(table, frame=frame)


def _known(rows: pd.DataFrame, date: str, day: pd.Timestamp) -> pd.Series:
    happened = rows[date].le(day)
    if "entered_date" not in rows:
        return happened
    entered = rows["entered_date"]
    # A row whose own date cannot be, or cannot be read, counts from the day it was typed in.
    doubtful = rows["reasons"].notna() if "reasons" in rows else rows[date].isna()
    return ~entered.gt(day) & (happened | (doubtful & entered.notna()))


def _not_yet_gone(frame: pd.DataFrame, gone: pd.DataFrame) -> pd.DataFrame:
    place = pd.MultiIndex.from_arrays([frame["row_number"], row_files(frame)])
    ahead = place.isin(pd.MultiIndex.from_arrays([gone["row_number"], row_files(gone)]))
    there = [name for name in _DEPARTURE if name in frame]
    blank = {name: np.where(ahead, "", frame[name].astype(object)) for name in there}
    return frame.assign(**blank)
