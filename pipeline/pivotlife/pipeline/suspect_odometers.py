"""Suspect odometers, one listed value each: off their unit's track, or in an odd stretch.

Not here: which values are believed (`believed_odometer`) and what looks odd about a stretch
(`odometer_suspects`); both are only written down by row.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from pivotlife.pipeline.odometer_points import DATED_ODOMETERS
from pivotlife.pipeline.suspect_kinds import found, gathered
from pivotlife.pipeline.true_miles import TrueMiles

#: Table and date column -> native name of the odometer that stands beside the date.
_ODOMETER: Final = {
    (table, date): odometer.removesuffix("_miles")
    for table, pairs in DATED_ODOMETERS.items()
    for date, odometer in pairs
}


def suspect_odometers(placed: TrueMiles) -> pd.DataFrame:
    """List the odometer values that look wrong.

    Parameters
    ----------
    placed : TrueMiles

    Returns
    -------
    DataFrame
        Columns `suspect_kinds.FOUND_COLUMNS`.
    """
    points = placed.points.assign(
        odometer=[
            _ODOMETER[key] for key in zip(placed.points.table, placed.points.column, strict=True)
        ]
    )
    return gathered([_off_track(points), *_stretches(points, placed.suspects)])


def _off_track(points: pd.DataFrame) -> pd.DataFrame:
    """Values that were replaced by what the unit's others say of the day."""
    rows = points[points["odometer_miles"].notna() & points["mark"].ne("kept")]
    said = [
        f"{shown:,.0f} miles do not fit the unit's others"
        + ("" if np.isnan(miles) else f", which stand at {miles:,.0f} that day ({mark})")
        for shown, miles, mark in zip(
            rows["odometer_miles"], rows["true_miles"], rows["mark"], strict=True
        )
    ]
    return _found(rows, "odometer-off-track", said)


def _stretches(points: pd.DataFrame, suspects: pd.DataFrame) -> list[pd.DataFrame]:
    """One row a value of each suspicious stretch; the kinds are those of `TrueMiles.suspects`."""
    if suspects.empty:
        return []
    named = suspects.assign(source_row=suspects["source_rows"].str.split(";"))
    named = named.explode("source_row").drop_duplicates(["unit_id", "kind", "source_row"])
    source = (
        points["table"]
        + ":"
        + points["row_id"].where(points["row_id"] != "", "row " + points["row_number"].astype(str))
    )
    joined = points.assign(source_row=source).merge(
        named[["unit_id", "source_row", "kind", "detail"]], on=["unit_id", "source_row"]
    )
    return [
        _found(rows, str(kind), rows["detail"].tolist())
        for kind, rows in joined.groupby("kind", sort=False)
    ]


def _found(rows: pd.DataFrame, kind: str, said: list[str]) -> pd.DataFrame:
    return found(rows, kind, "", said).assign(column=rows["odometer"].to_numpy(dtype=object))
