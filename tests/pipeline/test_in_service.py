"""The bushings in service today."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd


def only(factory: ModuleType, **tables: object) -> pd.Series:
    rows = factory.fleet(**tables).histories.in_service
    assert len(rows) == 1
    row: pd.Series = rows.iloc[0]
    return row


def test_the_current_bushing_with_its_last_reading(factory: ModuleType) -> None:
    row = only(
        factory,
        units=[factory.unit(holding_odometer=700_000)],
        readings=[
            factory.reading(300, 2.0),
            factory.reading(700, 0.4, direction="lateral"),
            factory.reading(700, 0.6, direction="vertical"),
        ],
        repairs=[factory.repair(600)],
    )
    assert row["life_id"] == factory.PIVOT + "#2"
    assert (row["fitted_miles"], row["age_known"]) == (60_000.0, True)
    assert (row["last_free_play_mm"], row["last_reading_miles"]) == (0.6, 70_000.0)
    assert row["last_reading_date"] == factory.stamp(700)
    assert row["last_reading_source_row"] == "readings:RD-2"
    assert (row["last_good_miles"], row["limit_mm"]) == (10_000.0, 3.2)
    assert (row["depot"], row["duty"], row["road_salt"]) == ("Northpit", "line-haul", "yes")
    assert row["holding_odometer_miles"] == 700_000.0


def test_a_reading_of_the_bushing_before_is_not_this_ones(factory: ModuleType) -> None:
    row = only(factory, readings=[factory.reading(300, 2.0)], repairs=[factory.repair(600)])
    assert pd.isna(row["last_reading_date"])
    assert np.isnan(row["last_free_play_mm"])
    assert row["last_reading_source_row"] == ""


def test_a_look_without_play_is_the_last_look_but_not_the_last_play(factory: ModuleType) -> None:
    row = only(
        factory,
        readings=[
            factory.reading(300, 2.0),
            factory.reading(500, finding="ok"),
            factory.reading(600),
        ],
    )
    assert row["last_reading_date"] == factory.stamp(500)
    assert row["last_free_play_mm"] == 2.0


def test_an_empty_pivot_has_nothing_in_service(factory: ModuleType) -> None:
    fleet = factory.fleet(repairs=[factory.repair(600, action="removed")])
    assert fleet.histories.in_service.empty


def test_an_open_repair_bounds_the_age_by_the_fitting_before(factory: ModuleType) -> None:
    fleet = factory.fleet(
        pivots=factory.six_pivots(),
        repairs=[factory.repair(600), factory.nowhere(factory.repair(800, "warranty"))],
        odometer=[factory.odometer(1000)],
    )
    ages = fleet.histories.in_service.set_index("pivot_id")
    at_most, at_least = ages["age_at_most_miles"], ages["age_at_least_miles"]
    assert at_most[factory.PIVOT] == 40_000.0
    assert at_most["U1.1.right.fixed-eye"] == 100_000.0
    # The open repair of day 800 may have renewed either.
    assert at_least[factory.PIVOT] == at_least["U1.1.right.fixed-eye"] == 20_000.0
