"""Odometer values read for their own sake."""

from __future__ import annotations

from pivotlife.data.contracts.columns import day, distance, odometer_unit, text, words
from pivotlife.data.contracts.tables import table

ODOMETER = table(
    "odometer",
    "One odometer value of one unit a row, from the dash or from the engine computer.",
    {
        "unit_id": text("the unit, as in units", required=True),
        "read_date": day("the day it was read", required=True),
        "odometer": distance("the value", required=True),
        "odometer_unit": odometer_unit(),
        "source": words("where it was read", ("dash", "engine")),
    },
)
