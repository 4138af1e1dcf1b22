"""Planned stops in the shop."""

from __future__ import annotations

from pivotlife.data.contracts.columns import day, text
from pivotlife.data.contracts.tables import table

VISITS = table(
    "visits",
    "One planned stop of one unit a row.",
    {
        "unit_id": text("the unit, as in units", required=True),
        "visit_date": day("the planned day", required=True),
        "depot": text("where; blank = the unit's own depot"),
        "purpose": text("what it is planned for"),
    },
)
