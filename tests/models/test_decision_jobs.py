"""Hours of a job, and which line comes first."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pivotlife.models.decision_costs import CostItems
from pivotlife.models.decision_jobs import labour_hours, ranked

COSTS = CostItems(
    currency="USD",
    parts={},
    hours_first_pivot=2.0,
    hours_same_shackle=0.75,
    hours_same_side=1.1,
    shop_rate=95.0,
    alignment=0.0,
    downtime_per_day=0.0,
    downtime_days_planned=0.0,
    downtime_days_late=0.0,
    downtime_days_roadside=0.0,
    roadside=0.0,
    tow=0.0,
    tyre_pair=0.0,
    tyre_loss_per_mile_over=0.0,
    chance_roadside_when_over=0.0,
)


def lines(*rows: tuple[str, str, str]) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "unit_id": "A",
                "axle": 1.0,
                "side": side,
                "node": node,
                "pivot_id": f"A.1.{side}.{node}" if node else "",
                "decision": decision,
            }
            for side, node, decision in rows
        ]
    )


def test_a_side_shares_its_opening() -> None:
    table = lines(
        ("left", "fixed-eye", "replace"),
        ("left", "shackle-lower", "replace"),
        ("left", "shackle-upper", "park"),
        ("right", "fixed-eye", "replace"),
        ("right", "shackle-upper", "measure"),
        ("right", "shackle-lower", "leave"),
        ("", "", "park"),
    )
    hours = labour_hours(table, COSTS)
    assert hours.iloc[:3].sum() == 2.0 + 0.75 + 1.1
    assert hours.iloc[0] == 1.1
    assert hours.iloc[3:6].tolist() == [2.0, 0.25, 0.0]
    assert np.isnan(hours.iloc[6])


def test_the_order_of_lines_does_not_change_the_hours() -> None:
    rows = [("left", n, "replace") for n in ("fixed-eye", "shackle-lower", "shackle-upper")]
    one = lines(*rows)
    two = lines(*rows[::-1])
    first = labour_hours(one, COSTS).set_axis(one["node"])
    second = labour_hours(two, COSTS).set_axis(two["node"])
    assert first.to_dict() == second.to_dict()


def test_lines_are_ranked_by_urgency() -> None:
    table = pd.DataFrame(
        [
            ("leave", False, 1.0, 50.0, "F"),
            ("replace", False, 90.0, 50.0, "D"),
            ("measure", False, np.nan, np.nan, "E"),
            ("replace", False, 300.0, 50.0, "C2"),
            ("measure", True, 500.0, 0.0, "C"),
            ("replace", True, 0.0, 50.0, "B"),
            ("park", True, np.nan, np.nan, "A"),
        ],
        columns=["decision", "mandatory", "wait_cost", "kept_value", "unit_id"],
    ).assign(pivot_id="p")
    found = ranked(table)
    assert found["unit_id"].tolist() == ["A", "B", "C", "C2", "D", "E", "F"]
    assert found["rank"].tolist() == [1, 2, 3, 4, 5, 6, 7]
