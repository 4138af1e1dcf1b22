"""Bushings tied to the repair that fitted them, and the day they were found bad."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pandas as pd

from pivotlife.pipeline.warranty_bushings import fitted_bushings

NAN = float("nan")
PIVOT = "A.1.left.fixed-eye"


def lives(*rows: dict[str, Any]) -> pd.DataFrame:
    usual = {
        "pivot_id": PIVOT, "unit_id": "A", "bushing_type": "threaded",
        "removed_odometer_miles": NAN, "removed_reason": "", "first_evidence_miles": NAN,
    }  # fmt: skip
    return pd.DataFrame([{**usual, **row} for row in rows])


def histories(bad: list[tuple[str, str]] | None = None, *, certain: bool = True) -> Any:
    """Original bushing, one fitted at 100,000 miles that came out at 150,000, one in service."""
    seen = pd.DataFrame(bad or [], columns=["life_id", "reading_date"])
    return SimpleNamespace(
        lives=lives(
            {"life_id": "#1", "fitted_odometer_miles": 0.0, "removed_odometer_miles": 1e5},
            {
                "life_id": "#2",
                "fitted_odometer_miles": 1e5,
                "removed_odometer_miles": 1.5e5,
                "removed_reason": "wear",
                "first_evidence_miles": 5e4,
            },
            {"life_id": "#3", "fitted_odometer_miles": 1.5e5},
        ),
        renewals=pd.DataFrame(
            {
                "pivot_id": PIVOT,
                "source_row": ["repairs:R1", "repairs:R2"],
                "certain": certain,
                "date": pd.to_datetime(["2025-01-10", "2026-02-20"]),
            }
        ),
        readings=seen.assign(is_bad=True, reading_date=pd.to_datetime(seen["reading_date"])),
        in_service=pd.DataFrame({"life_id": ["#3"]}),
    )


REPAIRS = pd.DataFrame(
    {
        "source_row": ["repairs:R1", "repairs:R2"], "kit_id": ["K1", "K2"],
        "parts_cost": [180.0, 61.0], "pivots_in_kit": [3.0, NAN], "true_miles": [100_000.2, 1.5e5],
    }
)  # fmt: skip
VISITS = pd.DataFrame(
    {"unit_id": ["A"], "depot": ["Lowfen"], "miles_now": [1.7e5], "miles_per_day": [200.0]}
)
GROWTH = pd.DataFrame({"pivot_id": [PIVOT], "chance_over_now": [0.1]})


def test_each_bushing_knows_its_kit_and_its_end() -> None:
    found = fitted_bushings(histories(), REPAIRS, VISITS, GROWTH).set_index("life_id")
    assert found.index.tolist() == ["#2", "#3"]
    old, now = found.loc["#2"], found.loc["#3"]
    assert (old["kit_id"], old["paid"], old["source_row"]) == ("K1", 60.0, "repairs:R1")
    # No reading told: it was found when its successor went in.
    assert old["failed_date"] == pd.Timestamp("2026-02-20")
    assert (old["age_miles"], old["in_service"]) == (50_000.0, False)
    assert (now["age_miles"], now["chance_over_now"]) == (20_000.0, 0.1)
    assert pd.isna(now["failed_date"])


def test_the_first_bad_reading_dates_the_failure() -> None:
    bad = [("#2", "2026-01-05"), ("#2", "2025-12-01"), ("#3", "2026-05-01")]
    found = fitted_bushings(histories(bad), REPAIRS, VISITS, GROWTH).set_index("life_id")
    assert found.loc["#2", "failed_date"] == pd.Timestamp("2025-12-01")
    # A reading that the record does not count as evidence of that bushing ends nothing.
    assert pd.isna(found.loc["#3", "failed_date"])


def test_what_is_only_inferred_makes_no_claim() -> None:
    assert fitted_bushings(histories(certain=False), REPAIRS, VISITS, GROWTH).empty
