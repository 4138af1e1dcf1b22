"""Rows that contradict their unit or their pivot: before service, after leaving, nothing fitted.

Not here: plays, odometers and kits that look wrong.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from pivotlife.pipeline.histories import Histories
from pivotlife.pipeline.known_rows import EVENT_DATE
from pivotlife.pipeline.repair_jobs import FITTED_OVER
from pivotlife.pipeline.row_fates import NOTHING_FITTED
from pivotlife.pipeline.suspect_kinds import day_text, found, gathered

#: Tables whose rows happen on a day, with the column of the day.
DATED: Final = {name: date for name, date in EVENT_DATE.items() if name != "units"}


def suspect_events(tables: Mapping[str, pd.DataFrame], histories: Histories) -> pd.DataFrame:
    """List the rows that cannot be at their unit or pivot on their day.

    Parameters
    ----------
    tables : mapping of table name to DataFrame
        Judged tables as known on the day.
    histories : Histories
        What was made of them.

    Returns
    -------
    DataFrame
        Columns `suspect_kinds.FOUND_COLUMNS`.
    """
    units = tables["units"].drop_duplicates("unit_id").set_index("unit_id")
    parts = [
        part for table, date in DATED.items() for part in _out_of_time(tables[table], date, units)
    ]
    return gathered(
        [*parts, _nothing_fitted(tables, histories), _fitted_over(tables["repairs"], histories)]
    )


def _out_of_time(rows: pd.DataFrame, date: str, units: pd.DataFrame) -> list[pd.DataFrame]:
    came = rows["unit_id"].map(units["in_service_date"])
    left = rows["unit_id"].map(units["left_fleet_date"])
    early, late = rows[date] < came, rows[date] > left
    return [
        found(rows[here], kind, date, _beside(rows[here], date, other[here], words))
        for here, kind, other, words in (
            (early, "before-service", came, "before the unit was put to work on"),
            (late, "after-leaving", left, "after the unit left the fleet on"),
        )
    ]


def _beside(rows: pd.DataFrame, date: str, other: pd.Series, words: str) -> list[str]:
    days = zip(day_text(rows[date]), day_text(pd.to_datetime(other)), strict=True)
    return [f"{date} {day} lies {words} {beside}" for day, beside in days]


def _with_fate(rows: pd.DataFrame, table: str, histories: Histories, reason: str) -> pd.DataFrame:
    """Rows of a table whose fate's reason holds a text."""
    fates = histories.fates
    mine = fates[(fates["table"] == table) & fates["reason"].str.contains(reason, regex=False)]
    keys = pd.MultiIndex.from_frame(mine[["file", "row_number"]])
    here = pd.MultiIndex.from_arrays([rows["file"], rows["row_number"]]).isin(keys)
    return rows[here]


def _nothing_fitted(tables: Mapping[str, pd.DataFrame], histories: Histories) -> pd.DataFrame:
    rows = _with_fate(tables["readings"], "readings", histories, NOTHING_FITTED)
    removals = tables["repairs"][tables["repairs"]["action"] == "removed"]
    before = _latest_before(rows, "reading_date", removals, "repair_date")
    said = [
        f"{pivot} was read on {day}, but nothing was fitted then"
        + (f": removed on {removed} ({row})" if removed else "")
        for pivot, day, removed, row in zip(
            rows["pivot_id"], day_text(rows["reading_date"]), *before, strict=True
        )
    ]
    return found(rows, "nothing-fitted", "", said)


def _fitted_over(repairs: pd.DataFrame, histories: Histories) -> pd.DataFrame:
    rows = _with_fate(repairs, "repairs", histories, FITTED_OVER)
    renewals = histories.renewals[histories.renewals["action"].isin(("fitted", "replaced"))]
    before = _latest_before(rows, "repair_date", renewals, "date")
    said = [
        f"{pivot or 'a pivot of ' + unit} was fitted on {day} while the bushing "
        + (f"fitted on {fitted} ({row})" if fitted else "in place when records begin")
        + " had not been removed"
        for pivot, unit, day, fitted, row in zip(
            rows["pivot_id"], rows["unit_id"], day_text(rows["repair_date"]), *before, strict=True
        )
    ]
    return found(rows, "fitted-without-removal", "", said)


def _latest_before(
    rows: pd.DataFrame, date: str, events: pd.DataFrame, event_date: str
) -> tuple[list[str], list[str]]:
    """Day and source row of the pivot's last event before each row; "" where there is none."""
    asked = pd.DataFrame(
        {"pivot_id": rows["pivot_id"], "date": rows[date], "place": np.arange(len(rows))}
    ).sort_values("date", kind="stable")
    told = events.rename(columns={event_date: "event_day"})[["pivot_id", "event_day", "source_row"]]
    told = told[told["pivot_id"] != ""].sort_values("event_day", kind="stable")
    joined = pd.merge_asof(
        asked,
        told,
        left_on="date",
        right_on="event_day",
        by="pivot_id",
        allow_exact_matches=False,
    ).sort_values("place")
    return day_text(joined["event_day"]), joined["source_row"].fillna("").tolist()
