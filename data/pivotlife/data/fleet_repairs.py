"""Rows of repairs: what was done, what the removed bushing showed, and what it cost.

Not here: faults such as missing positions and causes. All numbers are invented.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.data import fleet_inspections as fi
from pivotlife.data import scenario as sc
from pivotlife.data.fleet_arrays import TextArray, words
from pivotlife.data.fleet_block import (
    CURRENCY,
    PARTS_COST,
    Block,
    build_of,
    kit_ids,
    play_text,
    position,
    recorded,
)
from pivotlife.data.fleet_shop import REASONS


def _teardown(block: Block, events: pd.DataFrame) -> tuple[TextArray, TextArray]:
    """Say what the removed bushings showed: finding and free play as written."""
    lives = block.history.lives.iloc[events["life"]]
    old, seized = lives["kind"].to_numpy(), lives["seized"].to_numpy()
    spent, reason = events["spent"].to_numpy(), words(events["reason"], REASONS)
    rubber = old == sc.RUBBER
    depot = block.trucks.depot[events["unit"]]
    unit = sc.DEPOT_PLAY_UNIT[depot]
    noise = block.draws.gauge[events["unit"], events["stop"], events["pivot"], 2]
    shown = fi.write_play(events["play"].to_numpy() + 0.05 * noise, unit, np.zeros(1, bool))
    stuck = seized & spent
    finding = np.where(np.round(shown.written_mm, 3) < sc.LIMIT_MM, "ok", "")
    torn = np.where(lives["extruded"], "extruded", "split")
    finding = np.where(rubber, np.where(spent, torn, "ok"), finding)
    finding = np.where(events["bore_told"], "loose-fit", finding)
    finding = np.where(stuck, "seized", finding)
    finding = np.where(reason == "broken", "broken", finding)
    told = events["bore_told"] | (reason == "broken")
    kept = told | (block.drawn(events, "teardown") < sc.TEARDOWN_SHARE)
    kept = (kept & ~events["regreased"]).to_numpy()
    play = play_text(shown.written, unit, ~kept | rubber | stuck | (reason == "broken"))
    return np.where(kept, finding, "").astype(object), play


def _work(block: Block, events: pd.DataFrame) -> dict[str, object]:
    """Parts, hours and days of jobs; set-ups are shared along one side of one job."""
    regreased, roadside = events["regreased"].to_numpy(), events["roadside"].to_numpy()
    job = [events["unit"], events["day"], events["regreased"]]
    side = sc.PIVOT_SIDE[events["pivot"]]
    later_on_side = events.groupby([*job, side]).cumcount().to_numpy() > 0
    later_in_job = events.groupby(job).cumcount().to_numpy() > 0
    vary = 0.9 + 0.2 * block.drawn(events, "direction")
    kind = events["kind"].to_numpy()
    converts = kind != block.history.lives["kind"].to_numpy()[events["life"]]
    hours = np.where(later_on_side, 0.8, 2.2) + 0.75 * converts
    hours = np.where(regreased, 0.3, hours * np.where(roadside, 1.6, 1.0)) * vary
    days = np.where(later_in_job | regreased, 0.0, np.where(roadside, 1.5, 0.5) * vary)
    cost = np.where(regreased, 0.0, PARTS_COST[kind] * vary)
    return {
        "parts_cost": np.round(cost, 2),
        "labour_hours": np.round(hours, 1),
        "downtime_days": np.round(days, 2),
    }


def repairs_table(block: Block) -> pd.DataFrame:
    """One row a repaired pivot, by date.

    Parameters
    ----------
    block : Block

    Returns
    -------
    DataFrame
        Native columns but for repair_id, plus unit, pivot, stop, day and true_miles.
    """
    events = recorded(block, block.history.repairs)
    unit, day = events["unit"].to_numpy(), events["day"].to_numpy()
    renewed = ~events["regreased"].to_numpy(dtype=bool)
    kind, pivot = events["kind"].to_numpy(), events["pivot"].to_numpy()
    finding, play = _teardown(block, events)
    kit = kit_ids(kind, sc.PIVOT_NODE[pivot], build_of(block.trucks)[unit])
    miles = events["miles"].to_numpy()
    return pd.DataFrame(
        {
            "unit_id": block.ids(unit),
            **position(events),
            "repair_date": block.dates(day),
            "entered_date": block.dates(day),
            "odometer": block.meters.dash(unit, day, miles),
            "odometer_unit": "mi",
            "action": words(renewed, ("regreased", "replaced")),
            "reason": words(events["reason"], REASONS),
            "bushing_type": np.where(renewed, words(kind, sc.BUSHING_TYPES), ""),
            "kit_id": np.where(renewed, kit, ""),
            "pivots_in_kit": np.where(renewed, "1", ""),
            "teardown_finding": finding,
            "teardown_free_play": play,
            "free_play_unit": np.where(
                play != "", words(sc.DEPOT_PLAY_UNIT[block.trucks.depot[unit]], sc.PLAY_UNITS), ""
            ),
            **_work(block, events),
            "place": words(events["roadside"], ("shop", "roadside")),
            "currency": CURRENCY,
            "remark": np.where(renewed, "", "put off to the next service"),
            "unit": unit,
            "pivot": pivot,
            "stop": events["stop"],
            "day": day,
            "true_miles": miles,
        }
    )
