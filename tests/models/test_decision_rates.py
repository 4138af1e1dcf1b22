"""The long-run cost of a mile by type and duty."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest

from pivotlife.models.decision_costs import CostItems, late_cost, planned_cost
from pivotlife.models.decision_rates import RATE_COLUMNS, replacement_rates, simulated_rate
from pivotlife.models.growth_law import GrowthLaw
from pivotlife.models.life_curves import CurveBook
from pivotlife.models.policy_rates import Prices
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
    rates = replacement_rates(
        CurveBook(fits, {}), COSTS, {"regional": 30_000.0, "line-haul": 50_000.0}
    )
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
    book = CurveBook({("roller", "all"): Fit(1.0, 9e5)}, {})
    rates = replacement_rates(book, COSTS, {"regional": 30_000.0})
    row = rates.iloc[0]
    assert row["cost_per_mile"] == pytest.approx(late_cost(COSTS, "roller", 15_000.0) / 9e5)
    assert np.isinf(row["optimal_miles"])
    assert row["note"].startswith("no practical interval: run to the limit; too few failures")


def test_a_mile_is_priced_by_the_curve_that_the_chances_go_by() -> None:
    paced = {("roller", "regional"): Fit(2.5, 5e5)}
    book = CurveBook({("roller", "all"): Fit(2.5, 2e5)}, {}, paced=paced)
    row = replacement_rates(book, COSTS, {"regional": 30_000.0}).iloc[0]
    assert row["curve"] == "roller, all duties at the pace of regional"
    best = age_replacement(
        2.5, 5e5, planned_cost(COSTS, "roller"), late_cost(COSTS, "roller", 15_000.0)
    )
    assert row["cost_per_mile"] == pytest.approx(best.cost_per_mile)


def test_a_bound_gives_a_rate_and_says_so() -> None:
    book = CurveBook({}, {"roller": (2.5, 5e5)})
    rates = replacement_rates(book, COSTS, {"regional": 30_000.0})
    assert rates["bushing_type"].tolist() == ["roller"]
    assert "upper bound" in rates["note"][0]


LAW = GrowthLaw("normal", 0.15, 0.06, 0.12, 1.4, np.log(2.0), 0.45)
PRICES = Prices(450.0, 2_200.0)


def test_who_reads_less_pays_more_for_a_mile() -> None:
    shares = (1.0, 0.7, 0.4, 0.1, 0.0)
    rates = [simulated_rate(LAW, 3.0, 25_000.0, PRICES, share) for share in shares]
    assert rates == sorted(rates)
    # A fleet that reads nothing cannot do better than a fixed age, which costs 1.6 times as much.
    assert rates[-1] == pytest.approx(1.77 * rates[0], rel=0.05)


def test_without_readings_the_rate_is_that_of_the_best_fixed_age() -> None:
    """Visits every 1,000 miles, no reading: the law alone decides, as in age replacement.

    The Weibull law of play crosses its limit as its life curve says, so that the textbook's optimum
    (`age_replacement`) is the closed form; a mile or two of late finding is the price of visits.
    """
    log_scale, shape = np.log(300_000.0 / 100_000.0), 3.0
    law = GrowthLaw(
        *("weibull", 0.0, 1e-9, 0.12, 1.0),
        np.log(3.0) - log_scale,
        1.0 / shape,
    )
    assert law.chance_over(3.0, np.array([300_000.0]))[0] == pytest.approx(1.0 - np.exp(-1.0), 1e-3)
    best = age_replacement(shape, 300_000.0, 450.0, 2_200.0)
    # Enough visits for the longest life; 20 % of 6,000 miles between visits hardly matter.
    rate = simulated_rate(law, 3.0, 6_000.0, PRICES, 0.0)
    assert rate == pytest.approx(best.cost_per_mile, rel=0.03)
