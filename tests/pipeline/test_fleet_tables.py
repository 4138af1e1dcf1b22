"""Overdue readings, missed grease, repairs that came back: on one truck, 100 miles a day."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pandas as pd
import pytest

from pivotlife.pipeline.fleet_tables import inspection_gaps, lube_compliance, repeat_repairs


def gaps(factory: ModuleType, **tables: Any) -> pd.DataFrame:
    fleet = factory.fleet(**tables)
    return inspection_gaps(fleet.histories.in_service, fleet.visits, fleet.settings)


def test_a_pivot_never_read_is_overdue_and_first(factory: ModuleType) -> None:
    """Line-haul: 25,000 miles between services, so 50,000 between readings; day 2000 is today."""
    rows = gaps(
        factory,
        pivots=factory.six_pivots(),
        odometer=[factory.odometer(1900)],
        readings=[
            factory.reading(1400, 1.0),
            factory.reading(1600, 1.0, side="right"),
            factory.reading(1700, "", side="right", node="shackle-lower", finding="ok"),
        ],
    )
    assert "U1.1.right.fixed-eye" not in set(rows["pivot_id"])
    # On metal a look without a figure is no reading of its play.
    assert "U1.1.right.shackle-lower" in set(rows["pivot_id"])
    assert rows["miles_since_reading"].isna().tolist() == [True] * 4 + [False]
    last = rows.iloc[-1]
    assert last["pivot_id"] == factory.PIVOT
    assert last["miles_since_reading"] == pytest.approx(60_000, rel=0.01)
    assert last["overdue_miles"] == pytest.approx(10_000, rel=0.05)


def lubes(factory: ModuleType, *rows: dict[str, Any], **tables: Any) -> pd.DataFrame:
    fleet = factory.fleet(lube=list(rows), odometer=[factory.odometer(1990)], **tables)
    day = (factory.stamp(2000) - pd.Timestamp(0)).days
    return lube_compliance(fleet.histories, fleet.visits, fleet.placed, fleet.settings, float(day))


def test_grease_done_of_grease_due_in_the_last_year(factory: ModuleType) -> None:
    """36,500 miles a year at 7,500 a service are 4.87 services."""
    rows = lubes(
        factory,
        factory.lube(1500),
        factory.lube(1700),
        factory.lube(1800, all_took_grease="unknown"),
        factory.lube(1900),
    )
    assert rows["level"].tolist() == ["depot", "unit"]
    unit = rows.iloc[1]
    assert unit["services_due"] == pytest.approx(36_500 / 7_500, rel=0.01)
    assert (unit["services_done"], unit["not_confirmed"]) == (2.5, 1)
    assert unit["compliance"] == pytest.approx(2.5 / (36_500 / 7_500), rel=0.01)
    assert rows.iloc[0]["compliance"] == unit["compliance"]


def test_rubber_takes_no_grease_and_no_table_says_nothing(factory: ModuleType) -> None:
    rubber = [factory.one_pivot(bushing_type="rubber-bonded")]
    assert lubes(factory, factory.lube(1900), pivots=rubber).empty
    assert lubes(factory).empty


def repeats(factory: ModuleType, *rows: dict[str, Any], within: float = 50_000) -> pd.DataFrame:
    fleet = factory.fleet(repairs=list(rows))
    return repeat_repairs(fleet.histories, fleet.placed, within)


def test_a_renewal_that_came_back_is_listed(factory: ModuleType) -> None:
    rows = [factory.repair(500), factory.repair(800, "rough"), factory.repair(1900)]
    found = repeats(factory, *rows)
    assert len(found) == 1
    row = found.iloc[0]
    assert row["miles_between"] == pytest.approx(30_000)
    assert (row["first_reason"], row["second_reason"]) == ("wear", "rough")
    assert row["source_rows"] == "repairs:RP-0;repairs:RP-1"
    assert row["is_certain"]
    assert repeats(factory, *rows, within=29_999).empty
    assert len(repeats(factory, *rows, within=110_000)) == 2


def test_a_planned_renewal_did_not_come_back(factory: ModuleType) -> None:
    assert repeats(factory, factory.repair(500), factory.repair(800, "preventive")).empty
    assert repeats(factory, factory.repair(500)).empty
