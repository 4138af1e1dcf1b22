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
        "removed_odometer_miles": out, "removed_reason": "" if pd.isna(out) else "wear",
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


def test_what_jobs_took_along_is_counted() -> None:
    removed, bad = {}, set()
    for n in range(10):
        removed[(f"U{n}", "left", "shackle-lower")] = 1e5
        bad.add((f"U{n}", "left", "shackle-lower"))
        if n < 6:
            removed[(f"U{n}", "left", "shackle-upper")] = 1e5 + 100
        if n < 3:
            removed[(f"U{n}", "left", "fixed-eye")] = 1e5
    lives = fleet(removed)
    keys = zip(lives["unit_id"], lives["side"], lives["node"], strict=True)
    reasons = ["wear" if key in bad else "partner" if key in removed else "" for key in keys]
    shackle, side, axle = join_shares(lives.assign(removed_reason=reasons))
    assert shackle == pytest.approx(6.5 / 12)
    assert side == pytest.approx(3.5 / 12)
    assert axle == pytest.approx(0.5 / 12)


def test_what_had_to_come_out_itself_joined_nobody() -> None:
    removed = {
        (f"U{n}", "left", node): 1e5 for n in range(10) for node in ("shackle-lower", "fixed-eye")
    }
    # Eye and lower pin both failed: the upper pin stayed, so no shackle, and nothing of the
    # side was left to join beyond it.
    assert join_shares(fleet(removed)) == pytest.approx((0.5 / 12, 0.25, 0.5 / 12))
    # Without any job there is only the guess.
    assert join_shares(fleet({})) == pytest.approx((0.25, 0.25, 0.25))


def test_campaigns_and_sales_say_nothing_of_habits() -> None:
    removed = {(f"U{n}", "left", node): 1e5 for n in range(10) for node in NODES}
    lives = fleet(removed)
    eye = lives["node"].eq("fixed-eye")
    wore = lives.assign(removed_reason=["wear" if e else "partner" for e in eye])
    assert join_shares(wore)[1] == pytest.approx(10.5 / 12)
    for reason in ("sale", "accident"):
        assert join_shares(lives.assign(removed_reason=reason))[1] == pytest.approx(0.25)
    # A campaign took the rest of the job along.
    mixed = lives.assign(removed_reason=["wear" if e else "campaign" for e in eye])
    assert join_shares(mixed)[1] == pytest.approx(0.25)


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
