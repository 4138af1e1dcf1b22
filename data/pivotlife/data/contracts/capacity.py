"""Bay hours that a depot has."""

from __future__ import annotations

from pivotlife.data.contracts.columns import day, number, text
from pivotlife.data.contracts.tables import table

CAPACITY = table(
    "capacity",
    "One week of one depot a row: the bay hours free for this work.",
    {
        "depot": text("the depot, as in units", required=True),
        "week_start": day("first day of the week", required=True),
        "bay_hours": number("hours free that week", required=True),
    },
    key=("depot", "week_start"),
)
