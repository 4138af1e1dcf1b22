"""What was in each pivot on the day the unit's records begin."""

from __future__ import annotations

from pivotlife.data.contracts.columns import distance, odometer_unit, text, words
from pivotlife.data.contracts.tables import position, table
from pivotlife.data.contracts.vocabulary import BUSHING_TYPES, POSITION

PIVOTS = table(
    "pivots",
    "One pivot of one unit a row: the bushing in it when the unit's records begin.",
    {
        "unit_id": text("the unit, as in units", required=True),
        **position(required=True),
        "bushing_type": words("the bushing in it then", BUSHING_TYPES, required=True),
        "fitted_odometer": distance("odometer when it was fitted; 0 = original, blank = unknown"),
        "odometer_unit": odometer_unit(),
    },
    needed=True,
    key=("unit_id", *POSITION),
)
