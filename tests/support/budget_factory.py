"""Invented tables of budget, stock, warranty and spend. Every number is invented."""

from __future__ import annotations

from typing import Any

import pandas as pd

from pivotlife.dashboards.inputs import COLUMNS

NAN = float("nan")
DEPOTS = ("Hightor", "Northpit", "all")
#: Expected amount of an item in a month of one depot.
AMOUNTS = {
    "kits": 6.0,
    "labour_hours": 9.0,
    "cash": 2_100.0,
    "downtime_days": 1.5,
    "downtime": 825.0,
}


def budget() -> pd.DataFrame:
    """Three months and the sum of twelve, two depots; the list makes up all of the first month."""
    rows = []
    for place, month in enumerate(("2026-11", "2026-12", "2027-01", "12 months")):
        for depot in DEPOTS:
            for item, amount in AMOUNTS.items():
                whole = amount * (2 if depot == "all" else 1) * (12 if place == 3 else 1)
                listed = {0: whole, 3: whole / 12}.get(place, 0.0)
                rows.append((month, depot, item, whole, 0.7 * whole, 1.4 * whole, listed))
    return pd.DataFrame(rows, columns=list(COLUMNS["budget"]))


def budget_tables() -> dict[str, pd.DataFrame]:
    """Give what finance looks ahead and back with."""
    kit = ("KIT-TFE-4", 3.4, 6)
    shelf = (8.0, 5.0, 0.0, 7.0, 3.0, "threaded", "fixed-eye")
    no_shelf = (NAN, NAN, NAN, NAN, NAN, "threaded", "fixed-eye")
    day = pd.Timestamp("2026-12-20")
    found = "Found bad on 2026-11-02 after 30,000 miles, fitted 2025-12-20; warranty of 12 months."
    pivot = ("MD-014.1.left.fixed-eye", "Northpit", "KIT-TFE-4")
    made = (pd.Timestamp("2025-11-25"), "run 2025-11-25")
    rows: dict[str, list[tuple[Any, ...]]] = {
        "kit_demand": [
            ("2026-11", "all", *kit, *shelf),
            ("2026-11", "Northpit", *kit, 5.0, *no_shelf[1:]),
            ("2026-Q4", "all", "KIT-TFE-4", 7.1, 11, *no_shelf),
        ],
        "warranty_claims": [
            ("claim now, expires soon", *pivot, found, day, 25.0, 61.5, 0.14),
            ("read before it expires", *pivot, "In service.", pd.NaT, NAN, 60.0, 0.3),
        ],
        "spend_against_forecast": [
            (month, depot, item, 10.0, 6.0, 14.0, actual, actual <= 14.0, 12, *made)
            for month, depot, actual in (
                ("2025-12", "Northpit", 12.0),
                ("2026-01", "Northpit", 20.0),
                ("2025-12", "all", 12.0),
                ("12 months", "Northpit", 13.0),
                ("12 months", "all", 13.0),
            )
            for item in ("kits", "labour_hours", "parts_and_labour")
        ],
    }
    made_tables = {
        name: pd.DataFrame(own, columns=list(COLUMNS[name])) for name, own in rows.items()
    }
    return {"budget": budget(), **made_tables}
