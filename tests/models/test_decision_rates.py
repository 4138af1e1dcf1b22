"""The long-run cost of a mile by type and duty."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest

from pivotlife.models.decision_costs import CostItems, late_cost, planned_cost
from pivotlife.models.decision_rates import RATE_COLUMNS, replacement_rates
from pivotlife.models.replacement import age_replacement

COSTS = CostItems(
    currency="USD",
    parts={"threaded": 60.0, "roller": 200.0, "rubber-bonded": 40.0},
    hours_first_pivot=2.0,
    hours_same_shackle=0.5,
    hours_same_side=1.0,
    shop_rate=100.0,
    alignment=250.0,
    downtime_per_day=500.0,
    downtime_days_planned=0.2,
    downtime_days_late=1.5,
    downtime_days_roadside=2.0,
    roadside=500.0,
    tow=1_500.0,
    tyre_pair=1_000.0,
    tyre_loss_per_mile_over=2e-6,
    chance_roadside_when_over=0.1,
)


@dataclass
class Fit:
    shape: float
    scale: float
    n_failures: int = 20
    covariance: np.ndarray = field(default_factory=lambda: np.diag([0.01, 0.0025]))


def test_rates_follow_the_curve_that_speaks() -> None:
    fits = {("threaded", "all"): Fit(3.0, 4e5), ("roller", "regional"): Fit(1.0, 9e5)}
    rates = replacement_rates(fits, {}, COSTS, {"regional": 30_000.0, "line-haul": 50_000.0})
    assert list(rates.columns) == list(RATE_COLUMNS)
    # No curve speaks for rubber, nor for rollers in line-haul.
    assert rates[["bushing_type", "duty"]].to_numpy().tolist() == [
        ["roller", "regional"],
        ["threaded", "line-haul"],
        ["threaded", "regional"],
    ]
    threaded = rates.loc[rates["duty"] == "line-haul"].iloc[0]
    best = age_replacement(
        3.0, 4e5, planned_cost(COSTS, "threaded"), late_cost(COSTS, "threaded", 25_000.0)
    )
    assert threaded["cost_per_mile"] == pytest.approx(best.cost_per_mile)
    assert threaded["optimal_miles"] == pytest.approx(best.optimal_miles)


def test_without_wear_out_the_rate_is_that_of_running_to_the_limit() -> None:
    rates = replacement_rates({("roller", "all"): Fit(1.0, 9e5)}, {}, COSTS, {"regional": 30_000.0})
    row = rates.iloc[0]
    assert row["cost_per_mile"] == pytest.approx(late_cost(COSTS, "roller", 15_000.0) / 9e5)
    assert np.isinf(row["optimal_miles"])
    assert row["note"].startswith("no practical interval: run to the limit; too few failures")


def test_a_bound_gives_a_rate_and_says_so() -> None:
    rates = replacement_rates({}, {"roller": (2.5, 5e5)}, COSTS, {"regional": 30_000.0})
    assert rates["bushing_type"].tolist() == ["roller"]
    assert "upper bound" in rates["note"][0]
