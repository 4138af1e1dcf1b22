"""Invented tables of lifetime cost, two types in one duty. Every number is invented."""

from __future__ import annotations

from typing import Any

import pandas as pd

from pivotlife.dashboards.inputs import COLUMNS
from pivotlife.models.cost_lines import COUNTS

NAN = float("nan")
PAIR = ("roller", "threaded", "regional")


def type_row(kind: str, **over: Any) -> dict[str, Any]:
    """One type in the regional duty, against threaded."""
    row: dict[str, Any] = dict.fromkeys(COLUMNS["cost_by_type"], 10.0)
    row |= {"bushing_type": kind, "duty": "regional", "reference_type": "threaded"}
    row |= {"trucks_drawn": 400, "holding_miles": 318_968.0, "cash": 4_000.0, "cash_p10": 3_000.0}
    row |= {"cash_p90": 5_000.0, "downtime": 700.0, "downtime_p10": 200.0, "downtime_p90": 1_200.0}
    row |= {"chance_cheaper": 0.7, "chance_cheaper_one_truck": 0.6, "payback_year": 3.0}
    row |= {"cash_saved": -120.0, "downtime_saved": 300.0, "saving": 180.0}
    row |= {"saving_p10": -900.0, "saving_p90": 1_100.0}
    return row | {"policy": "renewed at 90% of the limit", "note": ""} | over


def cost_tables() -> dict[str, pd.DataFrame]:
    """Give every table of lifetime cost."""
    usual = {"saving": 0.0, "chance_cheaper": NAN, "payback_year": NAN}
    rows: dict[str, list[tuple[Any, ...]]] = {
        "cost_break_even": [
            (*PAIR, "kit price", "currency per pivot", 220.0, 251.5, "below", ""),
            (*PAIR, "holding miles", "miles", 318_968.0, NAN, "", "cheaper throughout"),
        ],
        "cost_tornado": [
            (*PAIR, "parts.roller", 165.0, 275.0, 500.0, 180.0, -140.0, 640.0),
            (*PAIR, "tyre_loss_per_mile_over", 1e-6, 2e-6, 150.0, 180.0, 210.0, 60.0),
        ],
        "cost_of_late": [
            (*PAIR, times, 350.0 * times, 100.0 * times, 120.0 * times, "as now", "as now")
            for times in (0.5, 1.0, 2.0, 4.0)
        ],
        "cost_assumptions": [
            ("all", "discount_rate", 0.08, "per year", "default of this program"),
            ("all", "price_escalation", 0.025, "per year", "settings"),
            ("regional", "holding_miles", 318_968.0, "miles", "planned sales"),
        ],
        "long_run_cost": [
            (
                "threaded",
                "regional",
                0.0025,
                "growth of play, simulated",
                0.32,
                273.0,
                861.9,
                "records",
            ),
            ("roller", "regional", 0.0028, "life curve", NAN, NAN, NAN, NAN),
        ],
        "fleet_cost_by_year": [
            (1, 50, 60_000.0, 52_000.0, 68_000.0, 21_000.0, 18_000.0, 25_000.0),
            (2, 50, 40_000.0, 33_000.0, 47_000.0, 14_000.0, 11_000.0, 18_000.0),
        ],
        "conversion_by_unit": [
            _unit("MD-014", 400_000.0, 650.0, "pays", ""),
            _unit("MD-033", 20_000.0, -2_300.0, "does not pay", ""),
        ],
        "cost_quantities": [
            (kind, "regional", year, count, float(year + place + (kind == "roller")))
            for kind in ("threaded", "roller")
            for year in range(3)
            for place, count in enumerate(COUNTS)
        ],
    }
    made = {name: pd.DataFrame(table, columns=list(COLUMNS[name])) for name, table in rows.items()}
    types = [type_row("threaded", **usual), type_row("roller")]
    return {**made, "cost_by_type": pd.DataFrame(types)}


def _unit(unit: str, left: float, saving: float, verdict: str, note: str) -> tuple[Any, ...]:
    return (
        *(unit, "Northpit", "regional", "threaded", "roller", left, 2_800.0),
        *(saving, saving - 900.0, saving + 900.0, 0.8, verdict, note, "set finance.capital_from"),
    )
