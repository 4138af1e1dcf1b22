"""An invented shortlist and invented prices for the tests of planning. Every number is invented."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pandas as pd

import prices
from pivotlife.models.decision import SHORTLIST_COLUMNS
from pivotlife.models.decision_jobs import labour_hours

NAN = float("nan")
TODAY = pd.Timestamp("2026-07-01")
MONDAY = pd.Timestamp("2026-07-06")

COSTS = replace(
    prices.COSTS,
    parts={"rubber-bonded": 45.0, "threaded": 55.0, "roller": 220.0},
    shop_rate=100.0,
    downtime_per_day=500.0,
    downtime_days_planned=0.5,
    downtime_days_late=1.0,
    tyre_pair=1_000.0,
    tyre_loss_per_mile_over=0.0,
    chance_roadside_when_over=0.0,
)


def line(
    unit: str = "A", side: str = "left", node: str = "fixed-eye", **over: Any
) -> dict[str, Any]:
    return {
        **dict.fromkeys(SHORTLIST_COLUMNS, NAN),
        "unit_id": unit,
        "depot": "Northpit",
        "visit_date": MONDAY + pd.Timedelta(days=1),
        "pivot_id": f"{unit}.1.{side}.{node}",
        "axle": 1,
        "side": side,
        "node": node,
        "bushing_type": "threaded",
        "decision": "replace",
        "mandatory": False,
        "rule": "waiting-costs-more",
        "reason": "Waiting costs more.",
        "chance_over_by_next_visit": 0.3,
        "wait_cost": 150.0,
        "kept_value": 50.0,
        "group_id": f"{unit}@2026-07-07",
        "postponed": "",
        **over,
    }


def shortlist(*lines: dict[str, Any]) -> pd.DataFrame:
    table = pd.DataFrame(list(lines), columns=list(SHORTLIST_COLUMNS))
    table["mandatory"] = table["mandatory"].astype(bool)
    table["labour_hours"] = labour_hours(table, COSTS)
    return table.assign(rank=range(1, len(table) + 1))


def room(hours: float, depot: str = "Northpit", week: pd.Timestamp = MONDAY) -> pd.DataFrame:
    return pd.DataFrame({"depot": [depot], "week_start": [week], "bay_hours": [hours]})


def visits(*units: str) -> pd.DataFrame:
    return pd.DataFrame({"unit_id": units, "visit_miles": 100_000.0, "next_visit_miles": 125_000.0})
