"""Last odometer values that race away wait for a later one; trucks that drive as ever lose none."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pivotlife.pipeline.believed_odometer import believe, believe_all
from pivotlife.pipeline.odometer_ends import steep_units, without_steep_end

DAILY_MAXIMUM = 1_200.0
PACE = 230.0
DAYS = np.arange(0.0, 300.0, 30.0)
MILES = 10_000.0 + PACE * DAYS


def believed(days: list[float], miles: list[float]) -> list[bool]:
    day, values = np.append(DAYS, days), np.append(MILES, miles)
    kept = believe(day, values, DAILY_MAXIMUM).kept
    assert kept[: len(DAYS)].all()
    return [bool(one) for one in kept[len(DAYS) :]]


def true_miles(day: float) -> float:
    return float(10_000.0 + PACE * day)


def test_a_last_value_in_kilometres_waits() -> None:
    assert believed([310.0], [true_miles(310.0) * 1.609344]) == [False]


def test_a_last_value_with_a_wrong_digit_waits() -> None:
    # Read at 310 days as 91,300 instead of 81,300: less than 1,200 miles a day, yet four times
    # the unit's own pace.
    assert believed([310.0], [true_miles(310.0) + 20_000.0]) == [False]


def test_the_usual_pace_and_one_long_haul_are_believed() -> None:
    assert believed([310.0], [true_miles(310.0)]) == [True]
    assert believed([272.0], [true_miles(270.0) + 2 * DAILY_MAXIMUM]) == [True]


def test_a_second_value_confirms_a_new_job() -> None:
    last = float(MILES[-1])
    assert believed([300.0, 330.0], [last + 24_000.0, last + 48_000.0]) == [True, True]


def test_two_last_values_in_kilometres_wait_together() -> None:
    both = [true_miles(day) * 1.609344 for day in (305.0, 330.0)]
    assert believed([305.0, 330.0], both) == [False, False]


def test_a_value_that_was_too_low_does_not_make_the_next_one_doubtful() -> None:
    low = float(MILES[-1]) + 1.0
    assert believed([330.0, 345.0], [low, true_miles(345.0)]) == [True, True]


def test_a_later_value_that_the_racing_one_contradicted_is_believed_again() -> None:
    days = [301.0, 310.0]
    assert believed(days, [true_miles(301.0) * 1.609344, true_miles(310.0)]) == [False, True]


def test_a_truck_that_stood_still_may_begin_to_work() -> None:
    day, miles = np.append(DAYS, 310.0), np.append(np.full(len(DAYS), 10_000.0), 22_000.0)
    kept = np.ones(len(day), dtype=bool)
    assert without_steep_end(day, miles, kept, DAILY_MAXIMUM) is kept


def test_a_truck_that_is_hardly_known_is_believed() -> None:
    day, miles = np.array([0.0, 20.0, 40.0]), np.array([0.0, 2_000.0, 24_000.0])
    kept = np.ones(3, dtype=bool)
    assert without_steep_end(day, miles, kept, DAILY_MAXIMUM) is kept


@given(
    gaps=st.lists(st.integers(1, 60), min_size=2, max_size=40),
    pace=st.floats(20.0, 600.0),
    swing=st.lists(st.floats(0.5, 1.5), min_size=40, max_size=40),
)
def test_trucks_that_drive_half_to_one_and_a_half_their_pace_lose_nothing(
    gaps: list[int], pace: float, swing: list[float]
) -> None:
    day = np.cumsum(np.asarray(gaps, dtype=float))
    miles = 5_000.0 + np.cumsum(pace * np.asarray(gaps) * np.asarray(swing[: len(gaps)]))
    unit = np.zeros(len(day), dtype=np.int64)
    assert steep_units(unit, day, miles, DAILY_MAXIMUM).size == 0


def test_many_units_are_looked_at_together_as_each_alone() -> None:
    racing = np.append(MILES, true_miles(310.0) * 1.609344)
    calm = np.append(MILES, true_miles(310.0))
    day = np.append(DAYS, 310.0)
    unit = np.repeat([3, 5, 9], len(day))
    found = steep_units(unit, np.tile(day, 3), np.concatenate([calm, racing, calm]), DAILY_MAXIMUM)
    assert found.tolist() == [5]


def test_six_pivots_read_at_one_stop_are_one_value() -> None:
    day = np.repeat(np.append(DAYS, 310.0), 6)
    miles = np.repeat(np.append(MILES, true_miles(310.0) * 1.609344), 6)
    points = pd.DataFrame(
        {
            "unit_id": "MD-001",
            "day": day,
            "continuous_miles": miles,
            "stray": False,
            "source": "",
            "table": "readings",
            "row_id": "",
            "row_number": np.arange(len(day)),
        }
    )
    kept, _, _ = believe_all(points, DAILY_MAXIMUM)
    assert kept[:-6].all()
    assert not kept[-6:].any()


@pytest.mark.parametrize("size", [0, 1])
def test_nothing_to_compare(size: int) -> None:
    one = np.zeros(size)
    assert steep_units(one.astype(np.int64), one, one, DAILY_MAXIMUM).size == 0
