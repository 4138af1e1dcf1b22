"""Renewals through visits: counts against renewal theory, joint jobs, the list, the streams."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest

from pivotlife.models.demand_rounds import (
    FOUND_OVER,
    IN_TIME,
    JOINED,
    ON_ROAD,
    SHORTLIST,
    Habits,
)
from pivotlife.models.replacement import renewal_function


def test_exponential_lives_are_renewed_as_a_poisson_process(demand: ModuleType) -> None:
    # 73,000 miles at one failure in 100,000, found at once: Poisson with mean 0.73 a pivot.
    curve = demand.OneCurve(1.0, 100_000.0)
    table = demand.pivots(curve, units=20, gap=1_500.0, age=30_000.0)
    found = demand.counts(demand.draw(table, curve, draws=200))
    mean = 120 * 0.73
    # Half a gap passes on average before a failure is found: at most 1.5 % fewer.
    assert mean * 0.97 < found.mean() < mean * 1.005
    # A variance estimated from 200 draws has a relative standard error of 0.1.
    assert found.var() == pytest.approx(mean, rel=0.3)


def test_weibull_renewals_follow_the_renewal_function(demand: ModuleType) -> None:
    # The renewal function itself is held against Tijms (2003), table 8.1.1, elsewhere.
    curve = demand.OneCurve(2.2, 40_000.0)
    table = demand.pivots(curve, units=20, gap=1_500.0)
    found = demand.counts(demand.draw(table, curve, draws=200)) / 120
    # Each failure waits half a gap for its visit: the process runs that much slower.
    mean_life = 40_000 * 0.8856
    expected = float(renewal_function(2.2, 40_000.0, 73_000.0 * mean_life / (mean_life + 750.0)))
    assert expected == pytest.approx(1.66, abs=0.1)
    error = found.std() / np.sqrt(len(found))
    assert found.mean() == pytest.approx(expected, abs=4 * error + 0.02)


def test_an_axle_that_goes_together_takes_kits_by_six(demand: ModuleType) -> None:
    curve = demand.OneCurve(3.0, 300_000.0)
    table = demand.pivots(curve, units=4, gap=10_000.0, age=200_000.0)
    whole = Habits({}, (1.0, 1.0, 1.0), follows_list=False)
    drawn = demand.draw(table, curve, whole)
    job = (drawn.pivot // 6 * drawn.draws + drawn.draw) * 100 + drawn.visit
    assert set(np.unique(job, return_counts=True)[1]) == {6}
    alone = demand.draw(table, curve)
    assert JOINED not in alone.cause
    # What joins a job is renewed early: fewer jobs, more kits.
    assert len(drawn.pivot) > len(alone.pivot)


def test_a_shackle_joins_as_often_as_it_did(demand: ModuleType) -> None:
    curve = demand.OneCurve(3.0, 300_000.0)
    table = demand.pivots(curve, units=30, gap=10_000.0, age=150_000.0)
    drawn = demand.draw(table, curve, Habits({}, (0.6, 0.0, 0.0), follows_list=False), draws=200)
    place = drawn.pivot % 3
    joined = drawn.cause == JOINED
    assert not joined[place == 0].any()
    key = (drawn.pivot // 3 * drawn.draws + drawn.draw) * 100 + drawn.visit
    ends = np.unique(key[place > 0], return_counts=True)[1]
    both = np.isin(key[place > 0], np.unique(key[joined])).sum() / 2
    own = (ends == 1).sum()
    assert both / (both + own) == pytest.approx(0.6, abs=0.03)


def test_the_list_is_done_at_its_visit_and_nothing_joins_it(demand: ModuleType) -> None:
    curve = demand.OneCurve(3.0, 1e7)
    listed = [0, 1, -1, -1, -1, -1]
    table = demand.pivots(curve, gap=5_000.0, listed=listed)
    drawn = demand.draw(table, curve, Habits({}, (1.0, 0.0, 0.0), follows_list=True), draws=5)
    first = drawn.cause == SHORTLIST
    np.testing.assert_array_equal(np.unique(drawn.pivot[first & (drawn.visit == 0)]), [0])
    np.testing.assert_array_equal(np.unique(drawn.pivot[first & (drawn.visit == 1)]), [1])
    assert set(drawn.visit[drawn.cause == JOINED]) == {1}


def test_play_that_announces_its_end_is_renewed_in_time(demand: ModuleType) -> None:
    curve = demand.OneCurve(8.0, 100_000.0)
    table = demand.pivots(curve, gap=10_000.0, age=40_000.0, announces=True)
    following = demand.draw(table, curve, Habits({}, (0.0, 0.0, 0.0), follows_list=True))
    waiting = demand.draw(table, curve)
    # Only what the list left and passes before the next visit is still found over.
    assert set(following.visit[following.cause == FOUND_OVER]) <= {0, 1}
    # By its third visit 0.6^8 - 0.4^8 = 1.6 % of the hazard is used up.
    assert (following.cause == IN_TIME).mean() == pytest.approx(0.984, abs=0.008)
    assert set(waiting.cause) == {FOUND_OVER}
    over = waiting.miles_over
    assert over.min() >= 0.0
    assert over.max() <= 10_000.0 * 1.2
    assert following.day.mean() < waiting.day.mean()


def test_a_shop_that_looks_at_every_third_visit_finds_later(demand: ModuleType) -> None:
    curve = demand.OneCurve(8.0, 50_000.0)
    table = demand.pivots(curve, units=20, gap=5_000.0, age=40_000.0)
    look = Habits({"regional": 1 / 3}, (0.0, 0.0, 0.0), follows_list=False)
    drawn = demand.draw(table, curve, look, horizon=2_000.0, draws=100)
    # Half a gap on average to the first visit, and 1 / (1/3) - 1 = 2 more visits to a look.
    assert drawn.miles_over.mean() == pytest.approx(2_500.0 + 2 * 5_000.0, rel=0.1)


def test_breaks_come_at_their_rate(demand: ModuleType) -> None:
    curve = demand.OneCurve(3.0, 1e8)
    table = demand.pivots(curve, units=20, gap=10_000.0)
    drawn = demand.draw(table, curve, sudden=2e-6)
    assert set(drawn.cause) == {ON_ROAD}
    mean = 120 * 73_000 * 2e-6
    found = demand.counts(drawn)
    assert found.mean() == pytest.approx(mean, abs=4 * np.sqrt(mean / len(found)))
    assert drawn.day.min() >= 0.0
    assert drawn.day.max() <= 730.0


def test_nothing_is_renewed_past_a_sale_or_the_horizon(demand: ModuleType) -> None:
    curve = demand.OneCurve(2.0, 20_000.0)
    table = demand.pivots(curve, units=2, gap=5_000.0)
    table.loc[table["unit_id"] == "U001", "sale_miles"] = 21_000.0
    drawn = demand.draw(table, curve, sudden=1e-5)
    assert drawn.day.max() <= 730.0
    assert drawn.day[drawn.pivot >= 6].max() <= 210.0


def test_what_is_listed_is_done_although_the_sale_is_near(demand: ModuleType) -> None:
    curve = demand.OneCurve(2.0, 1e12)
    table = demand.pivots(curve, units=1, gap=5_000.0).assign(sale_miles=1.0, listed=0)
    drawn = demand.draw(table, curve, Habits({}, (0.0, 0.0, 0.0), follows_list=True), draws=2)
    assert sorted(drawn.pivot.tolist()) == sorted(2 * list(range(6)))
    assert set(drawn.cause.tolist()) == {SHORTLIST}


def test_one_units_readings_move_only_its_own_draws(demand: ModuleType) -> None:
    curve = demand.OneCurve(2.0, 90_000.0)
    table = demand.pivots(curve, units=3, gap=10_000.0, age=50_000.0)
    other = table.copy()
    changed = other["unit_id"] == "U001"
    other.loc[changed, ["chance_over_now", "chance_over_at_visit"]] *= 0.5
    before, after = demand.draw(table, curve), demand.draw(other, curve)

    def of(unit: int, drawn: object) -> list[tuple[int, float]]:
        mine = drawn.pivot // 6 == unit
        return sorted(zip(drawn.draw[mine].tolist(), drawn.day[mine].tolist(), strict=True))

    assert of(0, before) == of(0, after)
    assert of(2, before) == of(2, after)
    assert of(1, before) != of(1, after)
    # A unit that comes or goes moves no other either.
    gone = table[table["unit_id"] != "U001"].reset_index(drop=True)
    assert of(1, demand.draw(gone, curve)) == of(2, before)


def test_an_empty_fleet_draws_nothing(demand: ModuleType) -> None:
    curve = demand.OneCurve(2.0, 90_000.0)
    drawn = demand.draw(demand.pivots(curve).iloc[:0], curve)
    assert len(drawn.pivot) == 0


def test_a_unit_whose_visit_nobody_knows_comes_at_any_time_within_its_interval(
    demand: ModuleType,
) -> None:
    curve = demand.OneCurve(2.0, 1e9)
    unknown = {"first_day": np.nan, "second_day": np.nan}
    table = demand.pivots(curve, units=10, gap=10_000.0, listed=0, **unknown)
    days = demand.draw(table, curve, draws=400).day
    assert days.min() >= 0.0
    assert days.max() <= 100.0
    # Evenly over 100 days: the standard error of the mean of 4,000 visits is 0.46.
    assert days.mean() == pytest.approx(50.0, abs=2.0)
