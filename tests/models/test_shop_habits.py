"""Habits read off records: looks, delays, jobs that go together."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from pivotlife.models.shop_habits import acted_at_once, join_shares, look_shares

TODAY = pd.Timestamp("2026-07-01")
NAN = float("nan")
NODES = ("fixed-eye", "shackle-lower", "shackle-upper")


def life(unit: str, side: str, node: str, out: float = NAN, **over: Any) -> dict[str, Any]:
    pivot = f"{unit}.1.{side}.{node}"
    return {
        "life_id": f"{pivot}#1", "pivot_id": pivot, "unit_id": unit, "axle": 1, "side": side,
        "node": node, "duty": "regional", "fitted_odometer_miles": 0.0,
        "removed_odometer_miles": out, "removed_reason": "wear" if out == out else "",  # noqa: PLR0124 - NaN is not itself
        "first_evidence_miles": NAN, **over,
    }  # fmt: skip


def fleet(removed: dict[tuple[str, str, str], float], units: int = 10, **over: Any) -> pd.DataFrame:
    return pd.DataFrame(
        [
            life(f"U{n}", side, node, removed.get((f"U{n}", side, node), NAN), **over)
            for n in range(units)
            for side in ("left", "right")
            for node in NODES
        ]
    )


def test_jobs_that_renewed_all_of_a_shackle_side_and_axle_are_counted() -> None:
    removed = {}
    for n in range(10):
        removed[(f"U{n}", "left", "shackle-lower")] = 1e5
        if n < 6:
            removed[(f"U{n}", "left", "shackle-upper")] = 1e5 + 100
        if n < 3:
            removed[(f"U{n}", "left", "fixed-eye")] = 1e5
    shackle, side, axle = join_shares(fleet(removed))
    assert shackle == pytest.approx(6.5 / 11)
    assert side == pytest.approx(3.5 / 11)
    assert axle == pytest.approx(0.5 / 11)


def test_campaigns_and_sales_say_nothing_of_habits() -> None:
    whole = {
        (f"U{n}", s, node): 1e5 for n in range(10) for s in ("left", "right") for node in NODES
    }
    everything = fleet(whole)
    assert join_shares(everything)[2] == pytest.approx(10.5 / 11)
    for reason in ("sale", "accident"):
        assert join_shares(everything.assign(removed_reason=reason))[2] == pytest.approx(0.5)
    # A campaign took the rest of the job along.
    one = everything["node"].eq("fixed-eye")
    mixed = everything.assign(removed_reason=["campaign" if e else "wear" for e in one])
    assert join_shares(mixed)[2] == pytest.approx(0.5)


def test_what_came_out_when_it_was_found_was_acted_on_at_once() -> None:
    lives = pd.DataFrame(
        [life("U0", "left", node, 1e5, first_evidence_miles=1e5) for node in NODES]
        + [life("U1", "left", "fixed-eye", 1.2e5, first_evidence_miles=1e5)]
        + [life("U2", "left", "fixed-eye", NAN, first_evidence_miles=1e5)]
    )
    assert acted_at_once(lives) == pytest.approx(3.5 / 5)


def test_looks_are_counted_against_services_driven() -> None:
    lives = fleet({}, units=2)
    visits = pd.DataFrame(
        {"unit_id": ["U0", "U1"], "duty": "regional", "miles_per_day": [100.0, 100.0]}
    )
    days = pd.to_datetime(["2024-07-02", "2025-01-01", "2025-07-01", "2026-01-01"])
    readings = pd.DataFrame(
        [{"pivot_id": pivot, "reading_date": day} for pivot in lives["pivot_id"] for day in days]
    )
    twice = pd.concat([readings, readings])
    share = look_shares(twice, lives, visits, {"regional": 7_290.0, "vocational": 5e3}, TODAY)
    # Four looks in 729 days of 100 miles: ten services of 7,290 miles; late half the time when
    # no record says so.
    assert share["regional"] == pytest.approx(1 / (1 / 0.4 + 0.5))
    assert share["vocational"] == pytest.approx(1 / (1 / 0.5 + 0.5))
