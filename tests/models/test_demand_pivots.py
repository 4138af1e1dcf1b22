"""Pivots for the draws: no visit without a miles record, postponed lines a visit later."""

from __future__ import annotations

import pandas as pd

from pivotlife.models.demand_pivots import demand_pivots, listed_visits

TODAY = pd.Timestamp("2026-07-01")


def row(unit: str, **over: object) -> dict[str, object]:
    return {
        "pivot_id": f"{unit}.1.left.fixed-eye", "unit_id": unit, "depot": "Lowfen",
        "duty": "regional", "axle": 1, "side": "left", "node": "fixed-eye",
        "bushing_type": "threaded", "holding_odometer_miles": float("nan"), **over,
    }  # fmt: skip


def visits(*units: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "unit_id": units, "miles_now": 5e4, "miles_per_day": [200.0, float("nan")],
            "visit_date": pd.Timestamp("2026-07-11"), "visit_miles": 5.2e4,
            "next_visit_date": pd.Timestamp("2026-09-09"), "next_visit_miles": 6.4e4,
        }
    )  # fmt: skip


def test_what_the_draws_need_is_put_together() -> None:
    places = pd.DataFrame([row("B", holding_odometer_miles=9e4), row("A")])
    chances = pd.DataFrame(
        {
            "pivot_id": places["pivot_id"], "age_miles": 1e4, "chance_over_now": 0.1,
            "method": ["growth of play (threaded), own readings", "life curve (threaded) alone"],
        }
    )  # fmt: skip
    gaps = {"regional": 15_000.0}
    table = demand_pivots(places, chances, visits("B", "A"), gaps, TODAY, {"B.1.left.fixed-eye": 1})
    # A has no pace: it has no visit at which anything could be renewed.
    assert table["unit_id"].tolist() == ["B"]
    only = table.iloc[0]
    assert (only["first_day"], only["second_day"], only["gap_miles"]) == (10.0, 70.0, 15_000.0)
    assert only["sale_miles"] == 9e4
    assert only["announces"]
    assert only["listed"] == 1


def test_postponed_lines_are_renewed_a_visit_later() -> None:
    shortlist = pd.DataFrame(
        {
            "pivot_id": ["a", "b", "c", "d", ""],
            "decision": ["replace", "park", "measure", "replace", "park"],
            "postponed": ["no", "", "", "yes", ""],
        }
    )
    assert listed_visits(shortlist) == {"a": 0, "b": 0, "d": 1}
