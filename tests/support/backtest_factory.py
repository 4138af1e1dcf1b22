"""Invented forecasts and looks for the backtest tests: a truck that drives 100 miles a day.

The list stands on 2025-01-01 at 100,000 miles; the next visit is expected after 60 days and 6,000
miles, the one after 60 days later. A test overrides only what it is about.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

DAY = pd.Timestamp("2025-01-01")
TODAY = pd.Timestamp("2026-01-01")
PIVOT = "MD-001.1.left.fixed-eye"


def forecast(**over: Any) -> dict[str, Any]:
    row = {
        "standing_date": DAY,
        "unit_id": "MD-001",
        "depot": "Northpit",
        "duty": "regional",
        "pivot_id": PIVOT,
        "axle": 1,
        "side": "left",
        "node": "fixed-eye",
        "bushing_type": "threaded",
        "limit_mm": 3.2,
        "decision": "leave",
        "rule": "waiting-costs-less",
        "held": False,
        "method": "growth of play",
        "readings_used": 3,
        "age_miles": 90_000.0,
        "miles_now": 100_000.0,
        "visit_date": DAY + pd.Timedelta(days=60),
        "visit_miles": 106_000.0,
        "next_visit_date": DAY + pd.Timedelta(days=120),
        "next_visit_miles": 112_000.0,
        "last_reading_miles": 95_000.0,
        "chance_over_now": 0.1,
        "chance_over_at_visit": 0.2,
        "chance_over_by_next_visit": 0.4,
        "renewals_known": 0,
    }
    return row | over


def look(day: int, kind: str = "reading", **over: Any) -> dict[str, Any]:
    """Describe what was found some days after the list."""
    row = {
        "pivot_id": PIVOT,
        "date": DAY + pd.Timedelta(days=day),
        "true_miles": 100_000.0 + 100.0 * day,
        "kind": kind,
        "play_mm": np.nan,
        "finding": "",
        "worn": False,
        "sound": kind == "reading",
        "after_repair": False,
        "is_plain": True,
        "source_row": f"readings:day {day}",
    }
    return row | over


def frame(rows: list[dict[str, Any]], like: dict[str, Any]) -> pd.DataFrame:
    """Make a table of rows; without any it keeps the columns and their kinds."""
    whole = pd.DataFrame([like, *rows])
    return whole.iloc[1:].reset_index(drop=True)


def looks(*rows: dict[str, Any]) -> pd.DataFrame:
    return frame(list(rows), look(0))


def renewals(*days: int, pivot_id: str = PIVOT) -> pd.DataFrame:
    rows = [{"pivot_id": pivot_id, "date": DAY + pd.Timedelta(days=day)} for day in days]
    return frame(rows, {"pivot_id": pivot_id, "date": DAY})


def pair(**over: Any) -> dict[str, Any]:
    """Describe one pair as `pair_up` and `with_weights` hand it on."""
    row = forecast() | {
        "bushing": f"{over.get('pivot_id', PIVOT)}#0",
        "miles_since_reading": 5_000.0,
        "is_due": True,
        "outcome": "sound",
        "worn_later_miles": np.nan,
        "how": "reading",
        "look_date": DAY + pd.Timedelta(days=60),
        "look_miles": 106_000.0,
        "chance_at_look": 0.2,
        "is_removed": False,
        "has_reading": True,
        "is_plain": True,
        "look_source_row": "readings:day 60",
        "in_calibration": True,
        "is_verified": True,
        "weight": 1.0,
    }
    return row | over


def many(
    seed: int, pairs: int = 3_000, units: int = 150, truth: float = 1.0, alike: float = 0.0
) -> pd.DataFrame:
    """Draw pairs whose chances are right up to a factor on their odds, all of them looked at.

    `alike`: standard deviation of what the pivots of one truck share, in log odds.
    """
    rng = np.random.default_rng(seed)
    unit = rng.integers(units, size=pairs)
    log_odds = rng.normal(-2.0, 1.5, pairs)
    shared = alike * rng.standard_normal(units)[unit]
    chance = 1.0 / (1.0 + np.exp(-log_odds))
    happens = 1.0 / (1.0 + np.exp(-(log_odds + np.log(truth) + shared)))
    worn = rng.random(pairs) < happens
    ids = [f"MD-{number:03d}" for number in unit]
    pivot = [f"{name}.{place}" for place, name in enumerate(ids)]
    table = pd.DataFrame(
        {
            **{name: [value] * pairs for name, value in pair().items()},
            "unit_id": ids,
            "pivot_id": pivot,
            "bushing": pivot,
            "duty": rng.choice(["line-haul", "regional", "vocational"], pairs),
            "depot": rng.choice(["Northpit", "Saltmere"], pairs),
            "chance_over_at_visit": chance,
            "chance_at_look": chance,
            "outcome": np.where(worn, "worn", "sound"),
            "miles_since_reading": rng.uniform(2_000.0, 40_000.0, pairs),
        }
    )
    return table.assign(decision=np.where(chance > 0.3, "replace", "leave"))
