"""Rows of units, pivots and readings, in the words of the native format.

Beside the native columns each frame carries `unit` (place in the block), `day` and `true_miles`,
which the faults and the truth files need and the writer drops. All numbers are invented.

Not here: repairs (`fleet_repairs`), the tables about the truck as a whole (`fleet_records`), and
faults.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.data import fleet_inspections as fi
from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import FloatArray, words, yes_no
from pivotlife.data.fleet_block import Block, build_of, lengths, play_text, position, recorded


def units_table(block: Block, until_miles: FloatArray) -> pd.DataFrame:
    """One row a truck.

    Parameters
    ----------
    block : Block
    until_miles : ndarray of float, shape (units,)
        True miles on each truck's last day.

    Returns
    -------
    DataFrame
    """
    trucks, meters = block.trucks, block.meters
    unit = np.arange(len(trucks.number))
    gone = ~trucks.in_fleet
    length_unit = words(trucks.depot, sc.DEPOT_LENGTH_UNIT)
    centres, width, outside, pin = lengths(build_of(trucks), length_unit)
    delivered = trucks.day[:, 0]
    begin_miles = trucks.miles_on(unit, trucks.begin_day)
    left = meters.dash(unit, trucks.until_day, until_miles)
    planned = np.ceil(until_miles / 10_000) * 10_000 + 20_000
    return pd.DataFrame(
        {
            "unit_id": block.ids(unit),
            "depot": words(trucks.depot, sc.DEPOTS),
            "duty": words(trucks.duty, sc.DUTIES),
            "road_salt": yes_no(trucks.salt),
            "in_service_date": block.dates(delivered),
            "in_service_odometer": trucks.odometer[:, 0].astype(np.int64),
            "records_begin_date": block.dates(trucks.begin_day),
            "records_begin_odometer": meters.dash(unit, trucks.begin_day, begin_miles),
            "holding_odometer": np.maximum(planned, sc.HOLDING_MILES[trucks.duty]).astype(int),
            "left_fleet_date": np.where(gone, block.dates(trucks.until_day), ""),
            "left_fleet_odometer": np.where(gone, left.astype(str), ""),
            "left_fleet_reason": np.where(gone, words(trucks.wrecked, ("sold", "wrecked")), ""),
            "side_bar_centres": centres,
            "spring_width": width,
            "bushing_outside_diameter": outside,
            "pin_diameter": np.where(trucks.number % 2 == 0, pin, ""),
            "length_unit": length_unit,
            "odometer_unit": "mi",
            "unit": unit,
            "day": trucks.begin_day,
            "true_miles": begin_miles,
        }
    )


def pivots_table(block: Block) -> pd.DataFrame:
    """One row a pivot: what was fitted when the unit's records begin.

    A bushing from the factory has odometer 0; of those renewed since, 70 % are known.

    Parameters
    ----------
    block : Block

    Returns
    -------
    DataFrame
    """
    lives = block.history.lives
    begin = block.trucks.begin_day[lives["unit"]]
    first = (lives["order"] == 1) | (lives["fitted_day"] < begin)
    after = (lives["end_day"] >= begin) | (lives["end_reason"] == 0)
    state = lives.loc[first & after].sort_values(["unit", "pivot", "order"])
    state = state.drop_duplicates(["unit", "pivot"], keep="last")
    miles = state["fitted_miles"].to_numpy()
    unit = state["unit"].to_numpy()
    stop_zero = state.assign(stop=0)
    known = (state["order"] == 1) | (block.drawn(stop_zero, "word") < sc.KNOWN_FITTING_SHARE)
    return pd.DataFrame(
        {
            "unit_id": block.ids(unit),
            **position(state),
            "bushing_type": words(state["kind"], sc.BUSHING_TYPES),
            "fitted_odometer": np.where(known, miles.astype(np.int64).astype(str), ""),
            "odometer_unit": "mi",
            "unit": unit,
            "day": block.trucks.begin_day[unit],
            "true_miles": miles,
        }
    ).reset_index(drop=True)


def readings_table(block: Block) -> pd.DataFrame:
    """One row a reading, by date.

    Parameters
    ----------
    block : Block

    Returns
    -------
    DataFrame
        Native columns but for reading_id, plus life, age, play (true) and kind.
    """
    events = recorded(block, block.history.readings)
    unit, day = events["unit"].to_numpy(), events["day"].to_numpy()
    depot = block.trucks.depot[unit]
    play_unit = sc.DEPOT_PLAY_UNIT[depot]
    kind = events["kind"].to_numpy()
    loaded = block.drawn_sheet(events, "loaded") < sc.LOADED_SHARE
    labelled = block.drawn_sheet(events, "unlabelled") >= sc.UNLABELLED_SHARE
    who = (block.drawn_sheet(events, "inspector") * sc.INSPECTORS_PER_DEPOT).astype(np.int64)
    takes = words(events["takes_grease"], ("no", "yes"))
    said = (takes == "no") | (block.drawn(events, "grease_word") < 0.8)
    sixteenth = block.drawn_sheet(events, "sixteenth") < sc.SIXTEENTH_SHARE
    miles = events["miles"].to_numpy()
    nothing = np.zeros(len(events), dtype=bool)
    return pd.DataFrame(
        {
            "unit_id": block.ids(unit),
            **position(events),
            "reading_date": block.dates(day),
            "entered_date": block.dates(day),
            "odometer": block.meters.dash(unit, day, miles),
            "odometer_unit": "mi",
            "free_play": play_text(events["written"].to_numpy(), play_unit, nothing),
            "free_play_unit": words(play_unit, sc.PLAY_UNITS),
            "direction": words(block.drawn(events, "direction") < 0.1, ("vertical", "fore-aft")),
            "load_state": np.where(labelled, words(loaded, ("unloaded", "loaded")), ""),
            "greased_before": yes_no(block.drawn_sheet(events, "greased") < sc.GREASED_SHARE),
            "after_repair": yes_no(events["after_repair"]),
            "finding": words(events["finding"], fi.FINDINGS),
            "takes_grease": np.where(kind == sc.RUBBER, "not-greasable", np.where(said, takes, "")),
            "inspector": words(depot, sc.DEPOTS) + words(who, (" A", " B", " C", " D")),
            "tool": words(sixteenth, ("dial indicator", "pry bar")),
            "repeat": "",
            "remark": "",
            "unit": unit,
            "pivot": events["pivot"],
            "stop": events["stop"],
            "day": day,
            "true_miles": miles,
            "life": events["life"],
            "age": events["age"],
            "play": events["play"],
            "kind": kind,
        }
    )
