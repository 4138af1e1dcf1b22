"""Odometers that were replaced."""

from __future__ import annotations

from pivotlife.data.contracts.columns import day, distance, odometer_unit, text
from pivotlife.data.contracts.tables import table

METERS = table(
    "meters",
    "One change of an odometer a row: what the old one showed last, the new one first.",
    {
        "unit_id": text("the unit, as in units", required=True),
        "change_date": day("the day of the change", required=True),
        "old_reading": distance("last value of the old one", required=True),
        "new_reading": distance("first value of the new one", required=True),
        "odometer_unit": odometer_unit(),
    },
)
