"""Forecast against repairs: only finished months, only what repair lines record."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from pivotlife.models.spend_check import SPEND_COLUMNS, actual_spend, band_hits, spend_check

MADE, TODAY = pd.Timestamp("2025-06-30"), pd.Timestamp("2026-06-30")
DEPOTS = {"A": "Lowfen", "B": "Hightor"}
NAN = float("nan")


def repairs(*rows: dict[str, Any]) -> pd.DataFrame:
    usual = {
        "unit_id": "A", "repair_date": pd.Timestamp("2025-08-10"), "action": "replaced",
        "pivots_in_kit": 1.0, "parts_cost": 50.0, "labour_hours": 2.0, "currency": "USD",
    }  # fmt: skip
    return pd.DataFrame([{**usual, **row} for row in rows])


def forecast(work: Any, low: float = 0.0, high: float = 3.0) -> pd.DataFrame:
    months = [f"{day:%Y-%m}" for day in pd.date_range("2025-07-01", periods=14, freq="MS")]
    rows = [
        (month, depot, item, unit, 1.0, low, 1.0, high)
        for month in [*months, "12 months", "14 months"]
        for depot in ("Hightor", "Lowfen", "all")
        for item, unit in (("kits", "kits"), ("labour_hours", "hours"), ("parts_and_labour", "USD"))
    ]
    names = ["month", "depot", "item", "unit", "expected", "p10", "p50", "p90"]
    return pd.DataFrame(rows, columns=names)


def test_repairs_add_up_by_month_and_depot(work: Any) -> None:
    lines = repairs(
        {},
        {"pivots_in_kit": 3.0, "parts_cost": 150.0, "labour_hours": NAN},
        {"unit_id": "B", "parts_cost": 900.0, "currency": "CAD"},
        {"action": "regreased"},
        {"repair_date": pd.Timestamp("2025-09-01"), "pivots_in_kit": NAN},
    )
    found = actual_spend(lines, DEPOTS, work.COSTS).set_index(["month", "depot"])
    # Shop rate of the prices: 100 an hour.
    august = found.loc[("2025-08", "Lowfen")]
    assert (august["kits"], august["labour_hours"], august["parts_and_labour"]) == (4, 2, 400)
    assert (august["repair_lines"], august["lines_without_cost"]) == (2, 1)
    # Amounts in another currency are not added.
    assert found.loc[("2025-08", "Hightor"), "parts_and_labour"] == 200
    assert found.loc[("2025-08", "all"), "kits"] == 5
    assert found.loc[("2025-09", "all"), "kits"] == 1


def test_only_finished_months_after_the_forecast_count(work: Any) -> None:
    lines = repairs(
        {"repair_date": MADE},
        {"repair_date": pd.Timestamp("2025-07-01")},
        {"repair_date": pd.Timestamp("2026-07-01")},
    )
    found = spend_check(forecast(work), lines, DEPOTS, work.COSTS, MADE, TODAY, "run X")
    assert tuple(found.columns) == SPEND_COLUMNS
    assert found["month"].nunique() == 13
    assert "2026-07" not in set(found["month"])
    kits = found[found["item"] == "kits"].set_index(["month", "depot"])["actual"]
    assert kits[("2025-07", "Lowfen")] == 1
    assert kits[("12 months", "all")] == 1
    assert set(found["forecast_from"]) == {"run X"}
    # A month that is not over is not judged, and the year is not judged without it.
    early = spend_check(
        forecast(work), lines, DEPOTS, work.COSTS, MADE, TODAY - pd.Timedelta(days=1)
    )
    assert set(early["month"]) == set(found["month"]) - {"2026-06", "12 months"}


def test_inside_means_between_the_ends_of_the_band(work: Any) -> None:
    lines = repairs(*({"repair_date": pd.Timestamp("2025-08-10")} for _ in range(4)), {})
    found = spend_check(forecast(work, 1.0, 5.0), lines, DEPOTS, work.COSTS, MADE, TODAY)
    kits = found[found["item"] == "kits"].set_index(["month", "depot"])
    assert kits.loc[("2025-08", "Lowfen"), "inside"]
    assert not kits.loc[("2025-07", "Lowfen"), "inside"]
    assert kits.loc[("2025-08", "Lowfen"), "difference"] == 4
    hits = band_hits(found).set_index("item").loc["kits"]
    # 24 single months and depots; sums do not count.
    assert (hits["cells"], hits["inside"]) == (24, 1)
    assert hits["share"] == pytest.approx(1 / 24)


def test_no_finished_month_is_an_empty_table(work: Any) -> None:
    found = spend_check(forecast(work), repairs({}), DEPOTS, work.COSTS, MADE, MADE)
    assert found.empty
    assert tuple(found.columns) == SPEND_COLUMNS
