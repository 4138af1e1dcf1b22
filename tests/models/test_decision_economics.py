"""Wait or replace: the optimum it must fire at, and each rule in its turn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pivotlife.models.decision_costs import late_cost, planned_cost, road_cost
from pivotlife.models.decision_economics import (
    DecisionOptions,
    chance_between,
    choose,
    wait_or_replace,
)
from pivotlife.models.replacement import age_replacement
from prices import COSTS

RATES = {(kind, "regional"): 0.002 for kind in COSTS.parts}
OPTIONS = DecisionOptions(measure_miles={"regional": 50_000.0}, rates=RATES)


def pivot(**told: object) -> dict[str, object]:
    """A well-read pivot with nothing to do."""
    usual: dict[str, object] = {
        "bushing_type": "threaded",
        "duty": "regional",
        "visit_miles": 310_000.0,
        "next_visit_miles": 335_000.0,
        "age_miles": 300_000.0,
        "age_known": True,
        "readings_used": 5,
        "chance_over_now": 0.001,
        "chance_over_at_visit": 0.002,
        "chance_over_by_next_visit": 0.01,
        "chance_lower": 0.008,
        "chance_upper": 0.012,
        "last_reading_doubted": False,
        "last_reading_miles": 290_000.0,
        "last_free_play_mm": 1.4,
        "fitted_miles": 0.0,
        "last_good_miles": 290_000.0,
    }
    return {**usual, **told}


def chosen(*rows: dict[str, object], options: DecisionOptions = OPTIONS) -> pd.DataFrame:
    return choose(pd.DataFrame(rows), COSTS, options)


def rule(**told: object) -> tuple[str, str]:
    row = chosen(pivot(**told)).iloc[0]
    return row["decision"], row["rule"]


@pytest.mark.parametrize(("shape", "late"), [(2.0, 5.0), (2.2, 4.9), (3.0, 2.0), (5.0, 20.0)])
def test_it_fires_at_the_age_replacement_optimum(shape: float, late: float) -> None:
    scale = 600_000.0
    best = age_replacement(shape, scale, 1.0, late)
    visits = scale / 10_000 * np.arange(1, 30_001)
    over = -np.expm1(-((visits / scale) ** shape))
    fires = wait_or_replace(
        chance_between(over[:-1], over[1:]), np.diff(visits), 1.0, late, best.cost_per_mile
    )
    assert visits[np.argmax(fires)] == pytest.approx(best.optimal_miles, rel=1e-3)
    assert not fires[: np.argmax(fires)].any()


def test_it_compares_both_amounts() -> None:
    fires = wait_or_replace([0.1, 0.05, np.nan], 25_000.0, 450.0, 950.0, 0.001)
    # 0.1 x 500 = 50 against 25; 0.05 x 500 = 25 against 25 fires too; nothing known never fires.
    assert fires.tolist() == [True, True, False]


def test_chances_are_conditional_on_not_being_over() -> None:
    found = chance_between([0.0, 0.5, 1.0, 0.2, np.nan], [0.1, 0.75, 1.0, 0.1, 0.5])
    assert found[:4].tolist() == pytest.approx([0.1, 0.5, 1.0, 0.0])
    assert np.isnan(found[4])


def test_amounts_by_hand() -> None:
    options = replace(OPTIONS, sudden_per_mile={"threaded": 1e-6})
    row = chosen(pivot(), options=options).iloc[0]
    planned = planned_cost(COSTS, "threaded")
    late = late_cost(COSTS, "threaded", 12_500.0)
    sudden = -np.expm1(-0.025) * (road_cost(COSTS, "threaded") - planned)
    assert row["wait_cost"] == pytest.approx((0.008 / 0.998) * (late - planned) + sudden)
    assert row["kept_value"] == pytest.approx(0.002 * 25_000)


def test_each_rule_in_its_turn() -> None:
    assert rule() == ("leave", "waiting-costs-less")
    assert rule(chance_over_by_next_visit=0.5) == ("replace", "waiting-costs-more")
    assert rule(chance_over_by_next_visit=np.nan) == ("measure", "no-estimate")
    assert rule(visit_miles=np.nan) == ("measure", "no-estimate")
    assert rule(duty="unheard-of") == ("measure", "no-estimate")
    assert rule(bushing_type="roller") == ("measure", "no-estimate")
    assert rule(last_free_play_mm=np.nan) == ("measure", "no-recent-reading")
    assert rule(last_reading_miles=np.nan) == ("measure", "no-recent-reading")
    assert rule(last_reading_miles=259_000.0) == ("measure", "no-recent-reading")


def test_the_alarm_never_leaves() -> None:
    high = {"chance_over_at_visit": 0.3, "chance_over_by_next_visit": 0.31}
    assert rule(**high, chance_over_now=0.25) == ("replace", "chance-now")
    assert rule(**high, chance_over_now=0.0) == ("replace", "chance-now")
    dear = replace(OPTIONS, rates={("threaded", "regional"): 0.02})
    row = chosen(pivot(**high, chance_over_now=0.25), options=dear).iloc[0]
    assert (row["decision"], row["rule"]) == ("measure", "chance-now-measure")


def test_young_or_ageless_bushings_are_measured_first() -> None:
    due = {"chance_over_by_next_visit": 0.6, "readings_used": 0}
    assert rule(**due) == ("replace", "waiting-costs-more")
    assert rule(**due, age_miles=59_000.0) == ("measure", "early-life")
    assert rule(**due, age_known=False) == ("measure", "early-life")
    assert rule(**{**due, "readings_used": 3}, age_miles=59_000.0)[0] == "replace"


def test_rubber_is_read_by_its_findings() -> None:
    rubber = {"bushing_type": "rubber-bonded", "last_free_play_mm": np.nan}
    assert rule(**rubber) == ("leave", "waiting-costs-less")
    assert rule(**rubber, last_good_miles=200_000.0) == ("measure", "no-recent-reading")
    assert rule(**rubber, last_good_miles=np.nan) == ("measure", "no-recent-reading")


def test_a_doubted_last_reading_is_never_left() -> None:
    assert rule(last_reading_doubted=True) == ("measure", "last-reading-doubted")
    due = {"chance_over_by_next_visit": 0.5}
    assert rule(last_reading_doubted=True, **due) == ("replace", "waiting-costs-more")


def test_a_band_across_both_choices_asks_for_a_reading() -> None:
    wide = {
        "chance_over_by_next_visit": 0.12,
        "chance_lower": 0.0,
        "chance_upper": 0.9,
    }
    assert rule(**wide) == ("measure", "uncertain")
    assert rule(**{**wide, "chance_upper": 0.13}) == ("leave", "waiting-costs-less")


def test_a_truck_about_to_be_sold_is_not_renewed_for_its_buyer() -> None:
    due = {"chance_over_by_next_visit": 0.5}
    assert rule(**due) == ("replace", "waiting-costs-more")
    row = chosen(pivot(**due, holding_odometer_miles=312_000.0)).iloc[0]
    assert (row["decision"], row["rule"], row["visits_waited"]) == (
        "leave",
        "waiting-costs-less",
        0,
    )
    assert row["kept_value"] == pytest.approx(planned_cost(COSTS, "threaded"))
    chance = 2_000 / 25_000 * row["chance_between"]
    assert row["wait_cost"] == pytest.approx(chance * late_cost(COSTS, "threaded", 12_500.0))
    # The alarm is about safety and asks no sale date.
    high = {"chance_over_now": 0.3, "chance_over_at_visit": 0.3}
    assert rule(**due, **high, holding_odometer_miles=312_000.0)[0] != "leave"


def test_an_early_peak_of_failures_is_waited_out() -> None:
    """A chance per mile that falls: one gap alone would renew, three gaps say wait."""
    peak = {"chance_over_by_next_visit": 0.2, "chance_lower": 0.19, "chance_upper": 0.21}
    assert rule(**peak) == ("replace", "waiting-costs-more")
    row = chosen(pivot(**peak, chance_ahead_1=0.205, chance_ahead_2=0.21)).iloc[0]
    assert (row["decision"], row["visits_waited"]) == ("leave", 3)
    assert row["wait_cost"] < row["kept_value"]


def test_what_is_young_and_unread_joins_no_job() -> None:
    known = {"miles_until_due": 90_000.0, "miles_now": 300_000.0}
    assert np.isfinite(chosen(pivot(**known))["gain"].iloc[0])
    young = pivot(**known, readings_used=0, age_miles=59_000.0)
    assert np.isnan(chosen(young)["gain"].iloc[0])
    # Without a word on when it would be due itself nobody can say what joining gives up.
    assert np.isnan(chosen(pivot())["gain"].iloc[0])
