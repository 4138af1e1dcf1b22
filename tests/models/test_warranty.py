"""Claims: both terms hold, the day they end, what is over, what is worth a reading."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from pivotlife.models.warranty import (
    CLAIM,
    PAST,
    SOON,
    WARRANTY_COLUMNS,
    WATCH,
    warranty_claims,
)

TODAY = pd.Timestamp("2026-07-01")
NAN, NEVER = float("nan"), pd.NaT
KITS = pd.DataFrame(
    {
        "kit_id": ["BOTH", "MILES", "NONE"],
        "warranty_miles": [50_000.0, 100_000.0, 0.0],
        "warranty_months": [12.0, NAN, 0.0],
        "price": [60.0, 70.0, 45.0],
    }
)


def bushing(**over: Any) -> dict[str, Any]:
    return {
        "unit_id": "MD-1", "depot": "Lowfen", "pivot_id": "MD-1.1.left.fixed-eye",
        "life_id": "MD-1.1.left.fixed-eye#2", "bushing_type": "threaded", "kit_id": "BOTH",
        "fitted_date": pd.Timestamp("2026-01-15"), "fitted_odometer_miles": 200_000.0,
        "failed_date": pd.Timestamp("2026-06-01"), "failed_age_miles": 30_000.0,
        "age_miles": 31_000.0, "in_service": True, "miles_per_day": 200.0,
        "chance_over_now": NAN, "removed_reason": "", "paid": 58.5,
        "source_row": "repairs:RP-1", **over,
    }  # fmt: skip


def listed(**over: Any) -> pd.DataFrame:
    found = warranty_claims(pd.DataFrame([bushing(**over)]), KITS, TODAY)
    assert tuple(found.columns) == WARRANTY_COLUMNS
    return found


def test_a_failure_inside_both_terms_is_a_claim() -> None:
    row = listed().iloc[0]
    assert row["status"] == CLAIM
    # Calendar months: twelve months from 15 January 2026.
    assert row["expires_date"] == pd.Timestamp("2027-01-15")
    assert row["days_left"] == 198
    assert row["amount"] == 58.5
    assert row["reason"] == (
        "Found bad on 2026-06-01 after 30,000 miles, fitted 2026-01-15; warranty of 50,000 miles "
        "and 12 months."
    )


@pytest.mark.parametrize(
    ("over", "status"),
    [
        ({"failed_age_miles": 50_000.0}, [CLAIM]),
        ({"failed_age_miles": 50_001.0}, []),
        ({"fitted_date": pd.Timestamp("2025-07-01")}, [SOON]),
        ({"fitted_date": pd.Timestamp("2025-09-28")}, [SOON]),
        ({"fitted_date": pd.Timestamp("2025-09-30")}, [CLAIM]),
        ({"fitted_date": pd.Timestamp("2025-06-15")}, [PAST]),
        ({"fitted_date": pd.Timestamp("2025-05-15")}, []),
        ({"kit_id": "NONE"}, []),
        ({"kit_id": "unheard of"}, []),
        ({"kit_id": "MILES", "fitted_date": pd.Timestamp("2020-01-01")}, [CLAIM]),
        ({"removed_reason": "warranty", "in_service": False}, []),
        ({"in_service": False, "removed_reason": "wear"}, [CLAIM]),
        ({"fitted_date": NEVER}, []),
    ],
)
def test_each_term_decides_by_itself(over: dict[str, Any], status: list[str]) -> None:
    assert listed(**over)["status"].tolist() == status


def test_a_claim_long_past_is_not_shown() -> None:
    old = {"fitted_date": pd.Timestamp("2023-01-01"), "failed_date": pd.Timestamp("2023-05-01")}
    assert listed(**old).empty


def test_a_good_bushing_is_read_before_its_warranty_ends() -> None:
    good = {"failed_date": NEVER, "failed_age_miles": NAN, "chance_over_now": 0.2}
    assert listed(**good).empty
    # 10,000 miles left at 200 a day end before the months do.
    row = listed(**good, age_miles=40_000.0).iloc[0]
    assert row["status"] == WATCH
    assert row["expires_date"] == TODAY + pd.Timedelta(days=50)
    assert row["reason"].endswith("ends 2026-08-20.")
    # Without a pace only the months are known.
    assert listed(**good, age_miles=40_000.0, miles_per_day=NAN).empty
    assert listed(**good, age_miles=50_500.0).empty


def test_what_ends_soon_comes_first_and_likely_failures_before_unlikely() -> None:
    good = {"failed_date": NEVER, "failed_age_miles": NAN, "age_miles": 40_000.0}
    rows = [
        bushing(**good, life_id="c", chance_over_now=0.01),
        bushing(**good, life_id="d", chance_over_now=0.4),
        bushing(life_id="b"),
        bushing(life_id="a", fitted_date=pd.Timestamp("2025-08-01")),
    ]
    found = warranty_claims(pd.DataFrame(rows), KITS, TODAY)
    assert found["life_id"].tolist() == ["a", "b", "d", "c"]


def test_the_price_stands_in_for_what_was_paid() -> None:
    assert listed(paid=NAN)["amount"].tolist() == [60.0]


def test_nothing_fitted_is_an_empty_table() -> None:
    found = warranty_claims(pd.DataFrame([bushing()]).iloc[:0], KITS, TODAY)
    assert found.empty
    assert tuple(found.columns) == WARRANTY_COLUMNS
