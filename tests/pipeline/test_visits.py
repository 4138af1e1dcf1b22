"""The next two visits and the miles by then."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pandas as pd
import pytest

TODAY = 1000


def row(factory: ModuleType, **tables: object) -> pd.Series:
    odometers = [factory.odometer(day) for day in range(40, 1000, 40)]
    visits = factory.fleet(today=TODAY, **({"odometer": odometers} | tables)).visits
    assert len(visits) == 1
    found: pd.Series = visits.iloc[0]
    return found


def test_planned_visits_come_from_the_table(factory: ModuleType) -> None:
    planned = [factory.visit(day) for day in (990, 1150, 1030)]
    found = row(factory, visits=planned)
    assert (found["visit_date"], found["next_visit_date"]) == (
        factory.stamp(1030),
        factory.stamp(1150),
    )
    assert found["visit_source"] == "visits table"
    assert found["miles_per_day"] == pytest.approx(100.0)
    assert found["miles_now"] == pytest.approx(100_000.0)
    assert found["visit_miles"] == pytest.approx(103_000.0)
    assert found["next_visit_miles"] == pytest.approx(115_000.0)


def test_a_visit_planned_for_today_is_the_next_one(factory: ModuleType) -> None:
    assert row(factory, visits=[factory.visit(TODAY)])["visit_date"] == factory.stamp(TODAY)


def test_one_planned_visit_is_followed_by_the_service_interval(factory: ModuleType) -> None:
    found = row(factory, visits=[factory.visit(1030)])
    # Line-haul: 25,000 miles at 100 a day.
    assert found["next_visit_date"] == factory.stamp(1280)


def test_without_a_plan_the_service_interval_runs_from_the_last_stop(factory: ModuleType) -> None:
    found = row(factory, lube=[factory.lube(900)])
    assert found["visit_source"] == "interval"
    assert found["visit_date"] == factory.stamp(1150)
    assert found["visit_miles"] == pytest.approx(115_000.0)


def test_a_unit_past_its_interval_is_expected_tomorrow(factory: ModuleType) -> None:
    assert row(factory, lube=[factory.lube(100)])["visit_date"] == factory.stamp(TODAY + 1)


def test_the_rate_is_that_of_the_last_year(factory: ModuleType) -> None:
    slow = [factory.odometer(day) for day in range(40, 600, 40)]
    fast = [
        factory.odometer(day, odometer=60_000 + 300 * (day - 600)) for day in range(600, 1000, 20)
    ]
    assert row(factory, odometer=slow + fast)["miles_per_day"] == pytest.approx(300.0)


def test_a_restless_unit_is_less_predictable_and_further_ahead_more_so(
    factory: ModuleType,
) -> None:
    steady = row(factory, visits=[factory.visit(1030), factory.visit(1150)])
    jumps = [
        factory.odometer(day, odometer=100 * day + 2_000 * (day // 40 % 2))
        for day in range(40, 1000, 40)
    ]
    restless = row(factory, odometer=jumps, visits=[factory.visit(1030), factory.visit(1150)])
    assert steady["visit_sd_miles"] == pytest.approx(0.0, abs=1e-6)
    assert restless["visit_sd_miles"] > 500.0
    assert restless["next_visit_sd_miles"] > restless["visit_sd_miles"]


def test_the_spread_covers_what_happens() -> None:
    """Of simulated odometers about two in three lie within one standard deviation."""
    from pivotlife.pipeline.visits import _ahead, _pace

    rng = np.random.default_rng(11)
    units = pd.DataFrame({"unit_id": [f"T{n}" for n in range(400)], "duty": "regional"})
    day = np.arange(0.0, 401.0, 20.0)
    steps = rng.normal(20 * 180.0, 900.0, (400, 20))
    miles = np.concatenate([np.zeros((400, 1)), steps.cumsum(axis=1)], axis=1)
    known = day <= 300.0
    points = pd.DataFrame(
        {
            "unit_id": np.repeat(units["unit_id"].to_numpy(), known.sum()),
            "date": np.tile(pd.Timestamp("2020-01-01") + pd.to_timedelta(day[known], "D"), 400),
            "true_miles": miles[:, known].ravel(),
            "mark": "kept",
        }
    )
    start = (pd.Timestamp("2020-01-01") - pd.Timestamp("1970-01-01")).days
    from pivotlife.pipeline.settings import Settings, SourceSettings

    pace = _pace(points, units, Settings(sources={"units": SourceSettings(path="u")}), start + 300)
    ahead, spread = _ahead(pace, np.full(400, 100.0))
    inside = np.abs(miles[:, -1] - ahead) <= spread
    # 0.683 +- 3 standard errors of 400 draws, and the spread itself is estimated from 15 steps.
    assert inside.mean() == pytest.approx(0.683, abs=0.09)


def test_a_unit_without_any_odometer_says_so_and_keeps_its_planned_date(
    factory: ModuleType,
) -> None:
    units = [factory.unit(in_service_odometer="")]
    found = row(factory, units=units, odometer=[], visits=[factory.visit(1030)])
    assert found["visit_source"] == "no miles record"
    assert found["visit_date"] == factory.stamp(1030)
    assert np.isnan(found["visit_miles"])
    assert np.isnan(found["miles_now"])


def test_units_that_left_or_have_not_come_are_not_listed(factory: ModuleType) -> None:
    units = [
        factory.unit(left_fleet_date=factory.date(TODAY)),
        factory.unit(unit_id="U2", in_service_date=factory.date(TODAY + 1)),
        factory.unit(unit_id="U3", left_fleet_date=factory.date(TODAY + 1)),
    ]
    visits = factory.fleet(today=TODAY, units=units, visits=[factory.visit(1030)]).visits
    assert visits["unit_id"].tolist() == ["U3"]


def test_later_odometers_do_not_tell_on_the_future(factory: ModuleType) -> None:
    early = [factory.odometer(day) for day in range(40, 1000, 40)]
    late = [factory.odometer(day, odometer=100_000 + 500 * (day - 1000)) for day in (1100, 1200)]
    assert row(factory, odometer=early + late)["miles_per_day"] == pytest.approx(100.0)
