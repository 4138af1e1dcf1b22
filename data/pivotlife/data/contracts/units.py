"""The fleet's trucks and trailers, one row each."""

from __future__ import annotations

from pivotlife.data.contracts.columns import (
    day,
    distance,
    length,
    length_unit,
    odometer_unit,
    text,
    words,
    yes_no,
)
from pivotlife.data.contracts.tables import table
from pivotlife.data.contracts.vocabulary import DUTIES

UNITS = table(
    "units",
    "One truck or trailer a row: where it works, since when, and until when.",
    {
        "unit_id": text("the fleet's own name for the unit", required=True),
        "depot": text("where it is serviced", required=True),
        "duty": words("the work it does", DUTIES, required=True),
        "road_salt": yes_no("whether it runs on salted roads in winter"),
        "in_service_date": day("the day it was first put to work", required=True),
        "in_service_odometer": distance("odometer on that day"),
        "records_begin_date": day("the first day whose repairs are surely on record"),
        "records_begin_odometer": distance("odometer on that day"),
        "holding_odometer": distance("odometer at which it is planned to be sold"),
        "left_fleet_date": day("the day it was sold, wrecked or moved away; blank = still here"),
        "left_fleet_odometer": distance("odometer on that day"),
        "left_fleet_reason": text("why it left"),
        "side_bar_centres": length("distance between the two pins of a shackle side bar"),
        "spring_width": length("width of the spring leaf"),
        "bushing_outside_diameter": length("outside diameter of the bushing"),
        "pin_diameter": length("diameter of the spring pin; blank = over 24 mm"),
        "length_unit": length_unit(),
        "odometer_unit": odometer_unit(),
    },
    needed=True,
    id_column="unit_id",
)
