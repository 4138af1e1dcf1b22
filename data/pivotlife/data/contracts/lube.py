"""Grease services."""

from __future__ import annotations

from pivotlife.data.contracts.columns import day, distance, odometer_unit, text, words
from pivotlife.data.contracts.tables import table

LUBE = table(
    "lube",
    "One grease service of one unit a row.",
    {
        "unit_id": text("the unit, as in units", required=True),
        "lube_date": day("the day of the service", required=True),
        "odometer": distance("odometer then", required=True),
        "odometer_unit": odometer_unit(),
        "all_took_grease": words("whether every fitting took grease", ("yes", "no", "unknown")),
        "remark": text("anything else"),
    },
)
