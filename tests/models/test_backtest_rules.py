"""Costs of the list and of simple rules, worked by hand."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import pandas as pd
import pytest

from pivotlife.models.backtest_rules import RULE_COLUMNS, RulePrices, compare_rules

PRICES = RulePrices(
    per_mile={("threaded", "regional"): 0.01},
    late={"threaded": 300.0},
    per_mile_over=0.002,
    service_miles={"regional": 6_000.0},
)


def rows(backtests: ModuleType, *pairs: dict[str, Any]) -> pd.DataFrame:
    made = compare_rules(pd.DataFrame([backtests.pair(**one) for one in pairs]), PRICES)
    assert list(made.columns) == list(RULE_COLUMNS)
    return made[made["bushing_type"] == "threaded"].set_index("rule")


def listed(backtests: ModuleType, decision: str, sound: float, worn: float) -> pd.DataFrame:
    """Give three lists 6,000 miles apart; the first decides, the looks follow."""
    month = pd.DateOffset(months=2)
    first = {"decision": decision, "outcome": "unverified", "how": "", "look_miles": float("nan")}
    second = {
        "standing_date": backtests.DAY + month,
        "miles_now": 106_000.0,
        "age_miles": 96_000.0,
        "visit_miles": 112_000.0,
        "look_miles": sound,
    }
    third = second | {
        "standing_date": backtests.DAY + 2 * month,
        "miles_now": 112_000.0,
        "age_miles": 102_000.0,
        "visit_miles": 118_000.0,
        "look_miles": worn,
        "outcome": "worn",
    }
    return rows(backtests, first, second, third)


def test_renewed_in_good_time_costs_the_miles_thrown_away(backtests: ModuleType) -> None:
    """Renewed at 106,000; the limit lies between 112,000 and 118,000: 9,000 miles x 0.01."""
    made = listed(backtests, "replace", 112_000.0, 118_000.0)
    assert made.loc["the list", "extra_cost"] == pytest.approx(90.0)
    assert made.loc["the list", "miles_thrown_away"] == pytest.approx(9_000.0)
    assert made.loc["the list", "limit_not_seen"] == 0
    # Found at 118,000, 3,000 miles over: 300 + 3,000 x 0.002.
    assert made.loc["at the limit only", "extra_cost"] == pytest.approx(306.0)
    assert made.loc["at the limit only", "found_late"] == 1
    assert made.loc["at the limit only", "more_than_list"] == pytest.approx(216.0)


def test_a_later_reading_over_the_limit_dates_the_end_as_a_plain_one_does(
    backtests: ModuleType,
) -> None:
    plain = {"decision": "leave", "look_miles": 112_000.0}
    made = rows(backtests, plain | {"worn_later_miles": 118_000.0})
    # Sound at 112,000 and over at 118,000: 3,000 miles over the limit in the middle between.
    assert made.loc["the list", "found_late"] == 1
    assert made.loc["the list", "extra_cost"] == pytest.approx(306.0)
    assert rows(backtests, plain).loc["the list", "found_late"] == 0


def test_left_until_found_costs_as_much_as_waiting_for_the_limit(backtests: ModuleType) -> None:
    made = listed(backtests, "leave", 112_000.0, 118_000.0)
    assert made.loc["the list", "extra_cost"] == made.loc["at the limit only", "extra_cost"]


def test_simple_rules_are_tuned_in_hindsight(backtests: ModuleType) -> None:
    """At 102,000 miles of age, or every service, the visit at 112,000 throws 3,000 miles away."""
    made = listed(backtests, "leave", 112_000.0, 118_000.0)
    assert 96_000.0 < made.loc["at fixed miles", "setting"] <= 102_000.0
    assert made.loc["at fixed miles", "extra_cost"] == pytest.approx(30.0)
    assert made.loc["all at every n-th service", "extra_cost"] <= 90.0


def test_a_rule_that_renews_nothing_is_called_never(backtests: ModuleType) -> None:
    made = rows(backtests, {"outcome": "sound", "look_miles": 112_000.0})
    for rule in ("at fixed miles", "all at every n-th service"):
        assert made.loc[rule, "renewed_early"] == 0
        assert made.loc[rule, "setting"] == float("inf")


def test_what_no_rule_could_prevent_is_left_out(backtests: ModuleType) -> None:
    made = rows(backtests, {"outcome": "worn", "decision": "replace", "look_miles": 101_000.0})
    assert made.empty


def test_a_partner_of_a_job_is_not_the_lists_own_choice(backtests: ModuleType) -> None:
    sound = {"outcome": "sound", "look_miles": 112_000.0, "decision": "replace"}
    for rule in ("joins-job", "opens-together"):
        partner = rows(backtests, sound | {"rule": rule})
        assert partner.loc["the list", "renewed_early"] == 0
    own = rows(backtests, sound | {"rule": "waiting-costs-more"})
    assert own.loc["the list", "extra_cost"] == pytest.approx(60.0)
    # Sound at its last look: what it had left beyond is open.
    assert own.loc["the list", "limit_not_seen"] == 1
    assert own.loc["at the limit only", "limit_not_seen"] == 0


def test_nothing_looked_at_costs_nothing(backtests: ModuleType) -> None:
    made = rows(backtests, {"outcome": "unverified", "look_miles": float("nan")})
    assert made.empty
