"""How often a fleet reads its pivots: counted by hand, and recovered from drawn fleets."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.reading_shares import (
    NOTHING_KNOWN,
    SHARE_COLUMNS,
    reading_shares,
    share_of,
)

GAP = {"regional": 10_000.0}


def units(*names: str, now: float = 200_000.0, a_day: float = 100.0) -> pd.DataFrame:
    return pd.DataFrame({"unit_id": names, "miles_now": now, "miles_per_day": a_day})


def life(name: str, fitted: float, removed: float = np.nan, **over: Any) -> dict[str, Any]:
    return {
        "life_id": name,
        "unit_id": "A",
        "bushing_type": "threaded",
        "duty": "regional",
        "fitted_odometer_miles": fitted,
        "removed_odometer_miles": removed,
        "records_begin_miles": 0.0,
        **over,
    }


def read(name: str, fitted: float, *places: float) -> list[dict[str, Any]]:
    return [
        {
            "life_id": name,
            "true_miles": place,
            "age_miles": place - fitted,
            "free_play_mm": 1.0,
            "limit_mm": 3.2,
        }
        for place in places
    ]


def shares(lives: list[Any], readings: list[Any], **over: Any) -> pd.DataFrame:
    table = pd.DataFrame(readings, columns=list(read("", 0.0, 1.0)[0]))
    options = {"visits": units("A"), "gap_miles": GAP} | over
    return reading_shares(table, pd.DataFrame(lives), **options)


def test_readings_of_a_finished_life_over_its_intervals() -> None:
    """Fitted and taken out at a visit, ten intervals apart: ten visits, four of them read."""
    made = shares(
        [life("a", 130_000.0, 180_000.0), life("b", 130_000.0, 180_000.0)],
        read("a", 130_000.0, 150_000.0, 180_000.0) + read("b", 130_000.0, 140_000.0, 160_000.0),
    )
    assert list(made.columns) == list(SHARE_COLUMNS)
    row = made.iloc[0]
    assert (row["visits"], row["readings"]) == (10.0, 4.0)
    # Filled up to thirty visits as if read.
    assert row["share_read"] == pytest.approx((4 + 20) / 30)
    # Fewer visits than a type of its own is believed on: the last resort is all that is there.
    assert row["share_source"] == "records, all types and duties"


def test_only_the_last_two_years_and_the_time_on_record_count() -> None:
    """127,000 miles is two years back; half a visit more for beginning between two."""
    made = shares([life("a", 0.0, 187_000.0)], read("a", 0.0, 50_000.0, 140_000.0, 187_000.0))
    assert made.iloc[0]["visits"] == pytest.approx(6.0 + 0.5)
    assert made.iloc[0]["readings"] == 2.0
    late = life("a", 130_000.0, 180_000.0, records_begin_miles=20_000.0)
    made = shares([late], read("a", 130_000.0, 140_000.0, 160_000.0))
    assert (made.iloc[0]["visits"], made.iloc[0]["readings"]) == (3.5, 1.0)


def test_no_reading_counts_twice_and_none_at_the_fitting() -> None:
    close = read("a", 130_000.0, 130_000.0, 141_000.0, 141_500.0, 150_000.0)
    assert shares([life("a", 130_000.0, 180_000.0)], close).iloc[0]["readings"] == 2.0
    doubted = [row | {"is_suspect": True} for row in read("a", 130_000.0, 160_000.0)]
    table = pd.DataFrame([{"is_suspect": False} | row for row in close + doubted])
    made = reading_shares(table, pd.DataFrame([life("a", 130_000.0, 180_000.0)]), units("A"), GAP)
    assert made.iloc[0]["readings"] == 2.0


def test_a_pivot_read_at_every_turn_does_not_stand_in_for_one_never_read() -> None:
    often = read("a", 130_000.0, *np.arange(133_000.0, 181_000.0, 3_000.0))
    made = shares([life("a", 130_000.0, 180_000.0), life("b", 130_000.0, 180_000.0)], often)
    assert made.iloc[0]["readings"] == 6.0
    assert made.iloc[0]["share_read"] == pytest.approx((6 + 20) / 30, abs=0.005)


def test_few_visits_borrow_from_the_type_then_from_all() -> None:
    many = [life(f"a{n}", 130_000.0, 180_000.0) for n in range(8)]
    some = [life("s", 130_000.0, 180_000.0, duty="line-haul")]
    other = [life("r", 130_000.0, 180_000.0, bushing_type="roller")]
    seen = [row for n in range(8) for row in read(f"a{n}", 130_000.0, 140_000.0)]
    made = shares(many + some + other, seen, gap_miles=GAP | {"line-haul": 25_000.0})
    told = made.set_index(["bushing_type", "duty"])
    assert told.loc[("threaded", "regional"), "share_source"] == (
        "records, threaded in regional duty"
    )
    assert share_of(made)["threaded", "regional"] == pytest.approx(8 / 40)
    assert told.loc[("threaded", "line-haul"), "share_source"] == "records, threaded in all duties"
    assert share_of(made)["threaded", "line-haul"] == pytest.approx(8 / 42, abs=0.005)
    assert told.loc[("roller", "regional"), "share_source"] == "records, all types and duties"
    assert share_of(made)["roller", "regional"] == pytest.approx(8 / 47, abs=0.005)


def test_a_person_s_word_comes_first_and_nothing_known_says_so() -> None:
    lives = [life("a", 130_000.0, 180_000.0)]
    given = shares(lives, [], given={"regional": 0.3}).iloc[0]
    assert (given["share_read"], given["share_source"]) == (0.3, "settings")
    assert (given["visits"], given["readings"]) == (5.0, 0.0)
    # Five visits without a reading say little: 25 more count as if read.
    assert shares(lives, []).iloc[0]["share_read"] == pytest.approx(25 / 30, abs=0.005)
    strange = shares(lives, [], visits=units("B")).iloc[0]
    assert (strange["share_read"], strange["share_source"]) == (1.0, NOTHING_KNOWN)


@pytest.mark.parametrize("truth", [0.15, 0.5, 1.0])
def test_the_share_of_a_drawn_fleet_is_found(truth: float) -> None:
    """1,500 pivots come every 10,000 miles give or take 20 % and are renewed now and then."""
    random = np.random.default_rng(3)
    places = np.cumsum(random.uniform(8_000.0, 12_000.0, (1_500, 26)), axis=1)
    lives, readings = [], []
    for pivot, stops in enumerate(places):
        fitted, number = 0.0, 0
        for stop in stops[stops < 200_000.0]:
            name = f"{pivot}/{number}"
            if random.random() < truth:
                readings += read(name, fitted, stop)
            if random.random() < 0.15:
                lives.append(life(name, fitted, stop, unit_id=str(pivot)))
                fitted, number = stop, number + 1
        lives.append(life(f"{pivot}/{number}", fitted, unit_id=str(pivot)))
    fleet = units(*(str(n) for n in range(1_500)))
    made = reading_shares(pd.DataFrame(readings), pd.DataFrame(lives), fleet, GAP)
    # About 19,000 visits: four standard errors are below 0.015.
    assert made.iloc[0]["share_read"] == pytest.approx(truth, abs=0.015)
