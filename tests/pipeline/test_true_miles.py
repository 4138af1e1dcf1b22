"""True miles: what happens to good, mistyped, rolled back, kilometre and restarted odometers."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pivotlife.pipeline.odometer_ends import steep_units
from pivotlife.pipeline.true_miles import TrueMiles, true_miles

DAYS = list(range(50, 1050, 50))


def track(factory: ModuleType, wrong: dict[int, float], **tables: object) -> TrueMiles:
    """Odometers every 50 days at 100 miles a day, some of them wrong."""
    rows = [
        factory.odometer(day, odometer=wrong.get(day, day * factory.MILES_PER_DAY)) for day in DAYS
    ]
    placed: TrueMiles = factory.fleet(odometer=rows, **tables).placed
    return placed


def long_track(factory: ModuleType, in_km: range) -> TrueMiles:
    """Odometers to day 2000, written in kilometres on the days of `in_km`."""
    rows = [
        factory.odometer(day, odometer=day * (160.9344 if day in in_km else 100.0))
        for day in range(50, 2001, 50)
    ]
    placed: TrueMiles = factory.fleet(odometer=rows).placed
    return placed


def at(placed: TrueMiles, day: int) -> tuple[object, object]:
    row = placed.tables["odometer"].iloc[DAYS.index(day)]
    return row["true_miles"], row["miles_mark"]


def test_clean_values_stay_as_they_are(factory: ModuleType) -> None:
    placed = track(factory, {})
    assert (placed.points["mark"] == "kept").all()
    assert (placed.points["true_miles"] == placed.points["odometer_miles"]).all()
    assert placed.suspects.empty
    assert placed.unplaced.empty


@pytest.mark.parametrize("written", [500_000.0, 5_000.0, 56_000.0, 0.0, 80_467.0])
def test_a_wrong_value_takes_the_miles_between_its_neighbours(
    factory: ModuleType, written: float
) -> None:
    # A digit too many, one too few, a digit wrong, nothing, kilometres.
    miles, mark = at(track(factory, {500: written}), 500)
    assert (miles, mark) == (pytest.approx(50_000.0), "interpolated")


def test_a_rolled_back_last_value_is_extrapolated_at_the_units_own_rate(
    factory: ModuleType,
) -> None:
    miles, mark = at(track(factory, {1000: 40_000.0}), 1000)
    assert (miles, mark) == (pytest.approx(100_000.0), "extrapolated")


def test_a_recorded_meter_change_is_added(factory: ModuleType) -> None:
    restarted = {day: (day - 600) * 100.0 for day in DAYS if day > 600}
    placed = track(factory, restarted, meters=[factory.meter(600, 60_000, 0)])
    assert at(placed, 600) == (60_000.0, "kept")
    assert at(placed, 1000) == (100_000.0, "kept")
    assert placed.suspects.empty
    assert placed.tables["meters"]["true_miles"].tolist() == [60_000.0]


def test_on_the_day_of_the_change_a_value_belongs_to_the_meter_it_is_near(
    factory: ModuleType,
) -> None:
    restarted = {day: (day - 600) * 100.0 for day in DAYS if day >= 600}
    placed = track(factory, restarted, meters=[factory.meter(600, 60_000, 0)])
    assert at(placed, 600) == (60_000.0, "kept")


def test_an_engine_computer_goes_on_counting_when_the_dash_is_changed(
    factory: ModuleType,
) -> None:
    rows = [
        factory.odometer(
            day,
            odometer=(day - 600) * 100 if day > 600 and day % 100 else day * 100,
            source="dash" if day % 100 else "engine",
        )
        for day in DAYS
    ]
    placed = factory.fleet(odometer=rows, meters=[factory.meter(600, 60_000, 0)]).placed
    assert placed.tables["odometer"]["true_miles"].tolist() == [100.0 * day for day in DAYS]


def test_an_unrecorded_meter_change_is_suspected_and_both_runs_are_kept(
    factory: ModuleType,
) -> None:
    restarted = {day: (day - 600) * 100.0 + 40 for day in DAYS if day > 600}
    placed = track(factory, restarted)
    assert placed.suspects["kind"].tolist() == ["meter-change"]
    assert "8 values after" in placed.suspects["detail"].iloc[0]
    assert len(placed.suspects["source_rows"].iloc[0].split(";")) == 8
    miles, mark = at(placed, 1000)
    assert (miles, mark) == (pytest.approx(100_000.0, rel=1e-3), "kept")


def test_a_new_meter_on_a_busier_truck_is_no_kilometres(factory: ModuleType) -> None:
    """A slope of 1.6 alone is not enough: kilometres also stand 1.6 times as high."""
    restarted = {day: (day - 600) * 160.9344 for day in DAYS if day > 600}
    placed = track(factory, restarted)
    assert placed.suspects["kind"].tolist() == ["meter-change"]
    assert at(placed, 1000)[1] == "kept"


def test_four_values_are_not_yet_a_second_meter(factory: ModuleType) -> None:
    restarted = {day: (day - 800) * 100.0 + 40 for day in DAYS if day > 800}
    placed = track(factory, restarted)
    assert placed.suspects.empty
    assert at(placed, 1000)[1] == "extrapolated"


def test_a_stretch_in_kilometres_is_reported_and_not_converted(factory: ModuleType) -> None:
    placed = long_track(factory, range(1300, 1601))
    assert placed.suspects["kind"].tolist() == ["kilometres"]
    row = placed.tables["odometer"].set_index("odometer_miles").loc[1450 * 160.9344]
    assert (row["true_miles"], row["miles_mark"]) == (pytest.approx(145_000.0), "interpolated")


def test_a_last_stretch_in_kilometres_is_no_meter_change(factory: ModuleType) -> None:
    placed = long_track(factory, range(1600, 2001))
    assert placed.suspects["kind"].tolist() == ["kilometres"]
    # The jump could have been driven, so the values stay; they are reported, not converted.
    assert placed.tables["odometer"]["true_miles"].iloc[-1] == pytest.approx(2000 * 160.9344)


def test_an_instrument_apart_from_the_other_is_reported(factory: ModuleType) -> None:
    rows = [
        factory.odometer(
            day,
            odometer=round(day * (100 if day % 100 else 103)),
            source="dash" if day % 100 else "engine",
        )
        for day in range(1000, 2000, 25)
    ]
    suspects = factory.fleet(odometer=rows).placed.suspects
    assert suspects["kind"].tolist() == ["instrument-offset"]
    assert "engine values lie +3" in suspects["detail"].iloc[0]


def test_a_number_on_two_trucks_is_reported(factory: ModuleType) -> None:
    rows = [factory.odometer(day) for day in range(500, 1500, 25)]
    rows += [factory.odometer(day, odometer=400_000 + 10 * day) for day in range(510, 1500, 90)]
    suspects = factory.fleet(odometer=rows).placed.suspects
    assert suspects["kind"].tolist() == ["number-used-twice"]


def test_single_kilometres_are_no_second_truck(factory: ModuleType) -> None:
    """Kilometres here and there agree among themselves as another truck's miles would."""
    rows = [
        factory.odometer(day, odometer=day * (160.9344 if day % 200 == 0 else 100.0))
        for day in range(1000, 3000, 50)
    ]
    suspects = factory.fleet(odometer=rows).placed.suspects
    assert suspects["kind"].tolist() == ["kilometres"]
    assert suspects["detail"].iloc[0].startswith("10 single values stand 1.6 times too high")
    assert len(suspects["source_rows"].iloc[0].split(";")) == 10


def test_an_offset_is_reported_where_no_value_contradicts(factory: ModuleType) -> None:
    """One per cent at 50,000 miles is less than half a day's driving."""
    rows = [
        factory.odometer(
            day,
            odometer=round(day * (100 if day % 100 else 101)),
            source="dash" if day % 100 else "engine",
        )
        for day in range(50, 1050, 50)
    ]
    placed = factory.fleet(odometer=rows).placed
    assert (placed.points["mark"] == "kept").all()
    assert placed.suspects["kind"].tolist() == ["instrument-offset"]


def test_a_changed_meter_is_reported_beside_an_offset(factory: ModuleType) -> None:
    rows = [
        factory.odometer(
            day,
            odometer=round((day - (1500 if day > 1500 else 0)) * (100 if day % 100 else 102)),
            source="dash" if day % 100 else "engine",
        )
        for day in range(50, 3000, 50)
    ]
    suspects = factory.fleet(odometer=rows).placed.suspects
    assert sorted(suspects["kind"]) == ["instrument-offset", "meter-change"]


def test_rows_before_the_first_day_of_service_are_another_trucks(factory: ModuleType) -> None:
    young = factory.unit(in_service_date=factory.date(600), in_service_odometer=60)
    rows = [
        factory.odometer(day, odometer=100 * day - (60_000 if day >= 600 else 0)) for day in DAYS
    ]
    fleet = factory.fleet(units=[young], odometer=rows)
    assert fleet.placed.suspects["kind"].tolist() == ["number-used-twice"]
    assert at(fleet.placed, 1000) == (40_000.0, "kept")
    assert fleet.fate("odometer", 0)[0] == "not-needed"


def test_without_any_value_of_its_unit_a_row_cannot_be_placed(factory: ModuleType) -> None:
    placed = factory.fleet(
        units=[factory.unit(), factory.unit(unit_id="U2", in_service_odometer="")],
        visits=[factory.visit(10, unit_id="U2")],
    ).placed
    assert placed.unplaced.empty
    tables = dict(placed.tables)
    blank = factory.fleet(odometer=[factory.odometer(20)]).judged.tables["odometer"]
    tables["odometer"] = blank.assign(unit_id="U2", odometer_miles=np.nan)
    alone = true_miles(tables, 1_200.0)
    assert alone.unplaced["reason"].tolist() == [
        "its unit has no believable odometer value to place it by"
    ]
    assert alone.tables["odometer"].empty


def test_a_unit_with_one_value_goes_on_at_the_rate_of_its_duty(factory: ModuleType) -> None:
    units = [
        factory.unit(),
        factory.unit(unit_id="U2", in_service_date=factory.date(100), in_service_odometer=10_000),
    ]
    tables = dict(
        factory.fleet(units=units, odometer=[factory.odometer(day) for day in DAYS]).judged.tables
    )
    late = tables["odometer"].iloc[[3]].assign(unit_id="U2", odometer_miles=np.nan)
    tables["odometer"] = pd.concat([tables["odometer"], late], ignore_index=True)
    row = true_miles(tables, 1_200.0).tables["odometer"].iloc[-1]
    # Day 200, a hundred days after its one value: 10,000 + 100 x 100.
    assert (row["true_miles"], row["miles_mark"]) == (pytest.approx(20_000.0), "extrapolated")


quiet = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@quiet
@given(st.lists(st.tuples(st.integers(1, 90), st.integers(0, 1_100)), min_size=1, max_size=30))
def test_believable_series_are_returned_unchanged(
    factory: ModuleType, steps: list[tuple[int, int]]
) -> None:
    day = np.cumsum([wait for wait, _ in steps])
    miles = np.cumsum([wait * daily for wait, daily in steps])
    tables = factory.fleet(odometer=[factory.odometer(0)]).judged.tables
    placed = true_miles({**tables, "odometer": _series(factory, tables, day, miles)}, 1_200.0)
    kept = (placed.tables["odometer"]["miles_mark"] == "kept").to_numpy()
    assert placed.tables["odometer"]["true_miles"].to_numpy()[kept] == pytest.approx(miles[kept])
    # Only a last value may wait, and only where it races away from all that was driven before.
    dated = np.append(0.0, day), np.append(0.0, miles)
    racing = steep_units(np.zeros(len(day) + 1, dtype=np.int64), *dated, 1_200.0)
    assert kept[:-1].all()
    assert kept[-1] or racing.size
    assert placed.suspects.empty


@quiet
@given(st.integers(3, 16), st.sampled_from([0.05, 0.1, 0.3, 1.7, 3.0, 10.0]))
def test_a_single_far_value_is_replaced_within_two_percent(
    factory: ModuleType, place: int, factor: float
) -> None:
    day = np.arange(1, 21) * 60
    miles = 40_000 + np.round(day * 250.0 + 900.0 * np.sin(day))
    written = miles.copy()
    written[place] = np.round(written[place] * factor)
    tables = factory.fleet(
        units=[factory.unit(in_service_odometer=40_000)], odometer=[factory.odometer(0)]
    ).judged.tables
    placed = true_miles({**tables, "odometer": _series(factory, tables, day, written)}, 1_200.0)
    row = placed.tables["odometer"].iloc[place]
    assert row["miles_mark"] == "interpolated"
    assert row["true_miles"] == pytest.approx(miles[place], rel=0.02)
    assert (placed.tables["odometer"]["miles_mark"] == "kept").sum() == 19


def _series(
    factory: ModuleType, tables: dict[str, pd.DataFrame], day: np.ndarray, miles: np.ndarray
) -> pd.DataFrame:
    """Odometer rows on these days, copied from one judged row."""
    rows = tables["odometer"].iloc[np.zeros(len(day), dtype=int)].reset_index(drop=True)
    return rows.assign(
        read_date=factory.stamp(0) + pd.to_timedelta(day, unit="D"),
        odometer_miles=miles.astype(float),
        row_number=np.arange(2, len(day) + 2),
    )
