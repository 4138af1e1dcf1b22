"""What counts as the outcome of a pivot on a past list."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pivotlife.models.backtest_pairs import ANOTHER_BUSHING, PAIR_COLUMNS, chance_at, pair_up


def outcome(
    backtests: ModuleType, *looks: dict[str, Any], renewed: tuple[int, ...] = (), **over: Any
):  # type: ignore[no-untyped-def] # one row of pair_up
    forecasts = pd.DataFrame([backtests.forecast(**over)])
    found = pair_up(
        forecasts, backtests.looks(*looks), backtests.renewals(*renewed), backtests.TODAY
    )
    assert list(found.columns) == list(PAIR_COLUMNS)
    return found.iloc[0]


def test_a_tear_down_is_believed_before_a_reading(backtests: ModuleType) -> None:
    reading = backtests.look(60)
    torn = backtests.look(60, "tear-down", play_mm=3.4, source_row="repairs:R1")
    row = outcome(backtests, reading, torn, renewed=(60,))
    assert (row["outcome"], row["how"]) == ("worn", "tear-down")
    assert row["look_source_row"] == "repairs:R1"
    assert row["has_reading"]
    assert row["is_removed"]


@pytest.mark.parametrize(
    ("torn", "kind", "verdict"),
    [
        ({"play_mm": 3.2}, "threaded", "worn"),
        ({"play_mm": 3.199}, "threaded", "sound"),
        ({"finding": "seized"}, "threaded", "worn"),
        ({"finding": "ok"}, "threaded", "unverified"),
        ({"finding": "ok"}, "rubber-bonded", "sound"),
        ({"finding": "split"}, "rubber-bonded", "worn"),
        ({"play_mm": 9.0}, "rubber-bonded", "unverified"),
    ],
)
def test_what_a_tear_down_says(
    backtests: ModuleType, torn: dict[str, Any], kind: str, verdict: str
) -> None:
    limit = np.nan if kind == "rubber-bonded" else 3.2
    row = outcome(
        backtests,
        backtests.look(60, "tear-down", **torn),
        renewed=(60,),
        bushing_type=kind,
        limit_mm=limit,
    )
    assert row["outcome"] == verdict


def test_a_removal_for_wear_alone_proves_nothing(backtests: ModuleType) -> None:
    row = outcome(backtests, renewed=(60,))
    assert (row["outcome"], row["how"], row["is_removed"]) == ("unverified", "", True)


def test_a_failure_on_the_road_is_an_outcome(backtests: ModuleType) -> None:
    row = outcome(backtests, backtests.look(20, "failure", worn=True), renewed=(20,))
    assert (row["outcome"], row["how"]) == ("worn", "failure")


def test_a_failure_on_the_road_is_believed_before_its_tear_down(backtests: ModuleType) -> None:
    torn = backtests.look(20, "tear-down", play_mm=2.0)
    failed = backtests.look(20, "failure", worn=True)
    row = outcome(backtests, torn, failed, renewed=(20,))
    assert (row["outcome"], row["how"]) == ("worn", "failure")


@pytest.mark.parametrize(("over", "verdict"), [(False, "unverified"), (True, "worn")])
def test_a_reading_that_hides_play_proves_wear_alone(
    backtests: ModuleType, over: bool, verdict: str
) -> None:
    hidden = backtests.look(60, worn=over, sound=not over, is_plain=False)
    row = outcome(backtests, hidden)
    assert row["outcome"] == verdict
    assert not row["is_plain"]
    assert not row["has_reading"]
    torn = backtests.look(60, "tear-down", play_mm=3.4)
    both = outcome(backtests, hidden, torn, renewed=(60,))
    assert (both["how"], both["is_plain"], both["has_reading"]) == ("tear-down", True, False)


@pytest.mark.parametrize(("day", "later"), [(20, False), (50, False), (70, True)])
def test_a_plain_reading_decides_and_a_later_one_over_the_limit_is_kept_beside_it(
    backtests: ModuleType, day: int, later: bool
) -> None:
    hidden = backtests.look(day, worn=True, sound=False, is_plain=False)
    row = outcome(backtests, backtests.look(50), hidden)
    assert (row["outcome"], row["is_plain"], row["has_reading"]) == ("sound", True, True)
    assert row["look_miles"] == backtests.look(50)["true_miles"]
    told = row["worn_later_miles"]
    assert told == hidden["true_miles"] if later else np.isnan(told)
    within = backtests.look(day, worn=False, sound=True, is_plain=False)
    assert np.isnan(outcome(backtests, backtests.look(50), within)["worn_later_miles"])


@pytest.mark.parametrize(
    ("day", "verdict"), [(0, "unverified"), (1, "sound"), (90, "sound"), (91, "unverified")]
)
def test_a_visit_counts_until_half_way_to_the_next(
    backtests: ModuleType, day: int, verdict: str
) -> None:
    assert outcome(backtests, backtests.look(day))["outcome"] == verdict


def test_the_last_look_by_the_visit_decides(backtests: ModuleType) -> None:
    worn = backtests.look(70, worn=True, sound=False)
    row = outcome(backtests, backtests.look(20), worn)
    assert row["outcome"] == "worn"
    assert row["look_miles"] == 107_000.0


def test_what_is_read_on_the_next_bushing_says_nothing(backtests: ModuleType) -> None:
    after = backtests.look(60, after_repair=True)
    assert outcome(backtests, after, renewed=(60,))["outcome"] == "unverified"
    assert outcome(backtests, backtests.look(61), renewed=(60,))["outcome"] == "unverified"
    before = backtests.look(60, after_repair=False)
    assert outcome(backtests, before, renewed=(60,))["outcome"] == "sound"


def test_a_renewal_that_nobody_had_typed_in_is_no_outcome(backtests: ModuleType) -> None:
    row = outcome(backtests, backtests.look(60), renewed=(-10,))
    assert (row["outcome"], row["how"]) == ("unverified", ANOTHER_BUSHING)
    known = outcome(backtests, backtests.look(60), renewed=(-10,), renewals_known=1)
    assert known["outcome"] == "sound"
    assert known["bushing"].endswith("#1")


def test_a_visit_that_is_not_over_is_open(backtests: ModuleType) -> None:
    forecasts = pd.DataFrame([backtests.forecast()])
    end = backtests.DAY + pd.Timedelta(days=90)
    for today, due in ((end, True), (end - pd.Timedelta(days=1), False)):
        found = pair_up(forecasts, backtests.looks(), backtests.renewals(), today)
        assert found["is_due"].item() is due


def test_the_forecast_is_asked_where_somebody_looked(backtests: ModuleType) -> None:
    assert outcome(backtests, backtests.look(60))["chance_at_look"] == pytest.approx(0.2)
    assert outcome(backtests)["chance_at_look"] == pytest.approx(0.2)
    # Half way in miles is half way in cumulative hazard: 1 - sqrt(0.9 x 0.8).
    assert outcome(backtests, backtests.look(30))["chance_at_look"] == pytest.approx(
        1.0 - (0.9 * 0.8) ** 0.5
    )


@given(
    chances=st.lists(st.floats(0.0, 1.0), min_size=3, max_size=3).map(sorted),
    miles=st.lists(st.floats(90_000.0, 115_000.0), min_size=2, max_size=2).map(sorted),
)
def test_chances_never_fall_and_stay_chances(
    backtests: ModuleType, chances: list[float], miles: list[float]
) -> None:
    names = ("chance_over_now", "chance_over_at_visit", "chance_over_by_next_visit")
    row = backtests.forecast(**dict(zip(names, chances, strict=True)))
    first, second = chance_at(pd.DataFrame([row, row]), np.array(miles))
    assert 0.0 <= first <= second + 1e-12 <= 1.0 + 1e-12
