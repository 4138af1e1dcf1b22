"""Invented tables of what the records hold and what looks wrong in them, for the page tests."""

from __future__ import annotations

import pandas as pd

NAN = float("nan")


def intake_tables() -> dict[str, pd.DataFrame]:
    """Give `suspects` and `profile` as a run hands them to the pages."""
    suspects = [
        ("odometer", "row 88", "MD-031", "kilometres", "3 values climb 1.61 times", "no"),
        ("odometer", "row 93", "MD-031", "kilometres", "3 values climb 1.61 times", "no"),
        ("readings", "RD-1", "MD-014", "zero-not-measured", "0 after 1.50 mm", "yes"),
        ("readings", "RD-2", "MD-014", "zero-not-measured", "0 after <b>1.60</b> mm", "no"),
    ]
    profile = [
        ("rows", "readings", 8_000, 0.97, NAN, "", "200 withheld, 40 repeated"),
        ("rows", "repairs", 1_000, 0.99, NAN, "", "10 withheld, 0 repeated"),
        ("units", "with readings", 170, 0.95, NAN, "", ""),
        ("units", "without readings", 9, 0.05, NAN, "", ""),
        ("pivots", "with readings", 1_000, 0.93, NAN, "", ""),
        ("pivots", "without readings", 74, 0.07, NAN, "", ""),
        ("since the last reading", "half within", NAN, NAN, 131.0, "days", ""),
    ]
    return {
        "suspects": pd.DataFrame(
            suspects, columns=["table", "row_id", "unit_id", "kind", "evidence", "excluded"]
        ),
        "profile": pd.DataFrame(
            profile, columns=["topic", "item", "count", "share", "value", "unit", "detail"]
        ),
    }
