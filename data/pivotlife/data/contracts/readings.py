"""What inspectors measured and found."""

from __future__ import annotations

from pivotlife.data.contracts.columns import (
    day,
    distance,
    free_play_unit,
    length,
    length_unit,
    odometer_unit,
    play,
    text,
    words,
    yes_no,
)
from pivotlife.data.contracts.tables import position, table
from pivotlife.data.contracts.vocabulary import FINDINGS

READINGS = table(
    "readings",
    "One look at one pivot a row: the free play read, the finding, or both.",
    {
        "reading_id": text("names the row, once in the table", required=True),
        "unit_id": text("the unit, as in units", required=True),
        **position(),
        "reading_date": day("the day it was looked at", required=True),
        "entered_date": day("the day it was typed in"),
        "odometer": distance("odometer then", required=True),
        "odometer_unit": odometer_unit(),
        "free_play": play("total movement at the pivot; blank = not measured"),
        "free_play_unit": free_play_unit(),
        "direction": words("which way it was moved", ("vertical", "fore-aft", "lateral")),
        "load_state": words("load on the spring while measuring", ("loaded", "unloaded")),
        "greased_before": yes_no("whether it was greased just before measuring"),
        "after_repair": yes_no("whether it was measured after that day's repair"),
        "finding": words("what was found besides play; blank = not said", FINDINGS),
        "takes_grease": words("whether the pin took grease", ("yes", "no", "not-greasable")),
        "inspector": text("who looked"),
        "tool": text("what it was measured with"),
        "repeat": text("which of several tries this is"),
        "remark": text("anything else"),
        "side_bar_centres": length("distance between the two pins of the side bar, measured there"),
        "spring_width": length("width of the spring leaf, measured there"),
        "bushing_outside_diameter": length("outside diameter of the bushing, measured there"),
        "length_unit": length_unit(),
    },
    needed=True,
    id_column="reading_id",
)
