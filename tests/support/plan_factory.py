"""Invented tables of what a fleet manager plans with. Every number is invented."""

from __future__ import annotations

from typing import Any

import pandas as pd

import budget_factory
from pivotlife.dashboards.inputs import COLUMNS

NAN = float("nan")


def fleet_tables() -> dict[str, pd.DataFrame]:
    """Give what the fleet manager plans with, one or two rows each."""
    day = pd.Timestamp("2026-12-03")
    monday = pd.Timestamp("2026-11-30")
    fixed, lower = "MD-014.1.left.fixed-eye", "MD-014.1.left.shackle-lower"
    asks = "bushing outside diameter"
    rows: dict[str, list[tuple[Any, ...]]] = {
        "kit_matches": [
            (fixed, "KIT-TFE-4", "fits", "", "driver 1.75", "on the shelf"),
            (lower, "", "measure before ordering", asks, "", ""),
        ],
        "kits_to_stage": [
            *[("Northpit", day, "KIT-TFE-4", "threaded", "fixed-eye", "driver 1.75")],
        ],
        "hours_by_week": [("Northpit", monday, 14.0, 0.5, 2.0, 16.5, 12.0, 2.0, 3.1, 2)],
        "inspection_gaps": [("Saltmere", "MD-090", "MD-090.1.right.fixed-eye", NAN, NAN)],
        "lube_compliance": [
            ("depot", "Northpit", "", 9.74, 6.5, pd.Timestamp("2026-11-20"), 0.667),
            ("unit", "Northpit", "MD-014", 4.87, 2.5, pd.Timestamp("2026-10-02"), 0.513),
        ],
        "repeat_repairs": [
            *[
                ("MD-014", "Northpit", fixed, "threaded", pd.Timestamp("2025-11-03")),
            ],
        ],
        "changes": [("MD-014", fixed, "in", "leave", "replace", "reading", "last reading 3.4 mm")],
        "unit_sizes": [("MD-014", 101.6, 101.6, NAN, NAN)],
    }
    rows["kits_to_stage"] = [(*rows["kits_to_stage"][0], 3, 2, 1, monday, "order")]
    again = (pd.Timestamp("2026-09-01"), 31_200.0, "wear", "rough", True)
    rows["repeat_repairs"] = [rows["repeat_repairs"][0] + again]
    made = {name: pd.DataFrame(table, columns=list(COLUMNS[name])) for name, table in rows.items()}
    return made | budget_factory.budget_tables()
