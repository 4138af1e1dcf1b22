"""What was known on a day."""

from __future__ import annotations

from types import ModuleType

from pivotlife.pipeline.known_rows import in_fleet, known_at


def test_rows_are_parted_by_date_and_by_entry(factory: ModuleType) -> None:
    tables = factory.fleet(
        readings=[
            factory.reading(300, 1.0),
            factory.reading(300, 1.0, direction="lateral", entered_date=factory.date(501)),
            factory.reading(501, 1.0),
            factory.reading(500, 1.0, entered_date=factory.date(500)),
        ],
        lube=[factory.lube(500), factory.lube(501)],
        visits=[factory.visit(900)],
        meters=[factory.meter(600, 60_000, 0)],
    ).judged.tables
    known, later = known_at(tables, factory.stamp(500))
    assert known["readings"]["row_number"].tolist() == [2, 5]
    assert known["lube"]["row_number"].tolist() == [2]
    assert len(known["visits"]) == 1
    assert known["meters"].empty
    assert sorted(zip(later["table"], later["row_number"], strict=True)) == [
        ("lube", 3),
        ("meters", 2),
        ("readings", 3),
        ("readings", 4),
    ]
    assert set(later["fate"]) == {"not-needed"}


def test_later_anchors_of_a_unit_are_blanked(factory: ModuleType) -> None:
    unit = factory.unit(
        left_fleet_date=factory.date(600),
        left_fleet_odometer=60_000,
        records_begin_date=factory.date(100),
    )
    known, _ = known_at(factory.fleet(units=[unit]).placed.tables, factory.stamp(500))
    row = known["units"].iloc[0]
    assert (
        row[["left_fleet_date", "left_fleet_odometer_miles", "left_fleet_true_miles"]].isna().all()
    )
    assert row["records_begin_date"] == factory.stamp(100)


def test_cutting_twice_is_cutting_once(factory: ModuleType) -> None:
    tables = factory.fleet(readings=[factory.reading(day, 1.0) for day in (1, 2, 3)]).judged.tables
    once, _ = known_at(tables, factory.stamp(2))
    twice, later = known_at(once, factory.stamp(2))
    assert later.empty
    assert all(once[name].equals(twice[name]) for name in once)


def test_a_unit_is_gone_on_the_day_it_leaves(factory: ModuleType) -> None:
    units = factory.fleet(units=[factory.unit(left_fleet_date=factory.date(600))]).judged.tables[
        "units"
    ]
    days = (-1, 0, 599, 600)
    assert [in_fleet(units, factory.stamp(day)).item() for day in days] == [
        False,
        True,
        True,
        False,
    ]
