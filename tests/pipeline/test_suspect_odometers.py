"""Odometers off their unit's track, and odd stretches, one listed value each."""

from __future__ import annotations

from types import ModuleType


def test_a_value_off_the_track(factory: ModuleType) -> None:
    rows = [factory.odometer(day) for day in (100, 300, 400)]
    fleet = factory.fleet(odometer=[*rows, factory.odometer(200, odometer=120_000)])
    (row,) = fleet.suspects().to_dict("records")
    assert (row["kind"], row["table"], row["column"]) == (
        "odometer-off-track",
        "odometer",
        "odometer",
    )
    assert row["row_id"] == "row 5"
    assert row["evidence"] == (
        "120,000 miles do not fit the unit's others, which stand at 20,000 that day (interpolated)"
    )
    assert factory.fleet(odometer=[*rows, factory.odometer(200)]).suspects().empty


def test_a_doubted_anchor_of_a_unit_names_its_column(factory: ModuleType) -> None:
    begun = factory.unit(records_begin_date=factory.date(200), records_begin_odometer=500_000)
    rows = [factory.odometer(day) for day in (100, 300, 400)]
    fleet = factory.fleet(units=[begun], odometer=rows)
    (row,) = fleet.suspects("odometer-off-track").to_dict("records")
    assert (row["table"], row["column"]) == ("units", "records_begin_odometer")


def test_every_value_of_a_stretch_is_listed(factory: ModuleType) -> None:
    km = range(1300, 1601, 50)
    rows = [
        factory.odometer(day, odometer=round(day * (160.9344 if day in km else 100)))
        for day in range(50, 2001, 50)
    ]
    fleet = factory.fleet(odometer=rows)
    listed = fleet.suspects("kilometres")
    assert listed["row_number"].tolist() == [day // 50 + 1 for day in km]
    assert listed["evidence"].nunique() == 1
    assert set(listed["column"]) == {"odometer"}
