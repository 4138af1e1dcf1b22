"""What was done to bushings."""

from __future__ import annotations

from pivotlife.data.contracts.columns import (
    day,
    distance,
    free_play_unit,
    number,
    odometer_unit,
    play,
    text,
    whole,
    words,
)
from pivotlife.data.contracts.tables import position, table
from pivotlife.data.contracts.vocabulary import ACTIONS, BUSHING_TYPES, FINDINGS, REASONS

REPAIRS = table(
    "repairs",
    "One job at one pivot a row: what was done, why, and what the old bushing looked like.",
    {
        "repair_id": text("names the row, once in the table", required=True),
        "unit_id": text("the unit, as in units", required=True),
        **position(),
        "repair_date": day("the day of the job", required=True),
        "entered_date": day("the day it was typed in"),
        "odometer": distance("odometer then", required=True),
        "odometer_unit": odometer_unit(),
        "action": words("what was done", ACTIONS, required=True),
        "reason": words("why it was done", REASONS),
        "bushing_type": words("type of the bushing that was fitted", BUSHING_TYPES),
        "kit_id": text("the kit that was used, as in kits"),
        "pivots_in_kit": whole("how many pivots the kit line renewed", 1, 99),
        "teardown_finding": words("what the removed bushing showed", FINDINGS),
        "teardown_free_play": play("play of the removed bushing"),
        "free_play_unit": free_play_unit(),
        "parts_cost": number("parts, in the declared currency"),
        "labour_hours": number("hours worked"),
        "downtime_days": number("days the unit stood"),
        "place": words("where it was done", ("shop", "roadside")),
        "currency": text("currency of parts_cost"),
        "remark": text("anything else"),
    },
    needed=True,
    id_column="repair_id",
)
